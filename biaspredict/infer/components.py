"""What is supposed (components), what is to be explained (task), and how well it does (scores)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.solver import Floats
from biaspredict.infer.faults import Fault
from biaspredict.model.circuit import SOUND, Variation
from biaspredict.predict.probe import Probe

Rows = Sequence[int] | NDArray[np.int64]
Shorts = NDArray[np.float32]

SOME = 64  # components whose slopes are taken out at once


@dataclass(frozen=True, slots=True)
class Component:
    """faults with severities (same length), log prior weight, and where a joint was touched.

    widths: standard deviation of each log severity inside its cell, 0 where fixed. centre: the
    variation with every severity at the middle of its cell.
    """

    faults: tuple[Fault, ...]
    severities: tuple[float, ...]
    widths: tuple[float, ...]
    log_prior: float
    at_lead: bool = False
    centre: Variation = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre", self.variation((0.0,) * len(self.faults)))

    def variation(self, shifts: Sequence[float]) -> Variation:
        """The circuit's variation with the severities shifted by so many cell widths."""
        found = SOUND
        for fault, centre, width, shift in zip(
            self.faults, self.severities, self.widths, shifts, strict=False
        ):
            severity = centre * float(np.exp(width * shift))
            if fault.least is not None and fault.most is not None:
                # a part that has drifted high has not drifted low, however well that would fit
                severity = min(max(severity, fault.least), fault.most)
            found = found.plus(fault.act(severity))
        return found


NO_FAULT = Component((), (), (), 0.0)


@dataclass(frozen=True, slots=True)
class Task:
    """The readings to be explained: probes, values (logarithm but for volts), errors' sigma.

    bounds: (K,) where a reading only says "at least this"; None: nowhere.
    """

    probes: tuple[Probe, ...]
    values: Floats
    sigmas: Floats
    bounds: NDArray[np.bool_] | None = None

    def meet(self, values: Floats, slopes: Floats) -> None:
        """Let predictions (B, K) beyond a lower bound agree with it, whatever moves them.

        The chance of a bound that is kept is taken as one, of one that is broken as that of a
        reading of just the bound.
        """
        if self.bounds is None or not self.bounds.any():
            return
        kept = self.bounds[None, :] & (values >= self.values[None, :])
        values[kept] = np.broadcast_to(self.values, values.shape)[kept]
        slopes[kept] = 0.0


