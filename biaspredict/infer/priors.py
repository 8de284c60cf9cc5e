"""The table of fault priors: reading it, scaling it by the age of the set."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path

from biaspredict.errors import InputError, Mistakes
from biaspredict.quantities import Unit, ValueReadError, parse_value
from biaspredict.span import Span

AGE_OF_TABLE = 50.0


@dataclass(frozen=True, slots=True)
class Prior:
    """chance: probability that one such part has this fault; least, most: severity or None."""

    kind: str
    mode: str
    chance: float
    least: float | None
    most: float | None
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class Priors:
    """Rows by (kind, mode), for sets of `age` years."""

    rows: tuple[Prior, ...]
    age: float = AGE_OF_TABLE

    def of(self, kind: str) -> tuple[Prior, ...]:
        return tuple(row for row in self.rows if row.kind == kind)

    def aged(self, years: float | None) -> Priors:
        """Chances in proportion to age, since most of these faults come with the years."""
        if years is None or years == self.age:
            return self
        factor = max(years, 1.0) / self.age
        rows = tuple(
            Prior(r.kind, r.mode, min(r.chance * factor, 0.5), r.least, r.most, r.unit, r.source)
            for r in self.rows
        )
        return Priors(rows, years)


@lru_cache(maxsize=1)
def standard_priors() -> Priors:
    """The table that comes with the package."""
    text = (resources.files("biaspredict.infer") / "priors.txt").read_text("utf-8")
    return read_priors(text, "priors.txt")


def load_priors(path: str | Path) -> Priors:
    """A user's own table. Raises InputError with the place of each mistake."""
    try:
        text = Path(path).read_text("utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        raise InputError(
            f"cannot read the table of priors {path}: {problem.__class__.__name__}",
            remedy="Give the path of a plain text file in the form of priors.txt.",
        ) from problem
    return read_priors(text, str(path))


def read_priors(text: str, file: str) -> Priors:
    """Parse a table of priors; all mistakes come together."""
    rows: list[Prior] = []
    mistakes: list[InputError] = []
    age = AGE_OF_TABLE
    for number, line in enumerate(text.splitlines(), start=1):
        bare = line.split("#", 1)[0].strip()
        if not bare:
            continue
        try:
            if bare.startswith("age "):
                age = float(bare[4:])
            else:
                rows.append(_row(bare))
        except (ValueError, ValueReadError) as problem:
            span = Span(file, number, 1, len(line) + 1, line)
            mistakes.append(InputError(str(problem), place=span, remedy=FORM))
    mistakes.extend(_duplicates(rows, file))
    if not rows and not mistakes:
        mistakes.append(InputError(f"{file} has no rows", remedy=FORM))
    if mistakes:
        raise Mistakes(mistakes)
    return Priors(tuple(rows), age)


FORM = "Each row is: kind | fault | percent | least | most | unit | source."


def _row(line: str) -> Prior:
    cells = [cell.strip() for cell in line.split("|")]
    if len(cells) != 7:
        raise ValueError(f"{len(cells)} columns where 7 were expected")
    kind, mode, percent, least, most, unit, source = cells
    chance = float(percent) / 100.0
    if not 0.0 <= chance < 1.0:
        raise ValueError(f"{percent} is not a percentage from 0 to 100")
    low, high = _bound(least, unit), _bound(most, unit)
    if (low is None) != (high is None) or (low is not None and high is not None and low >= high):
        raise ValueError("least must be below most, or both must be -")
    return Prior(kind, mode, chance, low, high, unit, source)


def _bound(text: str, unit: str) -> float | None:
    if text == "-":
        return None
    value = parse_value(text, Unit.OHM if unit == "ohm" else Unit.RATIO)
    if value <= 0:
        raise ValueError("a severity must be above zero")
    return value


def _duplicates(rows: list[Prior], file: str) -> Iterator[InputError]:
    seen: set[tuple[str, str]] = set()
    for row in rows:
        key = (row.kind, row.mode)
        if key in seen:
            yield InputError(f"{file}: {row.kind} | {row.mode} stands twice", remedy=FORM)
        seen.add(key)
