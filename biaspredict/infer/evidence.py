"""How well a supposed fault explains the readings, with all sound spread integrated out.

Each component supposes some faults at given severities. Its latent quantities are the spread
axes of a sound specimen and, for a graded fault, a shift of the severity inside its cell; all
are standard normal a priori. The readings are y = f(latents) + error. The latents' most
probable values are found by Gauss-Newton steps, and the integral over them is taken with the
linearisation found there (Laplace's method; Bishop, Pattern Recognition and Machine
Learning, 2006, section 4.4). With linear f this is exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.solver import Floats
from biaspredict.infer.faults import Fault
from biaspredict.model.circuit import SOUND, Variation
from biaspredict.model.readings import Quantity
from biaspredict.predict.meters import MODEL_FRACTION, MODEL_VOLTS
from biaspredict.predict.observe import Observed, Predictor, Probe

STEP = 0.05  # shift of the severity latent for its slope
CELL = 0.7  # standard deviation of a cell over the distance between cells: neighbours overlap
MOST_STEPS = 6
STILL = 0.05  # latents that move less than this have settled
HOPELESS = 40.0  # nats below the best at which a component is left after its first look


@dataclass(frozen=True, slots=True)
class Component:
    """faults with severities (same length), log prior weight, and where a joint was touched.

    widths: standard deviation of each log severity inside its cell, 0 where fixed.
    """

    faults: tuple[Fault, ...]
    severities: tuple[float, ...]
    widths: tuple[float, ...]
    log_prior: float
    at_lead: bool = False

    def variation(self, shifts: Sequence[float]) -> Variation:
        """The circuit's variation with the severities shifted by so many cell widths."""
        found = SOUND
        for fault, centre, width, shift in zip(
            self.faults, self.severities, self.widths, shifts, strict=False
        ):
            found = found.plus(fault.act(centre * float(np.exp(width * shift))))
        return found


@dataclass(frozen=True, slots=True)
class Task:
    """The readings to be explained: probes, values (logarithm for ohms), errors' sigma."""

    probes: tuple[Probe, ...]
    values: Floats
    sigmas: Floats

    def with_reading(self, probe: Probe, value: float, sigma: float) -> Task:
        return replace(
            self,
            probes=(*self.probes, probe),
            values=np.append(self.values, value),
            sigmas=np.append(self.sigmas, sigma),
        )


@dataclass(frozen=True, slots=True)
class Scores:
    """For each of B components, at its most probable latents.

    log_evidence (B,): -inf where unsolved. latents (B, P + M). values (B, K) as shown there,
    slopes (B, K, P + M) per standard latent, noise (B, K) variances. misfit (B,): the
    squared distance of the readings from the prediction in units of their whole spread.
    """

    log_evidence: Floats
    latents: Floats
    values: Floats
    slopes: Floats
    noise: Floats
    misfit: Floats
    solved: NDArray[np.bool_]

    def severity(self, row: int, which: int, shifts: int) -> tuple[float, float]:
        """Posterior mean and standard deviation of a severity latent, in cell widths."""
        place = self.latents.shape[1] - shifts + which
        slopes = self.slopes[row]
        spread = slopes @ slopes.T + np.diag(self.noise[row])
        column = slopes[:, place]
        variance = 1.0 - column @ np.linalg.solve(spread, column)
        return float(self.latents[row, place]), float(np.sqrt(max(variance, 1e-6)))