@dataclass(frozen=True, slots=True)
class Scores:
    """For each of B components, at its most probable latents.

    log_evidence (B,): -inf where unsolved. values (B, K) as shown there, noise (B, K) variances.
    misfit (B,): the squared distance of the readings from the prediction in units of their
    whole spread. Of the R in contention alone, component i at row place[i] (-1: not kept):
    latents (R, P + M), volts (R, n + spares) as a start nearby, and slopes (R, K, P + M) per
    standard latent, in single precision for they are many.
    """

    log_evidence: Floats
    values: Floats
    noise: Floats
    misfit: Floats
    solved: NDArray[np.bool_]
    latents: Floats
    volts: Floats
    slopes: Shorts
    place: NDArray[np.int64]

    @property
    def total(self) -> int:
        """P + M: how many latents there are."""
        return int(self.slopes.shape[2])

    def latents_of(self, rows: Rows) -> Floats:
        """Latents (len(rows), P + M); zero for those not kept."""
        return self._of(self.latents, rows, 0.0)

    def volts_of(self, rows: Rows) -> Floats:
        """Volts nearby (len(rows), n + spares); NaN for those not kept."""
        return self._of(self.volts, rows, np.nan)

    def slopes_of(self, rows: Rows) -> Floats:
        """Slopes (len(rows), K, P + M); zero, as if nothing moved, for those not kept."""
        return self._of(self.slopes, rows, 0.0)

    def _of(self, held: Floats | Shorts, rows: Rows, otherwise: float) -> Floats:
        at = self.place[np.asarray(rows, dtype=np.int64)]
        found = np.full((len(at), *held.shape[1:]), otherwise)
        found[at >= 0] = held[at[at >= 0]]
        return found

    def severities(self, rows: Rows, which: int, shifts: int) -> tuple[Floats, Floats]:
        """Posterior means and standard deviations (len(rows),) of a severity latent, in cell
        widths."""
        at, rows = self.total - shifts + which, np.asarray(rows, dtype=np.int64)
        means, sigmas = np.zeros(len(rows)), np.ones(len(rows))
        kept = np.flatnonzero(self.place[rows] >= 0)
        for part in np.array_split(kept, len(kept) // SOME + 1):
            place = self.place[rows[part]]
            slopes = self.slopes[place].astype(float)
            column = slopes[:, :, at]
            spread = whole_spread(slopes, self.noise[rows[part]])
            known = np.linalg.solve(spread, column[..., None])[..., 0]
            means[part] = self.latents[place, at]
            sigmas[part] = np.sqrt(np.maximum(1.0 - (column * known).sum(axis=1), 1e-6))
        return means, sigmas

    def taken(self, rows: Rows) -> Scores:
        """The scores of some rows."""
        which = np.asarray(rows, dtype=np.int64)
        place = self.place[which]
        kept = place >= 0
        fresh = np.full(len(which), -1)
        fresh[kept] = np.arange(kept.sum())
        return Scores(
            self.log_evidence[which], self.values[which], self.noise[which], self.misfit[which],
            self.solved[which], self.latents[place[kept]], self.volts[place[kept]],
            self.slopes[place[kept]], fresh,
        )

    def restore(self, rows: Rows, kept: Scores) -> None:
        """Put back rows as they were when they were taken."""
        which = np.asarray(rows, dtype=np.int64)
        place = self.place[which]
        self.log_evidence[which], self.misfit[which] = kept.log_evidence, kept.misfit
        self.values[which], self.noise[which] = kept.values, kept.noise
        self.latents[place], self.slopes[place] = kept.latents, kept.slopes
        self.volts[place] = kept.volts

    def widened(self, width: int, shifts: int, spares: int) -> Scores:
        """With room for `shifts` severities in the latents and `spares` columns of leads."""
        latents = max(width + shifts - self.total, 0)
        leads = max(spares - self.volts.shape[1], 0)
        return replace(
            self,
            latents=np.pad(self.latents, ((0, 0), (0, latents))),
            slopes=np.pad(self.slopes, ((0, 0), (0, 0), (0, latents))),
            volts=np.pad(self.volts, ((0, 0), (0, leads)), constant_values=np.nan),
        )


def joined(parts: Sequence[Scores], width: int) -> Scores:
    """Scores of several lists of components, one after the other."""
    shifts = max(p.total for p in parts) - width
    columns = max(p.volts.shape[1] for p in parts)
    wide = [p.widened(width, shifts, columns) for p in parts]
    places, offset = [], 0
    for part in wide:
        places.append(np.where(part.place >= 0, part.place + offset, -1))
        offset += len(part.slopes)
    return Scores(
        np.concatenate([p.log_evidence for p in wide]),
        np.concatenate([p.values for p in wide]),
        np.concatenate([p.noise for p in wide]),
        np.concatenate([p.misfit for p in wide]),
        np.concatenate([p.solved for p in wide]),
        np.concatenate([p.latents for p in wide]),
        np.concatenate([p.volts for p in wide]),
        np.concatenate([p.slopes for p in wide]),
        np.concatenate(places),
    )


def whole_spread(slopes: Floats, noise: Floats) -> Floats:
    """Covariances (..., K, K) of readings that follow standard latents by slopes (..., K, L), with
    variances (..., K) of their own."""
    return with_noise(shared_spread(slopes), noise)


def shared_spread(slopes: Floats) -> Floats:
    """The same without variances of their own."""
    return np.asarray(slopes @ np.swapaxes(slopes, -1, -2))


def with_noise(common: Floats, noise: Floats) -> Floats:
    """Covariances (..., K, K) with variances (..., K) besides."""
    spread, every = common.copy(), np.arange(common.shape[-1])
    spread[..., every, every] += noise
    return spread


def log_priors(components: Sequence[Component]) -> Floats:
    return np.array([c.log_prior for c in components])


def seen_as(component: Component, leads: set[str]) -> object:
    """What of a component shows in readings: where a joint was touched only if it is read."""
    touched = component.at_lead and any(
        lead in leads for lead, _ in component.centre.lifts
    )
    return tuple(map(id, component.faults)), component.severities, touched


def cells_beside(components: Sequence[Component]) -> dict[int, tuple[int, int]]:
    """Row -> (row before, row after) among neighbouring cells of one swept severity."""
    found: dict[int, tuple[int, int]] = {}
    keys = [(tuple(f.key for f in c.faults), c.severities[:-1], c.at_lead) for c in components]
    for row, component in enumerate(components):
        if not component.widths or component.widths[-1] <= 0:
            continue
        low = row - 1 if row > 0 and keys[row - 1] == keys[row] else row
        high = row + 1 if row + 1 < len(keys) and keys[row + 1] == keys[row] else row
        if low != high:
            found[row] = (low, high)
    return found
