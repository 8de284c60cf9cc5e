"""How well a supposed fault explains the readings, with all sound spread integrated out.

Each component supposes some faults at given severities. Its latent quantities are the spread
axes of a sound specimen and, for a graded fault, a shift of the severity inside its cell; all
are standard normal a priori. The readings are y = f(latents) + error. The latents' most
probable values are found by Gauss-Newton steps, and the integral over them is taken with the
linearisation found there (Laplace's method; Bishop, Pattern Recognition and Machine
Learning, 2006, section 4.4). With linear f this is exact.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from biaspredict import underway
from biaspredict.engine.solver import Floats
from biaspredict.graph.network import direct_coupled
from biaspredict.infer.components import (
    Component,
    Scores,
    Shorts,
    Task,
    cells_beside,
    log_priors,
    seen_as,
    shared_spread,
    whole_spread,
    with_noise,
)
from biaspredict.infer.contenders import forgiven, hopeful, unsettled, within_sight
from biaspredict.infer.followed import UNREACHED, followed, may_be_followed, unreached
from biaspredict.infer.model_error import ABOUT_SOUND, model_variance
from biaspredict.infer.scouts import scouted, stride
from biaspredict.model.circuit import Variation
from biaspredict.model.stage import GROUND
from biaspredict.predict.look import Observed
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe

STEP = 0.01  # shift of the severity latent for its slope
ROUGHER = 1.01  # variance beyond the noise, as a factor, from which a first look is not built on
CELL = 0.7  # standard deviation of a cell over the distance between cells: neighbours overlap
MOST_STEPS, LONG_WAY, TIRED = 8, 14, 2
STILL = 0.05  # latents that move less than this have settled
SURE = 2  # looks after which what stands far behind the best is left
KEPT = 600  # components whose slopes are kept
CHUNK, FEWEST = 800, 100  # components of one first look at most, and at least
AT_ONCE = 2e6  # slopes of one look, which bounds the memory


class Explainer:
    """Scores components against one task with one predictor."""

    def __init__(self, predictor: Predictor, task: Task) -> None:
        self.predictor = predictor
        self.task = task
        self.width = len(predictor.axes)

    def score(
        self, components: Sequence[Component], keep: int = 0, *, start: Floats | None = None
    ) -> Scores:
        """Evidence of every component; those hopeless at first look are left there.

        keep: how many best are refined whatever their first score. start: (B, n + spares)
        volts nearby, NaN where unknown.
        """
        leads = {probe.name for probe in self.task.probes}
        place: dict[object, int] = {}
        first: list[int] = []
        rows: list[int] = []
        for i, component in enumerate(components):
            row = place.setdefault(seen_as(component, leads), len(first))
            if row == len(first):
                first.append(i)
            rows.append(row)
        begin = None if start is None else start[first]
        found = self._scored([components[i] for i in first], keep, begin)
        return found if len(first) == len(components) else found.taken(rows)

    def _scored(
        self, components: Sequence[Component], keep: int, start: Floats | None
    ) -> Scores:
        first, strict = self._first(components, start)
        prior = log_priors(components)
        rows = hopeful(prior, first.misfit, keep)
        found, rows, begun, aims = scouted(self, components, first, rows)
        may = may_be_followed(self, components)
        gain = self._refined(components, found, rows, begun, aims, tiring=may)
        late = unreached(components, found, rows[may[rows]], found.log_evidence + prior, gain)
        if late.size:
            self._follow(components, found, late, gain)
        short = rows[may[rows] & np.isfinite(gain[rows]) & (gain[rows] > UNREACHED)]
        found.log_evidence[short] -= gain[short]  # what was aimed at was not found
        unseen = np.ones(len(components), dtype=bool)
        unseen[rows] = False
        rows = forgiven(found, prior, strict, unseen)
        if rows.size:
            latents = found.latents_of(rows)
            begun, aims = np.zeros_like(latents), stride(latents)
            self._refined(components, found, rows, begun, aims)
            unseen[rows] = False
        found.log_evidence[unseen] = np.minimum(found.log_evidence, strict)[unseen]
        found.latents[found.place[unseen & (found.place >= 0)]] = 0.0  # where they were seen
        return found

    def _first(
        self, components: Sequence[Component], start: Floats | None
    ) -> tuple[Scores, Floats]:
        """Every component linearised at the middle of its spread; and its log evidence (B,)
        without what so rough a look leaves open."""
        many, count = len(components), len(self.task.probes)
        shifts = max((len(c.faults) for c in components), default=0)
        total = self.width + shifts
        log_evidence, strict = np.full((2, many), -np.inf)
        misfit = np.full(many, np.inf)
        every, noise = np.full((many, count), np.nan), np.ones((many, count))
        solved, place = np.zeros(many, dtype=bool), np.full(many, -1)
        kept: list[tuple[NDArray[np.int64], Floats, Floats, Shorts]] = []
        middle = self._middle(components, start)
        chunk = int(min(max(AT_ONCE / max(count * total, 1), FEWEST), CHUNK))
        last, beforehand = min(KEPT, many - 1), 2.0 * log_priors(components)
        for begin in range(0, many, chunk):
            underway.at("weighing faults", begin, many)
            rows = np.arange(begin, min(begin + chunk, many))
            some = [components[i] for i in rows.tolist()]
            latents = np.zeros((len(rows), total))
            seen, slopes = self.look(
                some, latents, shifts, self.task.probes, solved=middle[rows]
            )
            self.task.meet(seen.values, slopes)
            every[rows], solved[rows] = seen.values, seen.solved
            exact = self.noise(seen.values)
            noise[rows] = exact + seen.doubt**2
            good = np.flatnonzero(seen.solved)
            h = slopes if len(good) == len(rows) else slopes[good]
            common, miss = shared_spread(h), self.task.values - seen.values[good]
            log_evidence[rows[good]], misfit[rows[good]], pull = _weighed(
                common, noise[rows[good]], miss
            )
            latents[good] = (pull[:, None] @ h)[:, 0]
            strict[rows] = log_evidence[rows]
            open_ = (noise[rows[good]] > exact[good] * ROUGHER).any(axis=1)
            strict[rows[good[open_]]] = _weighed(common[open_], exact[good[open_]], miss[open_])[0]
            likely = misfit - beforehand
            limit = np.partition(likely, last)[last]
            kept.append((rows, latents, seen.volts, slopes.astype(np.float32)))
            for k, held in enumerate(kept):  # what later ones have put out of reach too
                near = (likely[held[0]] <= limit) & solved[held[0]]
                if not near.all():
                    kept[k] = held[0][near], held[1][near], held[2][near], held[3][near]
            del seen, slopes  # before the next ones are made
        rows = np.concatenate([held[0] for held in kept])
        place[rows] = np.arange(len(rows))
        volts = np.full((len(rows), middle.shape[1]), np.nan)
        for held in kept:
            volts[place[held[0]], : held[2].shape[1]] = held[2]
        scores = Scores(
            log_evidence, every, noise, misfit, solved,
            np.concatenate([held[1] for held in kept]), volts,
            np.concatenate([held[3] for held in kept]), place,
        )
        return scores, strict

    def _middle(self, components: Sequence[Component], start: Floats | None) -> Floats:
        """Volts (B, n + spares) where all latents are 0; NaN rows where unsolved."""
        amounts = self.amounts(np.zeros((1, self.width)))
        if start is None and not amounts.any():
            return self.predictor.middle([c.centre for c in components])
        return self.at_rest(components, amounts, start)

    def at_rest(
        self, components: Sequence[Component], amounts: Floats, start: Floats | None
    ) -> Floats:
        """Volts (B, n + spares) of one specimen, axis amounts (1, P), with each component."""
        predictor, many = self.predictor, len(components)
        return predictor.solver.solve(
            predictor.circuit, [c.centre for c in components], predictor.axes,
            np.broadcast_to(amounts, (many, amounts.shape[1])), start=start,
        ).volts

    def _follow(
        self, components: Sequence[Component], found: Scores, rows: NDArray[np.int64],
        gain: Floats,
    ) -> None:
        """Look again at rows that steps have not brought where they aim, by another way."""
        kept = found.taken(rows)
        aims, volts = followed(self, components, found, rows)
        found.volts[found.place[rows], : volts.shape[1]] = volts
        again = self._refined(components, found, rows, aims, aims.copy(), anew=True)
        ahead = found.log_evidence[rows] - again[rows] > kept.log_evidence - gain[rows]
        found.restore(rows[~ahead], kept.taken(np.flatnonzero(~ahead)))
        gain[rows[ahead]] = again[rows[ahead]]

    def _refined(
        self, components: Sequence[Component], found: Scores, rows: NDArray[np.int64],
        begun: Floats, aims: Floats, *, anew: bool = False,
        tiring: NDArray[np.bool_] | None = None,
    ) -> Floats:
        """Gauss-Newton steps for some rows, in place; what each (B,) would still gain by one more.

        begun: (len(rows), P + M) from where they were looked at; aims: where to look first;
        anew: whatever was found before. tiring: (B,) what is left after TIRED steps in vain.
        """
        slopes, prior = found.slopes, log_priors(components)
        shifts = found.total - self.width
        cost, gain = np.full((2, len(components)), np.inf)
        every, at = rows, np.full(len(components), -1)
        at[rows] = np.arange(len(rows))
        best = begun
        # what a rough look saw is no match for what an exact one sees
        miss = self.task.values - found.values[rows]
        exact = found.noise[rows] <= self.noise(found.values[rows]) * ROUGHER
        there = 0.5 * (best**2).sum(1) + _misses(miss, found.noise[rows])
        if not anew:
            cost[rows] = np.where(exact.all(axis=1), there, np.inf)
        vain = np.zeros(len(components), dtype=np.int64)
        for step in range(LONG_WAY if anew else MOST_STEPS):
            if step >= SURE:
                rows = rows[within_sight(found.log_evidence + prior, found)[rows]]
            if not rows.size:
                break
            underway.at(f"weighing {len(rows)} faults once more")
            some = [components[i] for i in rows]
            seen, fresh = self.look(
                some, aims[at[rows]], shifts, self.task.probes, start=found.volts_of(rows)
            )
            self.task.meet(seen.values, fresh)
            noise = self.noise(seen.values) + seen.doubt**2
            miss = self.task.values - seen.values
            fresh_cost = 0.5 * (aims[at[rows]] ** 2).sum(1) + _misses(miss, noise)
            fresh_cost[~seen.solved] = np.inf
            better = fresh_cost < cost[rows] - 1e-3
            won, lost = rows[better], rows[~better]
            cost[won] = fresh_cost[better]
            best[at[won]] = aims[at[won]]
            found.values[won], found.noise[won] = seen.values[better], noise[better]
            found.volts[found.place[won], : seen.volts.shape[1]] = seen.volts[better]
            slopes[found.place[won]] = fresh[better]
            next_aims, evidence, misfit = self.aim(
                seen.values[better], fresh[better], noise[better], aims[at[won]]
            )
            found.log_evidence[won], found.misfit[won] = evidence, misfit
            gain[won] = cost[won] - 0.5 * (misfit + np.log(noise[better]).sum(1))
            # a step that failed to improve is halved back towards the best point
            back, on = at[lost], at[won]
            aims[back] = best[back] + 0.4 * (aims[back] - best[back])
            aims[on] = best[on] + stride(next_aims - best[on])
            del seen, fresh  # before the next ones are made
            vain[won], vain[lost] = 0, vain[lost] + 1
            rows = np.concatenate([won, lost])
            if tiring is not None:
                rows = rows[~(tiring & (vain >= TIRED))[rows]]
            far = np.abs(aims[at[rows]] - best[at[rows]]).max(axis=1, initial=0.0) > STILL
            rows = rows[far & unsettled(found.log_evidence + prior, rows, gain)]
        found.latents[found.place[every]] = best
        return gain

    def look(
        self, components: Sequence[Component], latents: Floats, shifts: int,
        probes: Sequence[Probe], *, start: Floats | None = None, solved: Floats | None = None,
    ) -> tuple[Observed, Floats]:
        """Readings (B, K) at the latents, and slopes (B, K, P + M) per standard latent.

        Slopes in the severities come from a glance a little to the side. start: volts
        nearby. solved: the volts there, for a first look; then slopes in the last severity
        come from the neighbouring cells in the list, at no cost, and meters load linearly:
        good enough to tell what is hopeless. The slopes of what was seen are used up.
        """
        width = self.width
        amounts = self.amounts(latents)
        moves = latents[:, width:]
        lead = np.array([c.at_lead for c in components])
        variations = [
            c.variation(m) if any(m) else c.centre
            for c, m in zip(components, moves.tolist(), strict=True)
        ]
        cells = {} if solved is None else cells_beside(components)
        graded = [
            [
                which < len(c.widths) and c.widths[which] > 0
                and not (which == len(c.widths) - 1 and row in cells)
                for row, c in enumerate(components)
            ]
            for which in range(shifts)
        ]
        nearby = [
            [
                self._beside(c, m, which) if yes else v
                for c, m, v, yes in zip(components, moves, variations, graded[which], strict=True)
            ]
            for which in range(shifts)
        ]
        seen = self.predictor.observe(
            variations, amounts, probes, lead, start=start, solved=solved, nearby=nearby
        )
        slopes = seen.slopes  # in place, for they are many
        slopes[:, :, :width] *= self.predictor.sigmas
        slopes[:, :, width:] /= STEP
        for row, (low, high) in cells.items():
            if seen.solved[low] and seen.solved[high]:
                rise = (seen.values[high] - seen.values[low]) / (high - low)
                slopes[row, :, width + len(components[row].widths) - 1] = rise * CELL
        return seen, slopes

    def _beside(self, component: Component, moves: Floats, which: int) -> Variation:
        """The component's variation with one severity a little to the side."""
        shifted = moves.copy()
        shifted[which] += STEP
        return component.variation(shifted.tolist())

    def foresee(
        self, components: Sequence[Component], scores: Scores, rows: NDArray[np.int64],
        probes: Sequence[Probe],
    ) -> tuple[Floats, Floats]:
        """Mean and variance (B, C) of readings not yet taken, given those taken.

        Rows that do not solve there are NaN. Meter error of the new reading is not included.
        """
        size = max(int(AT_ONCE / max(len(probes) * scores.total, 1)), 16)
        parts = [rows[first : first + size] for first in range(0, len(rows), size)]
        found = []
        for k, part in enumerate(parts):
            underway.at(f"weighing {len(probes)} further readings", k, len(parts))
            found.append(self._foreseen(components, scores, part, probes))
        means, variances = zip(*found, strict=True)
        return np.concatenate(means), np.concatenate(variances)

    def _foreseen(
        self, components: Sequence[Component], scores: Scores, rows: NDArray[np.int64],
        probes: Sequence[Probe],
    ) -> tuple[Floats, Floats]:
        shifts = scores.total - self.width
        some = [components[i] for i in rows]
        seen, slopes = self.look(
            some, scores.latents_of(rows), shifts, probes, start=scores.volts_of(rows)
        )
        h, noise = scores.slopes_of(rows), scores.noise[rows]
        spread = whole_spread(h, noise)
        cross = slopes @ h.transpose(0, 2, 1)
        known = np.linalg.solve(spread, cross.transpose(0, 2, 1)).transpose(0, 2, 1)
        explained = np.einsum("bck,bck->bc", cross, known)
        variance = np.maximum((slopes**2).sum(2) - explained, 0.0)
        variance += self.model_noise(seen.values, probes) + seen.doubt**2
        means = np.where(seen.solved[:, None], seen.values, np.nan)
        return means, variance

    def noise(self, values: Floats) -> Floats:
        """Variances (B, K): meter and reader, and the model's own error at the prediction."""
        return self.model_noise(values, self.task.probes) + self.task.sigmas**2

    def model_noise(self, values: Floats, probes: Sequence[Probe]) -> Floats:
        """Variances (B, K) of the model's own error at predicted values, 0 where unsolved."""
        noise = np.empty_like(values)
        joined = direct_coupled(self.predictor.stage)
        asked = [probe for probe in probes if probe.quantity in ABOUT_SOUND]
        when = dict(zip(asked, self.predictor.sound(asked), strict=True))
        for k, probe in enumerate(probes):
            count = max(joined.get(probe.node, 0), joined.get(probe.minus or GROUND, 0))
            about = when.get(probe, math.nan)
            variance = model_variance(values[:, k], probe.quantity, about, count)
            noise[:, k] = np.nan_to_num(variance)
        return noise

    def amounts(self, latents: Floats) -> Floats:
        """Axis amounts (B, P) of a specimen with these latents."""
        return latents[:, : self.width] * self.predictor.sigmas

    def aim(
        self, values: Floats, slopes: Floats, noise: Floats, latents: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Most probable latents of the linearised problem, log evidence and misfit there."""
        miss = self.task.values - values + (slopes @ latents[..., None])[..., 0]
        evidence, misfit, pull = _weighed(shared_spread(slopes), noise, miss)
        return (pull[:, None] @ slopes)[:, 0], evidence, misfit


def _weighed(common: Floats, noise: Floats, miss: Floats) -> tuple[Floats, Floats, Floats]:
    """Log evidence and misfit (B,) of misses (B, K) with so much spread in common (B, K, K) and
    variances (B, K) of their own, and what they pull at (B, K)."""
    spread = with_noise(common, noise)
    pull = np.linalg.solve(spread, miss[..., None])[..., 0]
    misfit = (miss * pull).sum(1)
    logdet = np.asarray(np.linalg.slogdet(spread)[1])
    evidence = -0.5 * (misfit + logdet + miss.shape[1] * math.log(2.0 * math.pi))
    return np.asarray(evidence), np.asarray(misfit), np.asarray(pull)


def _misses(miss: Floats, noise: Floats) -> Floats:
    """Minus the log density (B,) of the misses, but for a constant."""
    return np.asarray(0.5 * (miss**2 / noise + np.log(noise)).sum(1))
