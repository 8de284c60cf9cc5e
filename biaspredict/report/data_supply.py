"""The records behind `supply --json`, and what other records say of a supply."""

from __future__ import annotations

from collections.abc import Iterable

from biaspredict.findings import Finding
from biaspredict.predict.raw_rail import Fed
from biaspredict.predict.supply import Source, Supply
from biaspredict.predict.supply_faults import SupplyFault
from biaspredict.report.data import Record, finding_record, head
from biaspredict.report.supplying import fault_words


def supply_record(
    found: Supply, faults: Iterable[SupplyFault], findings: Iterable[Finding]
) -> Record:
    """Volts and amperes; ripple peak to peak, rms of the ripple alone, hertz of its strongest
    part or null where there is none."""
    stage = found.stage
    return head("supply", stage) | {
        "mains_hertz": found.hertz,
        "sources": [source_record(s) for s in found.sources],
        "nodes": [
            {
                "node": x.node, "volts": x.volts, "line_low": x.low, "line_high": x.high,
                "ripple": x.ripple, "ripple_rms": x.rms, "ripple_hertz": x.hertz,
            }
            for x in found.lines
        ],
        "rectifiers": [
            {"part": r.ref, "mean": r.mean, "peak": r.peak, "reverse": r.reverse}
            for r in found.rectifiers
        ],
        "windings": [
            {"part": w.ref, "rms": w.rms, "peak": w.peak, "fuse": w.fuse or None}
            for w in found.windings
        ],
        "capacitors": [
            {
                "part": c.ref, "volts": c.mean, "lowest": c.lowest, "highest": c.highest,
                "unloaded": c.unloaded, "rated": stage.part(c.ref).volts,
                "ripple": c.ripple, "ripple_amps": c.amps,
            }
            for c in found.capacitors
        ],
        "switch_on": {
            "amps": found.switch_on.amps,
            "winding": found.switch_on.winding,
            "seconds": found.switch_on.seconds,
        },
        "findings": [finding_record(f) for f in findings],
        "faults": [fault_record(f) for f in faults],
    }


def source_record(source: Source) -> Record:
    """A fed node as a rail."""
    return {
        "node": source.node,
        "scheme": source.scheme.value,
        "rectifiers": list(source.rectifiers),
        "volts": source.volts,
        "amps": source.amps,
        "open_volts": source.open_volts,
        "ohms": source.ohms,
    }


def fault_record(fault: SupplyFault) -> Record:
    """`settled` false: the run found no rest, and nothing is said of the volts."""
    return {
        "parts": list(fault.parts),
        "fault": fault.mode,
        "words": fault_words(fault),
        "severity": fault.severity,
        "settled": bool(fault.reads),
        "nodes": [
            {"node": r.node, "volts": r.volts, "ripple": r.ripple, "ripple_hertz": r.hertz}
            for r in fault.reads
        ],
        "windings": [{"part": w.ref, "rms": w.rms} for w in fault.windings],
        "blown": list(fault.blown),
        "backwards": list(fault.backwards),
        "overheats": list(fault.overheats),
    }


def fed_records(fed: Fed) -> list[Record]:
    """What a stage's windings were taken for at DC; empty where it has none."""
    return [source_record(s) for s in fed.sources]
