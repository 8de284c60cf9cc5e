"""The records of `drill`."""

from __future__ import annotations

from biaspredict.infer.drill.review import Path, Stride
from biaspredict.infer.drill.specimen import Specimen
from biaspredict.infer.splits import Label
from biaspredict.model.drill import Drill
from biaspredict.model.stage import Stage
from biaspredict.report.data import UNITS, Record, head


def drill_record(stage: Stage, drill: Drill, specimen: Specimen) -> Record:
    """What a drill asks and what has been done; nothing of what is hidden."""
    return head("drill", stage) | {
        "level": drill.level,
        "number": drill.number,
        "chosen_by_teacher": bool(drill.fault),
        "meter_ohms": drill.meter.ohms if drill.meter.ohms_per_volt is None else None,
        "meter_ohms_per_volt": drill.meter.ohms_per_volt,
        "done": [
            {"did": done.deed.value, "what": done.text, "shown": done.shown}
            for done in drill.done
        ],
        "found": any(
            done.deed.value == "named" and done.text == specimen.hidden.part
            for done in drill.done
        ),
    }


def key_record(specimen: Specimen, best: Path) -> Record:
    """What is hidden, and the cheapest path."""
    hidden = specimen.hidden
    return {
        "key": {
            "part": hidden.part,
            "fault": hidden.fault.mode,
            "words": hidden.fault.words,
            "degree": hidden.severity if hidden.fault.graded else None,
            "unit": hidden.fault.unit if hidden.fault.graded else None,
            "node_volts_leave": [_label(label) for label in hidden.left],
            "readings_at_least": hidden.needed,
            "cheapest": path_record(best),
        }
    }


def path_record(path: Path) -> Record:
    return {
        "cost": path.cost,
        "sure": path.sure,
        "readings": [_stride(stride) for stride in path.strides],
    }


def _stride(stride: Stride) -> Record:
    taken = stride.taken
    return {
        "asked": taken.asked.text,
        "words": taken.asked.words,
        "cost": taken.cost,
        "value": taken.shown.value,
        "over": taken.shown.over,
        "unit": UNITS[taken.asked.probe.quantity],
        "rules_out": [_label(label) for label in stride.out],
        "left": [{"parts": _label(label), "weight": share} for label, share in stride.left],
    }


def _label(label: Label) -> list[str]:
    return list(label)
