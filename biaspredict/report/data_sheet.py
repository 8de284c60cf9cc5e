"""The record of `sheet`: what stands on it, for programs."""

from __future__ import annotations

from collections.abc import Sequence

from biaspredict.infer.verdict import Verdict
from biaspredict.infer.worksheet import Planned, Recheck, Worksheet, rechecks
from biaspredict.report.data import (
    VERSION,
    Record,
    chart_record,
    finding_record,
    probe_record,
    reading_record,
    suspect_record,
)
from biaspredict.report.data_ohms import ohms_record
from biaspredict.report.data_renew import item_record
from biaspredict.report.sheet.figure import Figure
from biaspredict.report.sheet.front import done_words
from biaspredict.report.sheet.page import next_of

FAINT = 0.005  # weights below which a suspect is not on the sheet


def sheet_record(
    sheets: Sequence[Worksheet], figures: Sequence[Figure], written: str | None
) -> Record:
    """Volts, ohms; written: the file, null where none was asked for."""
    return {
        "record": "biaspredict sheet", "version": VERSION, "written": written,
        "stages": [
            _stage(sheet, figure) for sheet, figure in zip(sheets, figures, strict=True)
        ],
    }


def _stage(sheet: Worksheet, figure: Figure) -> Record:
    return {
        "stage": sheet.stage.title,
        "file": sheet.stage.file,
        "state": sheet.progress.state.value,
        "done": done_words(sheet),
        "next": next_of(sheet),
        "drawing": {"drawn": bool(figure.svg), "reason": figure.reason},
        "findings": [finding_record(f) for f in sheet.findings],
        "charts": [chart_record(c) for c in sheet.charts],
        "ohms": None if sheet.ohms is None else ohms_record(sheet.ohms, ()),
        "volts": [_planned(planned) for planned in sheet.plan],
        "enough": sheet.enough,
        "forbidden": list(sheet.forbidden),
        "answer": _answer(sheet.verdict),
        "renew": [] if sheet.renewal is None else [item_record(i) for i in sheet.renewal.items],
        "before_and_after": [_recheck(one) for one in rechecks(sheet)],
        "withheld": dict(sheet.withheld),
    }


def _planned(planned: Planned) -> Record:
    return probe_record(planned.touch.probe) | {
        "cost": planned.touch.cost,
        "cautions": list(planned.touch.cautions),
        "expected": planned.expected, "low": planned.low, "high": planned.high,
    }


def _answer(verdict: Verdict | None) -> Record | None:
    if verdict is None:
        return None
    ranking = verdict.ranking
    return {
        "sound": ranking.sound,
        "explained": ranking.explained,
        "settled": list(verdict.settled),
        "suspects": [suspect_record(s) for s in ranking.suspects if s.weight >= FAINT],
    }


def _recheck(one: Recheck) -> Record:
    name = one.name
    return {
        "at": name.name, "node": name.node, "minus": name.minus,
        "measure": name.quantity.value,
        "before": [reading_record(r)["value"] for r in one.before],
        "after": [reading_record(r)["value"] for r in one.after],
        "expected": one.expected, "low": one.low, "high": one.high, "inside": one.inside,
    }
