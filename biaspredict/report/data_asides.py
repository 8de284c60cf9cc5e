"""What the record of `suspect` says beside the ranking."""

from __future__ import annotations

from biaspredict.infer.charts import ChartToday
from biaspredict.infer.doubts import Doubt
from biaspredict.infer.loading import Loading
from biaspredict.infer.unknowns import Unknown
from biaspredict.infer.verdict import Verdict
from biaspredict.report.data import Record, finding_record, reading_record, split_record


def asides_record(verdict: Verdict) -> Record:
    """Fields that go into the record of `suspect`."""
    return {
        "doubtful": [_doubt(doubt) for doubt in verdict.doubts],
        "meters": [_loading(one) for one in verdict.loading],
        "chart_today": [_chart(one) for one in verdict.charts],
        "unknowns": [_unknown(one) for one in verdict.unknowns],
        "testing": None if verdict.testing is None else split_record(verdict.testing),
    }


def _doubt(doubt: Doubt) -> Record:
    return finding_record(doubt.finding) | {
        "set_aside": [reading_record(reading) for reading in doubt.aside]
    }


def _loading(one: Loading) -> Record:
    return reading_record(one.reading) | {
        "meter_ohms": one.ohms, "alone": one.alone, "shown": one.shown, "low": one.low,
        "high": one.high,
    }


def _chart(one: ChartToday) -> Record:
    return reading_record(one.reading) | {
        "printed": one.entry.value, "means": one.means, "low": one.low, "high": one.high,
        "inside": one.inside, "meters": one.meters, "misprint": one.misprint,
    }


def _unknown(one: Unknown) -> Record:
    """A type has no figure: it is in `says`."""
    figures = one.what != "type"
    return {
        "part": one.part, "what": one.what, "determined": one.determined, "says": one.says,
        "value": one.value if figures else None, "low": one.low if figures else None,
        "high": one.high if figures else None,
    }
