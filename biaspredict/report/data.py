"""The documented, versioned records behind --json; their schema is biaspredict/records.json."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from typing import Any

from biaspredict.findings import Finding
from biaspredict.infer.charts import ChartCheck
from biaspredict.infer.ranking import Severity, Suspect
from biaspredict.infer.splits import Split
from biaspredict.infer.verdict import Verdict
from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import Stage
from biaspredict.predict.bias import Bias, Level
from biaspredict.predict.probe import Probe

VERSION = 1
UNITS = {
    Quantity.VOLTS: "V",
    Quantity.DROP: "V",
    Quantity.OHMS: "ohm",
    Quantity.GAIN: "ratio",
    Quantity.LEVEL: "V rms",
    Quantity.RIPPLE: "V peak to peak",
}

Record = dict[str, Any]


def dumps(record: Record) -> str:
    """The record as text: no NaN or infinity ever reaches the reader."""
    return json.dumps(record, indent=2, ensure_ascii=False, allow_nan=False)


def head(kind: str, stage: Stage) -> Record:
    return {"record": f"biaspredict {kind}", "version": VERSION, "stage": stage.title}


def finding_record(finding: Finding) -> Record:
    place = finding.place
    return {
        "code": finding.code,
        "gravity": finding.gravity.value,
        "about": list(finding.about),
        "fact": finding.fact,
        "remedy": finding.remedy,
        "line": place.line if place else None,
        "column": place.column if place else None,
    }


def level_record(level: Level) -> Record:
    return {"volts": level.volts, "low": level.low, "high": level.high}


def bias_record(bias: Bias) -> Record:
    """nodes by canonical name; names resolves every other name to its node."""
    stage = bias.stage
    return head("bias", stage) | {
        "nodes": {node: level_record(level) for node, level in bias.levels.items()},
        "names": {name: node for name, node in stage.names.items() if node in bias.levels},
        "other_states": [dict(state) for state in bias.others],
        "set": [
            {"trimmer": s.ref, "volts": s.volts, "place": s.place, "turn": stage.part(s.ref).turn}
            for s in stage.settings
        ],
    }


def chart_record(check: ChartCheck) -> Record:
    return {
        "quantity": check.chart.quantity,
        "agrees": check.agrees,
        "off": [
            {"at": entry.name, "printed": _finite(entry.value), "expected": _finite(expected)}
            for entry, expected, _ in check.off
        ],
        "slips": [
            {"about": s.about, "words": s.words, "chance": s.chance} for s in check.slips
        ],
    }


def proof_record(
    stage: Stage, findings: Iterable[Finding], charts: Iterable[ChartCheck], unsolved: str
) -> Record:
    return head("proof", stage) | {
        "findings": [finding_record(f) for f in findings],
        "charts": [chart_record(c) for c in charts],
        "unsolved": unsolved,
    }


def severity_record(severity: Severity | None) -> Record | None:
    if severity is None:
        return None
    return {
        "value": severity.value, "low": severity.low, "high": severity.high,
        "unit": severity.unit,
    }


def suspect_record(suspect: Suspect) -> Record:
    """A pair lists its severities in the order of its parts."""
    severities = [severity_record(s) for s in suspect.severities]
    return {
        "parts": list(suspect.parts),
        "fault": " + ".join(f.mode for f in suspect.faults),
        "words": suspect.words,
        "severity": severities[0] if len(severities) == 1 else None,
        "severities": severities,
        "weight": suspect.weight,
        "group": suspect.group,
        "fit": suspect.chance_of_misfit,
    }


def probe_record(probe: Probe) -> Record:
    return {
        "at": probe.name or probe.node,
        "node": probe.node,
        "minus": probe.minus,
        "measure": probe.quantity.value,
        "doing": probe.doing,
    }


def split_record(split: Split) -> Record:
    touch = split.touch
    return probe_record(touch.probe) | {
        "words": touch.words,
        "cost": touch.cost,
        "gain": split.gain,
        "cautions": list(touch.cautions),
        "outcomes": [
            {
                "low": o.low,
                "high": o.high,
                "unit": UNITS[touch.probe.quantity],
                "chance": o.chance,
                "means": [{"parts": list(label), "weight": w} for label, w in o.means],
            }
            for o in split.outcomes
        ],
    }


def reading_record(reading: Reading) -> Record:
    return {
        "at": reading.name, "node": reading.node, "minus": reading.minus,
        "measure": reading.quantity.value, "value": reading.value,
        "doing": " ".join(deed.text for deed in reading.meanwhile),
    }


def suspect_records(stage: Stage, verdict: Verdict, faint: float = 1e-6) -> Record:
    """The whole answer of `suspect`."""
    ranking = verdict.ranking
    shown = [s for s in ranking.suspects if s.weight >= faint]
    return head("suspect", stage) | {
        "sound": ranking.sound,
        "suspects": [
            suspect_record(s) | {"other_states": [dict(v) for v in verdict.elsewhere.get(k, ())]}
            for k, s in enumerate(ranking.suspects) if s.weight >= faint
        ],
        "other_states": [dict(state) for state in verdict.states],
        "faint": max(0.0, 1.0 - ranking.sound - math.fsum(s.weight for s in shown)),
        "explained": ranking.explained,
        "settled": list(verdict.settled),
        "next": [split_record(s) for s in verdict.splits],
        "unsolved": [{"part": f.part, "fault": f.mode} for f in ranking.unsolved],
        "untested": [{"part": f.part, "fault": f.mode} for f in verdict.untested],
        "readings": [
            reading_record(c.reading)
            | {"expected": c.expected, "low": c.low, "high": c.high, "inside": c.inside}
            for c in verdict.compared
        ],
        "afterwards": [
            probe_record(a.probe) | {"value": a.value, "low": a.low, "high": a.high}
            for a in verdict.afterwards
        ],
        "worst": reading_record(verdict.worst) if verdict.worst else None,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
