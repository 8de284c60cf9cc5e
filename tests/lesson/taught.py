"""Lessons of the project's stage files, each made once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from biaspredict import classroom
from biaspredict.model.devices import Bipolar, Range
from biaspredict.model.stage import Stage
from biaspredict.predict.hand.records import FULL, Reckoning
from biaspredict.predict.lesson import Lesson
from tests.circuits.files import load

# Forty parts and more take seconds each.
LARGE = frozenset({"split-rail-amplifier"})


def some(paths: Iterable[Path]) -> list[Any]:
    """The stage files as parameters, the large ones for the long run only."""
    return [
        pytest.param(path, marks=pytest.mark.slow) if path.stem in LARGE else path
        for path in paths
    ]


@cache
def lesson_of(path: Path, way: Reckoning = FULL) -> Lesson:
    return classroom.lesson(load(path), way)


def with_devices(
    stage: Stage, gains: Mapping[str, float], drops: Mapping[str, float]
) -> Stage:
    """The stage with other gains, and other volts across conducting junctions."""
    parts = []
    for part in stage.parts:
        device = part.device
        if isinstance(device, Bipolar):
            gain = gains.get(part.ref)
            device = replace(
                device, gain=device.gain if gain is None else Range(gain, gain),
                vbe=drops.get(part.ref, device.vbe),
            )
        parts.append(replace(part, device=device))
    return replace(stage, parts=tuple(parts))
