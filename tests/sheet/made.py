"""Sheets as the command makes them, each made once."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from unittest.mock import patch

from biaspredict.infer.worksheet import Work, Worksheet
from biaspredict.report.sheet.document import document
from biaspredict.report.sheet.figure import Figure, figure
from biaspredict.worksheets import read_works, worksheet
from tests.circuits.files import ROOT
from tests.sheet.reader import Element, read

LINE = ROOT / "circuits" / "line-stage.stage"
PREAMP = ROOT / "demo" / "preamp.stage"
READINGS = ROOT / "demo" / "preamp.readings"
SMALL = [
    "rail B+ 22 V 5%", "Q1 npn silicon gain 80..300",
    "B+ -- R1 100K -- Q1.base -- R2 22K -- ground", "B+ -- R3 6.8K -- Q1.collector",
    "Q1.emitter -- R4 1.5K -- ground",
]  # but for its title


@dataclass(frozen=True)
class Made:
    """The worksheets, their drawings, the page as text and read back."""

    sheets: tuple[Worksheet, ...]
    figures: tuple[Figure, ...]
    text: str
    page: Element


@cache
def made(*files: Path) -> Made:
    """The document of these files; layouts are kept in a folder of the tests' own."""
    sheets = tuple(_worksheet(work) for work in read_works([str(file) for file in files]))
    with patch.dict(os.environ, {"XDG_CACHE_HOME": cache_home()}):
        figures = tuple(figure(sheet) for sheet in sheets)
    text = document(sheets, figures)
    return Made(sheets, figures, text, read(text))


@cache
def _worksheet(work: Work) -> Worksheet:
    return worksheet(work)


@cache
def cache_home() -> str:
    return mkdtemp(prefix="sheet-tests-")


def written(folder: Path, name: str, lines: Sequence[str]) -> Path:
    """A file of these lines."""
    file = folder / name
    file.write_text("\n".join(lines) + "\n", "utf-8")
    return file
