"""The record of both channels, part of the record of `suspect` where the other one was read."""

from __future__ import annotations

import math

from biaspredict.infer.beside import Beside, Channels, Sharpness
from biaspredict.report.channels import mark
from biaspredict.report.data import Record, reading_record


def channels_record(found: Channels) -> Record:
    """How the other channel was used, what it changed, and each place in both channels."""
    return {
        "used": found.used,
        "sound": found.sound_there,
        "doubt": reading_record(found.doubt) if found.doubt else None,
        "without": _sharpness(found.before),
        "with": _sharpness(found.after),
        "places": [_place(row) for row in found.rows],
    }


def _sharpness(sharp: Sharpness) -> Record:
    return {
        "parts": list(sharp.parts), "best": list(sharp.best), "weight": sharp.weight,
        "bits": sharp.bits,
    }


def _place(row: Beside) -> Record:
    known = not math.isnan(row.low)
    return {
        "this": reading_record(row.mine) if row.mine else None,
        "other": reading_record(row.theirs) if row.theirs else None,
        "difference": row.difference if known else None,
        "low": row.low if known else None,
        "high": row.high if known else None,
        "mark": mark(row),
    }