class Explainer:
    """Scores components against one task with one predictor."""

    def __init__(self, predictor: Predictor, task: Task) -> None:
        self.predictor = predictor
        self.task = task
        self.width = len(predictor.axes)

    def score(self, components: Sequence[Component], keep: int = 0) -> Scores:
        """Evidence of every component; components hopeless at first look are left there.

        keep: how many best are refined whatever their first score.
        """
        many = len(components)
        shifts = max((len(c.faults) for c in components), default=0)
        total = self.width + shifts
        count = len(self.task.probes)
        latents = np.zeros((many, total))
        best_latents = latents.copy()
        values = np.full((many, count), np.nan)
        slopes = np.zeros((many, count, total))
        noise = np.ones((many, count))
        cost = np.full(many, np.inf)
        evidence = np.full(many, -np.inf)
        misfit = np.full(many, np.inf)
        solved = np.zeros(many, dtype=bool)
        rows = np.arange(many)
        for step in range(MOST_STEPS):
            if not rows.size:
                break
            some = [components[i] for i in rows]
            seen, fresh_slopes = self.look(
                some, latents[rows], shifts, self.task.probes, neighbours=step == 0
            )
            fresh_noise = self._noise(seen.values)
            miss = self.task.values - seen.values
            fresh_cost = 0.5 * (latents[rows] ** 2).sum(1) + 0.5 * (miss**2 / fresh_noise).sum(1)
            fresh_cost[~seen.solved] = np.inf
            better = fresh_cost < cost[rows] - 1e-3
            won = rows[better]
            cost[won] = fresh_cost[better]
            best_latents[won] = latents[won]
            values[won] = seen.values[better]
            slopes[won] = fresh_slopes[better]
            noise[won] = fresh_noise[better]
            solved[won] = True
            # a step that failed to improve is halved back towards the best point
            lost = rows[~better & np.isfinite(cost[rows])]
            retry = latents[lost] - best_latents[lost]
            aims = self._aim(won, best_latents, values, slopes, noise, evidence, misfit)
            latents[won] = aims
            latents[lost] = best_latents[lost] + 0.4 * retry
            moved = np.concatenate([won, lost])
            far = np.abs(latents[moved] - best_latents[moved]).max(axis=1, initial=0.0) > STILL
            rows = moved[far]
            if step == 0:
                rows = self._hopeful(rows, evidence, misfit, keep)
        return Scores(evidence, best_latents, values, slopes, noise, misfit, solved)

    def look(
        self, components: Sequence[Component], latents: Floats, shifts: int,
        probes: Sequence[Probe], *, neighbours: bool = False,
    ) -> tuple[Observed, Floats]:
        """Readings (B, K) at the latents, and slopes (B, K, P + M) per standard latent.

        Slopes in the severities come from one more solve a little to the side; with
        `neighbours`, those of the last severity come from the neighbouring cells in the list,
        at no cost, which is good enough to tell what is hopeless.
        """
        width = self.width
        amounts = latents[:, :width] * self.predictor.sigmas
        moves = latents[:, width:]
        lead = np.array([c.at_lead for c in components])
        many, count = len(components), len(probes)
        beside_cell = _cells_beside(components) if neighbours else {}
        graded = [
            (row, which)
            for which in range(shifts)
            for row, c in enumerate(components)
            if which < len(c.widths) and c.widths[which] > 0
            and not (which == len(c.widths) - 1 and row in beside_cell)
        ]
        variations = [c.variation(m) for c, m in zip(components, moves, strict=True)]
        for row, which in graded:
            beside = moves[row].copy()
            beside[which] += STEP
            variations.append(components[row].variation(beside))
        index = np.array([*range(many), *(row for row, _ in graded)], dtype=np.int64)
        seen = self.predictor.observe(variations, amounts[index], probes, lead[index])
        beside_slopes = np.zeros((many, count, shifts))
        for place, (row, which) in enumerate(graded, start=many):
            if seen.solved[place]:
                beside_slopes[row, :, which] = (seen.values[place] - seen.values[row]) / STEP
        for row, (low, high) in beside_cell.items():
            if seen.solved[low] and seen.solved[high]:
                which = len(components[row].widths) - 1
                rise = (seen.values[high] - seen.values[low]) / (high - low)
                beside_slopes[row, :, which] = rise * CELL
        first = Observed(seen.values[:many], seen.slopes[:many], seen.solved[:many])
        slopes = np.concatenate(
            [first.slopes * self.predictor.sigmas, np.nan_to_num(beside_slopes)], axis=2
        )
        return first, slopes

    def foresee(
        self, components: Sequence[Component], scores: Scores, rows: NDArray[np.int64],
        probes: Sequence[Probe],
    ) -> tuple[Floats, Floats]:
        """Mean and variance (B, C) of readings not yet taken, given those taken.

        Rows that do not solve there are NaN. Meter error of the new reading is not included.
        """
        shifts = scores.latents.shape[1] - self.width
        some = [components[i] for i in rows]
        seen, slopes = self.look(some, scores.latents[rows], shifts, probes)
        h, noise = scores.slopes[rows], scores.noise[rows]
        spread = h @ h.transpose(0, 2, 1)
        diagonal = np.arange(spread.shape[1])
        spread[:, diagonal, diagonal] += noise
        cross = slopes @ h.transpose(0, 2, 1)
        explained = np.einsum(
            "bck,bck->bc", cross, np.linalg.solve(spread, cross.transpose(0, 2, 1))
            .transpose(0, 2, 1)
        )
        model = np.stack(
            [model_variance(seen.values[:, c], p.quantity) for c, p in enumerate(probes)], axis=1
        )
        variance = np.maximum((slopes**2).sum(2) - explained, 0.0) + model
        means = np.where(seen.solved[:, None], seen.values, np.nan)
        return means, variance

    def _noise(self, values: Floats) -> Floats:
        """Variances (B, K): meter and reader, and the model's own error at the prediction."""
        noise = np.empty_like(values)
        for k, probe in enumerate(self.task.probes):
            noise[:, k] = np.nan_to_num(model_variance(values[:, k], probe.quantity))
        return noise + self.task.sigmas**2

    def _aim(
        self, rows: NDArray[np.int64], latents: Floats, values: Floats, slopes: Floats,
        noise: Floats, evidence: Floats, misfit: Floats,
    ) -> Floats:
        """Most probable latents of the linearised problem; fills evidence and misfit."""
        if not rows.size:
            return latents[rows]
        h = slopes[rows]
        spread = h @ h.transpose(0, 2, 1)
        diagonal = np.arange(spread.shape[1])
        spread[:, diagonal, diagonal] += noise[rows]
        miss = self.task.values - values[rows] + np.einsum("bkp,bp->bk", h, latents[rows])
        solved = np.linalg.solve(spread, miss[..., None])[..., 0]
        _, logdet = np.linalg.slogdet(spread)
        misfit[rows] = (miss * solved).sum(1)
        evidence[rows] = -0.5 * (misfit[rows] + logdet + len(self.task.probes) * np.log(2 * np.pi))
        return np.einsum("bkp,bk->bp", h, solved)

    def _hopeful(
        self, rows: NDArray[np.int64], evidence: Floats, misfit: Floats, keep: int
    ) -> NDArray[np.int64]:
        """Rows worth more steps.

        The first look linearises at the middle of the spread; a component whose misfit is
        far beyond the best's there does not come back within a few steps.
        """
        if not rows.size:
            return rows
        # misfit, not evidence: a badly placed linearisation also misjudges the spread
        order = rows[np.argsort(misfit[rows])]
        best = misfit[order[0]]
        near = order[misfit[order] < best + 2 * HOPELESS + 0.5 * best]
        least = order[: max(keep, 24)]
        return np.unique(np.concatenate([near, least]))


def _cells_beside(components: Sequence[Component]) -> dict[int, tuple[int, int]]:
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


def model_variance(values: Floats, quantity: Quantity) -> Floats:
    """Variance of the model's own error at predicted values; all but volts are logarithms."""
    if quantity not in (Quantity.VOLTS, Quantity.DROP):
        return np.full_like(values, 0.02**2)
    return np.asarray(MODEL_VOLTS**2 + (MODEL_FRACTION * values) ** 2)
