"""The record of `ohms`."""

from __future__ import annotations

from collections.abc import Iterable

from biaspredict.infer.charts import ChartCheck
from biaspredict.predict.ohms import opened
from biaspredict.predict.ohms_records import Climb, Drop, Ohms, OhmsAt, Way
from biaspredict.report.data import Record, chart_record, head


def ohms_record(found: Ohms, charts: Iterable[ChartCheck]) -> Record:
    """Ohms are null where a meter shows no connection."""
    return head("ohms", found.stage) | {
        "seconds": found.seconds,
        "places": [_place(at) for at in found.places],
        "junctions": [_drop(drop) for drop in found.drops],
        "unknown_rails": list(found.unknown),
        "charts": [chart_record(check) for check in charts],
    }


def _place(at: OhmsAt) -> Record:
    place = at.place
    return {
        "at": place.name, "node": place.node, "minus": place.minus,
        "red_here": _way(at.red), "black_here": _way(at.black),
    }


def _ohms(value: float) -> float | None:
    return None if opened(value) else value


def _way(way: Way) -> Record:
    return {
        "ohms": _ohms(way.ohms), "low": _ohms(way.low), "high": _ohms(way.high),
        "volts": way.volts, "range_ohms": way.range_ohms,
        "climbs": None if way.climb is None else _climb(way.climb),
    }


def _climb(climb: Climb) -> Record:
    return {
        "starts": _ohms(climb.starts), "after": _ohms(climb.after), "seconds": climb.seconds,
        "capacitors": list(climb.capacitors),
    }


def _drop(drop: Drop) -> Record:
    return {
        "part": drop.part, "legs": drop.legs, "volts": drop.forward,
        "low": drop.low, "high": drop.high, "backward": drop.backward,
    }
