"""Drills of the project's stages, hidden once."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from biaspredict import classroom
from biaspredict.classroom import Practice
from biaspredict.model.drill import Drill
from tests.circuits.files import ROOT, load

LINE = ROOT / "circuits" / "line-stage.stage"
PAIR = ROOT / "circuits" / "direct-pair.stage"
GERMANIUM = ROOT / "circuits" / "germanium-line-stage.stage"


def drill(path: Path = LINE, level: int = 1, number: int = 1, fault: str = "") -> Drill:
    return Drill(load(path).title, str(path), level, number, fault=fault)


@cache
def hidden(path: Path = LINE, level: int = 1, number: int = 1, fault: str = "") -> Practice:
    return classroom.practice(drill(path, level, number, fault))
