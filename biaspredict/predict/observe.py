"""What a meter would show at given points under many variations of one stage at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.flatten import flatten
from biaspredict.engine.linear import linearise
from biaspredict.engine.metered import Meters
from biaspredict.engine.solver import Floats, Solutions, Solver
from biaspredict.model.circuit import SOUND, Axis, Circuit, Variation
from biaspredict.model.readings import Quantity
from biaspredict.model.stage import Stage
from biaspredict.predict.faint import Drops, left_open
from biaspredict.predict.loaded import OHMS_SHARE, beyond_linear, stray, with_meters
from biaspredict.predict.look import Connected, Look, Observed, done_to, holding, widened
from biaspredict.predict.meters import ohms_shown
from biaspredict.predict.overdrive import Bulk
from biaspredict.predict.points import Ints, between, points_of
from biaspredict.predict.probe import Probe
from biaspredict.predict.signal_probe import SignalStage
from biaspredict.predict.spread import axes, cold, with_power_off
from biaspredict.predict.unmoved import NONE, Unmoved


class Predictor:
    """Predicts what meters show on one stage, with whichever engine it is handed."""

    def __init__(self, stage: Stage, solver: Solver, spread: Sequence[Axis] | None = None) -> None:
        self.stage = stage
        self.solver = solver
        self.axes = tuple(axes(stage) if spread is None else spread)
        self.axes_off = with_power_off(self.axes)
        self.sigmas: Floats = np.array([axis.sigma for axis in self.axes])
        self._middle: dict[Variation, Floats] = {}
        self._sound: dict[Probe, float] = {}
        self._unmoved: dict[object, Observed] = {}  # the sound stage at a first look

    @cached_property
    def circuit(self) -> Circuit:
        return flatten(self.stage)

    @cached_property
    def unpowered(self) -> Circuit:
        return flatten(cold(self.stage, self.axes), powered=False)

    @cached_property
    def unmoved(self) -> Unmoved:
        return Unmoved(self.circuit, self.middle([SOUND])[0])

    @cached_property
    def bulk(self) -> Bulk:
        return Bulk(self.stage, self.circuit)

    @cached_property
    def drops(self) -> Drops:
        return Drops(self.stage, self.circuit, self.axes)

    @cached_property
    def sounding(self) -> SignalStage:
        return SignalStage(self.stage)

    def middle(self, variations: Sequence[Variation]) -> Floats:
        """Volts (B, n + spares) of specimens without any spread; NaN rows where unsolved.

        They are kept: no reading moves them.
        """
        fresh = [v for v in dict.fromkeys(variations) if v not in self._middle]
        found = self.solver.solve(self.circuit, fresh).volts
        size = len(self.circuit.nodes)
        for variation, row in zip(fresh, found, strict=True):
            self._middle[variation] = row[: size + len(variation.lifts)].copy()
        rows = [self._middle[v] for v in variations]
        volts = np.full((len(rows), max(map(len, rows), default=size)), np.nan)
        for i, row in enumerate(rows):
            volts[i, : len(row)] = row
        return volts

    def sound(self, probes: Sequence[Probe]) -> Sequence[float]:
        """What the sound stage shows at the middle of its spread; kept, like `middle`."""
        fresh = [probe for probe in dict.fromkeys(probes) if probe not in self._sound]
        if fresh:
            shown = self.observe([SOUND], np.zeros((1, len(self.axes))), fresh).values[0]
            self._sound.update(zip(fresh, shown.tolist(), strict=True))
        return [self._sound[probe] for probe in probes]

    def volts(self, variations: Sequence[Variation], amounts: Floats | None = None) -> Floats:
        """Node volts (B, n) with nothing connected; NaN rows where unsolved."""
        spread = self.axes if amounts is not None else ()
        found = self.solver.solve(self.circuit, variations, spread, amounts)
        return found.volts[:, : len(self.circuit.nodes)]

    def observe(
        self,
        variations: Sequence[Variation],
        amounts: Floats,
        probes: Sequence[Probe],
        at_lead: NDArray[np.bool_] | None = None,
        *,
        start: Floats | None = None,
        solved: Floats | None = None,
        nearby: Sequence[Sequence[Variation]] = (),
    ) -> Observed:
        """Readings (B, K) and their slopes along the axes at the given amounts (B, P).

        at_lead: (B,) where a joint is lifted, True if the person touched the part's lead.
        start: (B, n + spares) volts nearby. solved: the volts themselves; then a meter's
        loading is taken as linear always, and `doubt` says how far that may be off.
        nearby: M times B variations of the same wiring with values slightly different.
        """
        ends = [(k, other) for k, p in enumerate(probes) if (other := p.other_end) is not None]
        both = [*probes, *(other for _, other in ends)]
        seen = self._observed(
            variations, amounts, both, at_lead, start=start, solved=solved, nearby=nearby
        )
        return seen.between([k for k, _ in ends]) if ends else seen

    def _observed(
        self,
        variations: Sequence[Variation],
        amounts: Floats,
        probes: Sequence[Probe],
        at_lead: NDArray[np.bool_] | None,
        *,
        start: Floats | None,
        solved: Floats | None,
        nearby: Sequence[Sequence[Variation]],
    ) -> Observed:
        """As `observe`, each probe with just its own `extra`."""
        many, count = len(variations), len(probes)
        spares = max((len(v.lifts) for v in variations), default=0)
        look = Look(
            np.full((many, count), np.nan),
            np.zeros((many, count, len(self.axes) + len(nearby))),
            np.ones(many, dtype=bool),
            np.full((many, len(self.circuit.nodes) + spares), np.nan),
            np.zeros(many, dtype=bool) if at_lead is None else at_lead,
            np.zeros((many, count)),
        )
        sets = (variations, *nearby)
        live: dict[Variation, list[int]] = {}
        signals: dict[Variation, list[int]] = {}
        off: list[int] = []
        for k, probe in enumerate(probes):
            if not probe.powered:
                off.append(k)
            else:
                (signals if probe.signal else live).setdefault(probe.extra, []).append(k)
        asis = live.pop(SOUND, None)
        if asis is not None:
            self._asis(sets, amounts, probes, asis, look, start, solved)
            start = look.volts
        elif solved is not None:
            look.volts[:] = start = solved[:, : look.volts.shape[1]]
        if live:
            self._volts(sets, amounts, probes, live, look, start, solved)
        width = len(self.axes)
        for extra, columns in signals.items():
            asked = [probes[k] for k in columns]
            first = self._signals(done_to(extra, variations), amounts, asked, look, start)
            look.values[:, columns], look.doubt[:, columns] = first[0], first[2]
            look.slopes[:, columns, :width] = first[1]
            for m, others in enumerate(nearby):
                moved = [i for i, v in enumerate(others) if v != variations[i]]
                if moved:
                    there = look.part(moved)
                    some = done_to(extra, [others[i] for i in moved])
                    values, _, _ = self._signals(
                        some, amounts[moved], asked, there, there.volts, follow=False)
                    look.slopes[np.ix_(moved, columns, [width + m])] = (
                        np.nan_to_num(values - first[0][moved])[:, :, None]
                    )
        self._driven(sets, amounts, probes, off, look)
        look.solved[:] &= np.isfinite(look.values).all(axis=1)
        return Observed(look.values, look.slopes, look.solved, look.volts, look.doubt)

    def _asis(
        self, sets: Sequence[Sequence[Variation]], amounts: Floats, probes: Sequence[Probe],
        columns: list[int], look: Look, start: Floats | None, solved: Floats | None,
    ) -> None:
        """Powered readings with nothing done to the stage. In a first look at many, what a
        variation does not move is as it is of the sound stage."""
        groups, asked = {SOUND: columns}, [probes[k] for k in columns]
        where = points_of(self.circuit, [SOUND], asked, np.zeros(1, dtype=bool))[0]
        still, rows, own = NONE
        if solved is not None and not amounts.any():
            still, rows, own = self.unmoved.few(sets[0], solved, where)
        if not still.size and not rows.size:
            self._volts(sets, amounts, probes, groups, look, start, solved)
            return
        key = (*asked, len(sets))
        if key not in self._unmoved:
            self._unmoved = {key: self._observed(
                [SOUND], amounts[:1], asked, None, start=None, solved=self.middle([SOUND]),
                nearby=[[SOUND]] * (len(sets) - 1),
            )}
        known = np.concatenate([rows, still])
        look.copy(self._unmoved[key], known, columns)
        if solved is not None:
            look.volts[still] = solved[still, : look.volts.shape[1]]
        look.doubt[rows[:, None], np.asarray(columns)[own]] = 0.0  # not yet
        for which, some in ((np.delete(np.arange(len(sets[0])), known), None), (rows, own)):
            if which.size:
                self._volts(sets, amounts, probes, groups, look, start, solved, which, some)

    def _volts(
        self, sets: Sequence[Sequence[Variation]], amounts: Floats, probes: Sequence[Probe],
        groups: Mapping[Variation, list[int]], look: Look, start: Floats | None,
        solved: Floats | None, which: Ints | None = None, own: Ints | None = None,
    ) -> None:
        """Powered readings, each group of columns with something done to the stage.

        solved: as in observe, of the stage to which nothing is done. which, own: of some rows,
        each with columns of its own of the one group there is.
        """
        one = self._connected(
            self.circuit, sets, amounts, probes, groups, look, start, solved, which, own)
        if one is None:
            return
        linear, volts, heavy = one.linear, one.volts, one.heavy
        doubt = look.doubt[one.place] + self.bulk.volts(volts, one.sets[0])[:, None]
        faint = np.where(heavy, 0.0, self.drops.doubt(volts, linear.slopes))
        ohms = np.array([probe.ohms for probe in probes])[one.place[1]]
        look.doubt[one.place] = np.hypot(np.hypot(doubt, stray(linear, ohms)), faint)
        if solved is None:
            self._heavy(self.circuit, one, probes, look)
        else:
            look.doubt[one.place] += np.where(heavy, one.doubt, 0.0)

    def _connected(
        self, circuit: Circuit, sets: Sequence[Sequence[Variation]], amounts: Floats,
        probes: Sequence[Probe], groups: Mapping[Variation, list[int]], look: Look,
        start: Floats | None, solved: Floats | None, which: Ints | None = None,
        own: Ints | None = None,
    ) -> Connected | None:
        """Readings from the linear stage, filled in; None where nothing solves.

        A group with fewer columns than another has its last one again. which, own: see `_volts`.
        """
        which = np.arange(len(sets[0])) if which is None else which
        sets = [[variations[i] for i in which.tolist()] for variations in sets]
        many, wide = len(sets[0]), max(map(len, groups.values()))
        some = [[v for e in groups for v in done_to(e, variations)] for variations in sets]
        padded = [ks + [ks[-1]] * (wide - len(ks)) for ks in groups.values()]
        columns = np.repeat(np.array(padded), many, axis=0)
        again = np.arange(wide) >= np.repeat([len(ks) for ks in groups.values()], many)[:, None]
        rows = np.tile(which, len(groups))
        begin = None if start is None else widened(start[rows], some[0], len(self.circuit.nodes))
        around = self.axes if circuit is self.circuit else self.axes_off
        if solved is not None and SOUND in groups:
            there = np.asarray(np.isfinite(solved[which, : len(circuit.nodes)]).all(axis=1))
            found = Solutions(solved[which], there)
        else:
            found = self.solver.solve(circuit, some[0], around, amounts[rows], start=begin)
        np.logical_and.at(look.solved, rows, found.solved)
        powered = circuit is self.circuit
        if powered and (SOUND in groups or not np.isfinite(look.volts).any()):
            look.volts[which] = found.volts[:many, : look.volts.shape[1]]
        good = np.flatnonzero(found.solved)
        if not good.size:
            return None
        points = np.concatenate([
            points_of(
                circuit, some[0][g * many : (g + 1) * many], [probes[k] for k in ks],
                look.at_lead[which],
            )
            for g, ks in enumerate(padded)
        ])
        if own is not None:
            columns, again = np.take_along_axis(columns, own, axis=1), again[:, : own.shape[1]]
            points = np.take_along_axis(points, own[:, :, None], axis=1)
        points = points[good]
        columns, at = columns[good], amounts[rows[good]]
        some = [[variations[i] for i in good] for variations in some]
        volts, place = found.volts[good], (rows[good][:, None], columns)
        ohms, emf = (np.array([getattr(p, n) for p in probes])[columns] for n in ("ohms", "volts"))
        meters = Meters(ohms, emf, rough=solved is not None)
        linear = linearise(circuit, some[0], around, at, volts, points, some[1:], meters)
        if powered:
            heavy, doubt = beyond_linear(linear, between(volts, points))
        else:
            room = np.minimum(np.abs(linear.shown), np.abs(emf - linear.shown))
            heavy, doubt = beyond_linear(linear, room, 0.0, OHMS_SHARE)
        look.values[place] = linear.shown + np.where(heavy, 0.0, linear.bent)
        look.put(place, linear)
        return Connected(some, at, volts, points, place, linear, heavy, again[good], doubt)

    def _heavy(
        self, circuit: Circuit, one: Connected, probes: Sequence[Probe], look: Look
    ) -> None:
        """Solve again where a meter changes the state of the stage."""
        at_row, which = np.nonzero(one.heavy & ~one.again)
        if not at_row.size:
            return
        rows, columns = one.place[0][at_row, 0], one.place[1][at_row, which]
        self._loaded(
            circuit, [[variations[int(i)] for i in at_row] for variations in one.sets],
            one.amounts[at_row], [probes[k] for k in columns], columns, one.points[at_row, which],
            rows, look, one.volts[at_row],
        )

    def _loaded(
        self, circuit: Circuit, sets: Sequence[Sequence[Variation]], amounts: Floats,
        probes: Sequence[Probe], columns: Ints, points: Ints, rows: Ints, look: Look,
        start: Floats | None = None,
    ) -> None:
        """Solve again with each entry's meter across its points; entries fill (rows, columns)."""
        meters = with_meters(circuit, sets[0], probes, points)
        loaded = [
            [v.plus(meter) for v, meter in zip(variations, meters, strict=True)]
            for variations in sets
        ]
        around = self.axes if circuit is self.circuit else self.axes_off
        found = self.solver.solve(circuit, loaded[0], around, amounts, start=start)
        look.solved[rows[~found.solved]] = False
        good = np.flatnonzero(found.solved)
        if not good.size:
            return
        pairs = points[good][:, None, :]
        some = [[variations[i] for i in good.tolist()] for variations in loaded]
        volts = found.volts[good]
        linear = linearise(circuit, some[0], around, amounts[good], volts, pairs, some[1:])
        place = rows[good], columns[good]
        look.values[place] = between(volts, pairs)[:, 0]
        if circuit is self.circuit:
            faint = self.drops.doubt(volts, linear.slopes)[:, 0]
            look.doubt[place] = np.hypot(look.doubt[place], faint)
        look.slopes[place] = np.concatenate([linear.slopes, linear.rises], axis=2)[:, 0]

    def _signals(
        self, variations: Sequence[Variation], amounts: Floats, probes: Sequence[Probe],
        look: Look, start: Floats | None, *, follow: bool = True,
    ) -> tuple[Floats, Floats, Floats]:
        """Gains and levels (B, K), each about its own point; slopes and doubt if wanted."""
        shape = (len(variations), len(probes))
        values, doubt = np.full(shape, np.nan), np.zeros(shape)
        slopes = np.zeros((*shape, len(self.axes)))
        begin = None if start is None else widened(start, variations, len(self.circuit.nodes))
        found = self.solver.solve(self.circuit, variations, self.axes, amounts, start=begin)
        if not np.isfinite(look.volts).any():
            look.volts[:] = found.volts[:, : look.volts.shape[1]]
        good = np.flatnonzero(found.solved)
        if good.size:
            some = [variations[i] for i in good.tolist()]
            points = points_of(self.circuit, some, probes, look.at_lead[good])
            shown = self.sounding.read(
                probes, points, some, self.axes, amounts[good], found.volts[good], follow=follow)
            values[good], slopes[good], doubt[good] = shown
        return values, slopes, doubt

    def _driven(
        self, sets: Sequence[Sequence[Variation]], amounts: Floats, probes: Sequence[Probe],
        columns: Sequence[int], look: Look,
    ) -> None:
        """Power off: the meter drives the points, ohms or junction drop are read.

        A capacitor that leaks at its working volts may hold at a meter's: the reading lies
        anywhere between the two.
        """
        if not columns:
            return
        still = self.unpowered
        rows = [i for i, variation in enumerate(sets[0]) if holding(still, variation) is not None]
        every = [[*some, *(holding(still, some[i]) or some[i] for i in rows)] for some in sets]
        both = np.array([*range(len(sets[0])), *rows])
        seen = look.part(both, columns)
        seen.solved[:] = True
        self._off(every, amounts[both], [probes[k] for k in columns], seen)
        look.between(seen, columns, rows)

    def _off(
        self, sets: Sequence[Sequence[Variation]], amounts: Floats, probes: Sequence[Probe],
        look: Look,
    ) -> None:
        """Fills the look with the stage exactly as each variation has it."""
        groups: dict[Variation, list[int]] = {}
        for k, probe in enumerate(probes):
            groups.setdefault(probe.extra, []).append(k)
        asis = {SOUND: groups.pop(SOUND)} if SOUND in groups else {}
        for some in (asis, groups):
            off = self.unpowered
            one = some and self._connected(off, sets, amounts, probes, some, look, None, None)
            if one:
                self._heavy(off, one, probes, look)
        for k, probe in enumerate(probes):
            if probe.quantity is Quantity.DROP:
                continue
            across = np.clip(look.values[:, k], 1e-9, probe.volts * (1 - 1e-9))
            # d ln R / dV of the ohmmeter's own scale
            gain = probe.volts / (across * (probe.volts - across))
            look.slopes[:, k] *= gain[:, None]
            ohms = ohms_shown(across, probe.ohms, probe.volts)
            look.values[:, k] = np.log(ohms)
            amps = (probe.volts - across) / probe.ohms
            look.doubt[:, k] = left_open(ohms, look.slopes[:, k], self.axes_off, amps)
