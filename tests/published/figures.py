"""What a book prints about a circuit, and how far its own simplification lets it be off."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

Volts = Mapping[str, float]
NO_BASE_CURRENT = 1e9  # a gain so high that the base takes nothing, as many books reckon


@dataclass(frozen=True, slots=True)
class Figure:
    """One printed number.

    of: how it follows from the node volts. allowed: half the last printed digit, plus what the
    book's simplification costs; `why` names that simplification.
    """

    name: str
    of: Callable[[Volts], float]
    printed: float
    allowed: float
    why: str = "the last printed digit"


@dataclass(frozen=True, slots=True)
class Row:
    """A published example: file in circuits/published, settings of parameters, figures.

    source: book and example, and how it was read.
    """

    file: str
    source: str
    figures: tuple[Figure, ...]
    settings: tuple[tuple[str, float], ...] = ()
    note: str = ""

    @property
    def label(self) -> str:
        return f"{self.file} {self.note}".strip()


def node(name: str, printed: float, allowed: float, why: str = "the last printed digit") -> Figure:
    """A node's volts to ground."""
    return Figure(name, lambda v: v[name], printed, allowed, why)


def across(red: str, black: str, printed: float, allowed: float, why: str) -> Figure:
    """Volts between two nodes."""
    return Figure(f"{red} to {black}", lambda v: v[red] - v[black], printed, allowed, why)


def vce(printed: float, allowed: float, why: str = "the last printed digit") -> Figure:
    """Collector to emitter of Q1."""
    return across("Q1.collector", "Q1.emitter", printed, allowed, why)


def amps(red: str, black: str, ohms: float, printed: float, allowed: float, why: str) -> Figure:
    """Current through a resistor, from the volts at its ends."""
    name = f"current {red} to {black}"
    return Figure(name, lambda v: (v[red] - v[black]) / ohms, printed, allowed, why)
