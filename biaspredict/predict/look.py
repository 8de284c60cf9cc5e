"""What one look at many variations fills in, column by column, and what was seen."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.linear import Linear
from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import OPEN, SOUND, Circuit, Device, Variation
from biaspredict.predict.faint import LEAK_LEAST
from biaspredict.predict.meters import EVEN
from biaspredict.predict.points import Ints


@dataclass(frozen=True, slots=True)
class Observed:
    """values (B, K) as the meters show; slopes (B, K, P + M) per axis amount, and last what each
    variation nearby changes, to first order; solved (B,).

    Ohms, gains and levels are given as natural logarithms, since their spread is by factors.
    volts: (B, n + spares) node volts with the power on and nothing connected, a start for
        solves nearby; NaN where not solved or not asked for.
    doubt: (B, K) standard deviation of what a rough look, the transistor equations of a
        signal, or a leak seen at a meter's low volts leave open; 0 otherwise.
    """

    values: Floats
    slopes: Floats
    solved: NDArray[np.bool_]
    volts: Floats
    doubt: Floats

    def between(self, ends: Sequence[int]) -> Observed:
        """With the last columns, the other ends of the columns `ends`, taken into these: the
        reading lies anywhere between the two."""
        count = self.values.shape[1] - len(ends)
        found = [self.values, self.slopes, self.doubt]
        values, slopes, doubt = (field[:, :count].copy() for field in found)
        for mine, every in zip((values, slopes, doubt), found, strict=True):
            mine[:, ends] = 0.5 * (mine[:, ends] + every[:, count:])
        apart = np.abs(self.values[:, ends] - self.values[:, count:])
        doubt[:, ends] = np.hypot(doubt[:, ends], 0.5 * EVEN * apart)
        return Observed(values, slopes, self.solved, self.volts, doubt)


@dataclass(frozen=True, slots=True)
class Look:
    """As `Observed`, while it is filled in.

    at_lead: (B,) whether the person touches the lead of a lifted joint.
    """

    values: Floats
    slopes: Floats
    solved: NDArray[np.bool_]
    volts: Floats
    at_lead: NDArray[np.bool_]
    doubt: Floats

    def part(self, rows: Sequence[int] | Ints, columns: Sequence[int] | None = None) -> Look:
        """A copy of some rows, and of some columns or all."""
        place: Any = rows
        if columns is not None:
            place = np.asarray(rows)[:, None], np.asarray(columns)
        return Look(
            self.values[place], self.slopes[place], self.solved[rows], self.volts[rows],
            self.at_lead[rows], self.doubt[place],
        )

    def copy(self, one: Observed, rows: Ints, columns: Sequence[int]) -> None:
        """Fill columns of some rows with the one row that was observed of them."""
        place = rows[:, None], np.asarray(columns)
        self.values[place], self.slopes[place] = one.values[0], one.slopes[0]
        self.doubt[place] = one.doubt[0]

    def between(self, seen: Look, columns: Sequence[int], rows: Sequence[int]) -> None:
        """Take over columns of a look at all rows and, below these, again at some as they are at
        the other end: the reading lies anywhere between the two."""
        many = len(self.values)
        values, slopes, doubt = seen.values[:many], seen.slopes[:many], seen.doubt[:many]
        apart = np.abs(values[rows] - seen.values[many:]) * 0.5 * EVEN
        values[rows] = 0.5 * (values[rows] + seen.values[many:])
        slopes[rows] = 0.5 * (slopes[rows] + seen.slopes[many:])
        doubt[rows] = np.hypot(doubt[rows], apart)
        self.values[:, columns], self.slopes[:, columns] = values, slopes
        self.doubt[:, columns] = doubt
        self.solved[:] &= seen.solved[:many]
        self.solved[rows] &= seen.solved[many:]

    def put(self, place: tuple[Ints, Ints], linear: Linear) -> None:
        """Slopes and rises to (rows, columns)."""
        width = linear.slopes.shape[2]
        self.slopes[:, :, :width][place] = linear.slopes
        self.slopes[:, :, width:][place] = linear.rises


@dataclass(frozen=True, slots=True)
class Connected:
    """Rows r of one look with meters connected in the linear stage.

    sets: the variations (1 + M, r) as they were done to; amounts (r, P); volts (r, n + spares)
    without a meter; points (r, K, 2) of the tips; place: rows (r, 1) and columns (r, K) of the
    look. heavy (r, K): to be solved with the meter there; doubt (r, K) else; again (r, K): what
    repeats another column.
    """

    sets: Sequence[Sequence[Variation]]
    amounts: Floats
    volts: Floats
    points: Ints
    place: tuple[Ints, Ints]
    linear: Linear
    heavy: NDArray[np.bool_]
    again: NDArray[np.bool_]
    doubt: Floats


def widened(start: Floats, variations: Sequence[Variation], nodes: int) -> Floats:
    """A start (B, nodes + spares) with columns for the further leads that variations lift."""
    spares = max((len(v.lifts) for v in variations), default=0)
    missing = max(nodes + spares - start.shape[1], 0)
    return np.pad(start, ((0, 0), (0, missing)), constant_values=np.nan)


def holding(unpowered: Circuit, variation: Variation) -> Variation | None:
    """The same with its leaking capacitors holding; None where none leaks."""
    kept = tuple(
        (name, value) for name, value in variation.settings
        if not (name.endswith(".leak") and LEAK_LEAST < value < OPEN
                and unpowered.element(name[:-5]).device is Device.CAPACITOR)
    )
    return None if len(kept) == len(variation.settings) else replace(variation, settings=kept)


def done_to(extra: Variation, variations: Sequence[Variation]) -> Sequence[Variation]:
    """The variations with what is done to the stage meanwhile."""
    if extra is SOUND:
        return variations
    opened = {lead for lead, _ in extra.lifts}
    return [_plus(v, extra, opened) for v in variations]


def _plus(variation: Variation, extra: Variation, opened: Set[str]) -> Variation:
    """A joint whose very lead is lifted is open, however good it was."""
    if not any(lead in opened for lead, _ in variation.lifts):
        return variation.plus(extra)
    held = tuple((lead, OPEN if lead in opened else ohms) for lead, ohms in variation.lifts)
    known = {lead for lead, _ in held}
    more = tuple(lift for lift in extra.lifts if lift[0] not in known)
    return replace(variation, lifts=held).plus(replace(extra, lifts=more))
