"""What a meter would show at given points under many variations of one stage at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.flatten import flatten
from biaspredict.engine.linear import linearise
from biaspredict.engine.solver import Floats, Solver
from biaspredict.model.circuit import OPEN, SOUND, Axis, Circuit, Device, Load, Variation
from biaspredict.model.devices import Bipolar, Polarity
from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import GROUND, Meter, Stage
from biaspredict.predict.meters import EVEN, ohms_shown, put_across
from biaspredict.predict.signal_probe import Ask, Signal, SignalStage
from biaspredict.predict.spread import axes, off_middle, with_power_off

# Above this share of loading a junction may change its state under the meter, and the linear
# correction gives way to a solve with the meter connected.
LINEAR_LOADING = 0.01
ROUGHLY = 0.4  # share of a meter's linear effect that may be wrong where it is heavy
LINEAR_VOLTS = 0.005  # and only where the meter moves the point by more
# Volts above a transistor's usual V_BE, about a hundred times its usual current, from which bulk
# resistance and high injection, which the equations leave out, are felt.
OVERDRIVE, BULK_VOLTS, BULK_MOST, THERMAL_VOLTS = 0.12, 0.02, 3.0, 0.0257
# A leak of an electrolytic at its working volts may be none at an ohmmeter's tenth of a volt
# (common practice, no source); below this it is a short, which any meter sees.
LEAK_LEAST = 1e3


@dataclass(frozen=True, slots=True)
class Probe:
    """One thing that can be read.

    ohms: meter input resistance on volts; internal resistance on ohms and drop.
    volts: open-circuit volts of the ohmmeter or diode range.
    name: as the person names the probe point ("Q1.base" may be the lead itself).
    doing: what is done to the stage meanwhile (a leg lifted, the can warmed), in words;
    extra: the same as a variation on top of whatever fault is supposed.
    signal: how a gain or level is made; a gain is that of node over minus.
    """

    node: str
    minus: str | None = None
    quantity: Quantity = Quantity.VOLTS
    ohms: float = 10e6
    volts: float = 0.0
    name: str = ""
    doing: str = ""
    extra: Variation = SOUND
    signal: Signal | None = None

    @property
    def powered(self) -> bool:
        return self.quantity not in (Quantity.OHMS, Quantity.DROP)


def probe_of(reading: Reading, meter: Meter, signal: Signal | None = None) -> Probe:
    """The probe behind a reading."""
    ohms, volts = put_across(reading, meter)
    return Probe(reading.node, reading.minus, reading.quantity, ohms, volts, reading.name,
                 extra=SOUND if signal is None else signal.extra, signal=signal)


@dataclass(frozen=True, slots=True)
class Observed:
    """values (B, K) as the meters show; slopes (B, K, P) per axis amount; solved (B,).

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


class Predictor:
    """Predicts what meters show on one stage, with whichever engine it is handed."""

    def __init__(self, stage: Stage, solver: Solver, spread: Sequence[Axis] | None = None) -> None:
        self.stage = stage
        self.solver = solver
        self.axes = tuple(axes(stage) if spread is None else spread)
        self.axes_off = with_power_off(self.axes)
        self.sigmas: Floats = np.array([axis.sigma for axis in self.axes])

    @cached_property
    def circuit(self) -> Circuit:
        return flatten(self.stage)

    @cached_property
    def unpowered(self) -> Circuit:
        """With the power off; rails of which nothing is said measure `off_middle` to ground."""
        rails = tuple(
            rail if rail.off_ohms is not None else replace(rail, off_ohms=off_middle())
            for rail in self.stage.rails)
        return flatten(replace(self.stage, rails=rails), powered=False)

    @cached_property
    def sounding(self) -> SignalStage:
        return SignalStage(self.stage)

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
        rough: bool = False,
    ) -> Observed:
        """Readings (B, K) and their slopes along the axes at the given amounts (B, P).

        at_lead: (B,) where a joint is lifted, True if the person touched the part's lead.
        start: (B, n + spares) volts nearby. rough: take a meter's loading as linear
        always, and say in `doubt` how far that may be off.
        """
        many, count = len(variations), len(probes)
        spares = max((len(v.lifts) for v in variations), default=0)
        look = _Look(
            np.full((many, count), np.nan),
            np.zeros((many, count, len(self.axes))),
            np.ones(many, dtype=bool),
            np.full((many, len(self.circuit.nodes) + spares), np.nan),
            np.zeros(many, dtype=bool) if at_lead is None else at_lead,
            np.zeros((many, count)),
        )
        live: dict[Variation, list[int]] = {}
        signals: dict[Variation, list[int]] = {}
        for k, probe in enumerate(probes):
            if probe.powered:
                (signals if probe.signal else live).setdefault(probe.extra, []).append(k)
        for extra, columns in live.items():
            some = variations if extra is SOUND else [v.plus(extra) for v in variations]
            self._volts(some, amounts, probes, columns, look, start, rough)
        for extra, columns in signals.items():
            some = variations if extra is SOUND else [v.plus(extra) for v in variations]
            self._signals(some, amounts, probes, columns, look, start)
        off = [k for k, probe in enumerate(probes) if not probe.powered]
        if off:
            self._driven(variations, amounts, [probes[k] for k in off], off, look)
        look.solved[:] &= np.isfinite(look.values).all(axis=1)
        return Observed(look.values, look.slopes, look.solved, look.volts, look.doubt)

    def _points(
        self, circuit: Circuit, variations: Sequence[Variation], probes: Sequence[Probe],
        lead: NDArray[np.bool_],
    ) -> NDArray[np.int64]:
        """Node indices (B, K, 2) of each probe; -1 for ground, spare columns for lifted leads."""
        where = {node: i for i, node in enumerate(circuit.nodes)}
        where[GROUND] = -1
        fixed = [[where[p.node], where[p.minus] if p.minus else -1] for p in probes]
        points = np.broadcast_to(np.array(fixed, dtype=np.int64), (len(variations), len(probes), 2))
        points = points.copy()
        names = {probe.name: k for k, probe in enumerate(probes)}
        own = {lead for probe in probes for lead, _ in probe.extra.lifts if lead == probe.name}
        for row, variation in enumerate(variations):
            for spare, (terminal, _) in enumerate(variation.lifts):
                if terminal in names and (lead[row] or terminal in own):
                    points[row, names[terminal], 0] = len(circuit.nodes) + spare
        return points

    def _volts(
        self, variations: Sequence[Variation], amounts: Floats, probes: Sequence[Probe],
        columns: Sequence[int], look: _Look, start: Floats | None, rough: bool,
    ) -> None:
        """All powered readings of one state of the stage, from one solve."""
        circuit, some_probes = self.circuit, [probes[k] for k in columns]
        places = np.asarray(columns, dtype=np.int64)
        begin = start
        if start is not None:
            # what is done to the stage may lift further leads
            spares = max((len(v.lifts) for v in variations), default=0)
            missing = len(circuit.nodes) + spares - start.shape[1]
            if missing > 0:
                begin = np.pad(start, ((0, 0), (0, missing)), constant_values=np.nan)
        found = self.solver.solve(circuit, variations, self.axes, amounts, start=begin)
        look.solved[:] &= found.solved
        look.volts[:] = found.volts[:, : look.volts.shape[1]]
        good = np.flatnonzero(found.solved)
        if not good.size:
            return
        some = [variations[i] for i in good.tolist()]
        points = self._points(circuit, some, some_probes, look.at_lead[good])
        linear = linearise(circuit, some, self.axes, amounts[good], found.volts[good], points)
        open_volts = _between(found.volts[good], points)
        look.doubt[np.ix_(good, places)] += self._overdriven(found.volts[good], some)[:, None]
        ohms = np.array([probe.ohms for probe in some_probes])
        share = linear.source_ohms / (linear.source_ohms + ohms)
        look.values[np.ix_(good, places)] = open_volts * (1.0 - share)
        look.slopes[np.ix_(good, places)] = linear.slopes * (1.0 - share)[:, :, None]
        moved = np.abs(open_volts * share)
        heavy = (share > LINEAR_LOADING) & (moved > LINEAR_VOLTS)
        if rough:
            look.doubt[np.ix_(good, places)] += np.where(heavy, ROUGHLY * moved, 0.0)
            return
        rows, which = np.nonzero(heavy)
        if rows.size:
            self._loaded(
                circuit, [some[i] for i in rows], amounts[good[rows]],
                [some_probes[k] for k in which], places[which], points[rows, which],
                good[rows], look, found.volts[good[rows]],
            )

    def _overdriven(self, volts: Floats, variations: Sequence[Variation]) -> Floats:
        """Volts (B,) that bulk resistance may add where a junction is driven far beyond its use.

        The drop across the bulk grows with the current, so exponentially with the junction's
        own volts; a few hundredths of a volt at a hundred times the usual current.
        """
        most = np.zeros(len(volts))
        padded = np.concatenate([volts, np.zeros((len(volts), 1))], axis=1)
        for base, emitter, sign, usual in self._junctions:
            beyond = sign * (padded[:, base] - padded[:, emitter]) - usual - OVERDRIVE
            most = np.maximum(most, beyond)
        for row, variation in enumerate(variations):
            if variation.lifts or variation.moves:
                most[row] = 0.0  # leads are not at their nodes: the junction's volts are not known
        grown = BULK_VOLTS * np.expm1(np.minimum(most / THERMAL_VOLTS, 6.0))
        return np.asarray(np.minimum(grown, BULK_MOST))

    @cached_property
    def _junctions(self) -> tuple[tuple[int, int, float, float], ...]:
        """(base column, emitter column, sign, usual volts) of each transistor; -1 for ground."""
        where = {node: i for i, node in enumerate(self.circuit.nodes)} | {GROUND: -1}
        return tuple(
            (where[part.node("base")], where[part.node("emitter")],
             1.0 if part.device.polarity is Polarity.NPN else -1.0, part.device.vbe)
            for part in self.stage.parts
            if isinstance(part.device, Bipolar)
        )

    def _loaded(
        self, circuit: Circuit, variations: Sequence[Variation], amounts: Floats,
        probes: Sequence[Probe], columns: NDArray[np.int64], points: NDArray[np.int64],
        rows: NDArray[np.int64], look: _Look, start: Floats | None = None,
    ) -> None:
        """Solve again with each entry's meter across its points; entries fill (rows, columns)."""
        names = (*circuit.nodes, GROUND)  # index -1 reads ground
        loaded = []
        for variation, probe, (a, b) in zip(variations, probes, points, strict=True):
            if a >= len(circuit.nodes):
                a_name = f"{variation.lifts[a - len(circuit.nodes)][0]} (lead)"
            else:
                a_name = names[a]
            meter = Load(a_name, names[b], probe.ohms, probe.volts)
            loaded.append(variation.plus(Variation(loads=(meter,))))
        around = self.axes if circuit is self.circuit else self.axes_off
        found = self.solver.solve(circuit, loaded, around, amounts, start=start)
        look.solved[rows[~found.solved]] = False
        good = np.flatnonzero(found.solved)
        if not good.size:
            return
        pairs = points[good][:, None, :]
        linear = linearise(circuit, [loaded[i] for i in good.tolist()], around, amounts[good],
                           found.volts[good], pairs)
        look.values[rows[good], columns[good]] = _between(found.volts[good], pairs)[:, 0]
        look.slopes[rows[good], columns[good]] = linear.slopes[:, 0]

    def _signals(
        self, variations: Sequence[Variation], amounts: Floats, probes: Sequence[Probe],
        columns: Sequence[int], look: _Look, start: Floats | None,
    ) -> None:
        """Gains and levels, each variation about its own operating point."""
        near = look.volts if np.isfinite(look.volts).any() else start
        found = self.solver.solve(self.circuit, variations, self.axes, amounts, start=near)
        look.solved[:] &= found.solved
        look.volts[:] = found.volts[:, : look.volts.shape[1]]
        good = np.flatnonzero(found.solved)
        if not good.size:
            return
        some = [variations[i] for i in good.tolist()]
        points = self._points(self.circuit, some, [probes[k] for k in columns], look.at_lead[good])
        asks = [
            Ask(signal, probes[k].quantity, points[:, i], probes[k].ohms)
            for i, k in enumerate(columns) if (signal := probes[k].signal) is not None
        ]
        shown = self.sounding.shown(asks, some, self.axes, amounts[good], found.volts[good])
        for k, one in zip(columns, shown, strict=True):
            look.values[good, k], look.slopes[good, k] = one.values, one.slopes
            look.doubt[good, k] = one.doubt

    def _driven(
        self, variations: Sequence[Variation], amounts: Floats, probes: Sequence[Probe],
        columns: Sequence[int], look: _Look,
    ) -> None:
        """Power off: the meter drives the points, ohms or junction drop are read.

        A capacitor that leaks at its working volts may hold at a meter's: the reading lies
        anywhere between the two.
        """
        rows = np.tile(np.arange(len(variations)), len(probes))
        which = np.repeat(np.arange(len(probes)), len(variations))
        some = [v.plus(probe.extra) for probe in probes for v in variations]
        holding = {i: tight for i, v in enumerate(some) if (tight := self._holding(v)) is not None}
        again = np.array(list(holding), dtype=np.int64)
        every = np.concatenate([np.arange(len(some)), again])
        shown = self._off(
            [*some, *holding.values()], amounts[rows[every]], [probes[k] for k in which[every]],
            look.at_lead[rows[every]],
        )
        first = len(some)
        at = rows, np.asarray(columns)[which]
        look.values[at], look.slopes[at] = shown.values[:first, 0], shown.slopes[:first, 0]
        np.logical_and.at(look.solved, rows[every], shown.solved)
        if not again.size:
            return
        held = rows[again], np.asarray(columns)[which[again]]
        both = np.stack([look.values[held], shown.values[first:, 0]])
        look.values[held] = both.mean(0)
        look.doubt[held] = np.abs(both[0] - both[1]) * 0.5 * EVEN
        look.slopes[held] = 0.5 * (look.slopes[held] + shown.slopes[first:, 0])

    def _holding(self, variation: Variation) -> Variation | None:
        """The same with its leaking capacitors holding; None where none leaks."""
        kept = tuple(
            (name, value) for name, value in variation.settings
            if not (name.endswith(".leak") and LEAK_LEAST < value < OPEN
                    and self.unpowered.element(name[:-5]).device is Device.CAPACITOR)
        )
        if len(kept) == len(variation.settings):
            return None
        return replace(variation, settings=kept)

    def _off(
        self, variations: Sequence[Variation], amounts: Floats, probes: Sequence[Probe],
        at_lead: NDArray[np.bool_],
    ) -> _Look:
        """One column: each variation through its own probe, the stage exactly as it has it."""
        many = len(variations)
        look = _Look(
            np.full((many, 1), np.nan), np.zeros((many, 1, len(self.axes))),
            np.ones(many, dtype=bool), np.empty((many, 0)), at_lead, np.zeros((many, 1)),
        )
        points = np.empty((many, 2), dtype=np.int64)
        for probe in dict.fromkeys(probes):
            mine = [i for i, other in enumerate(probes) if other == probe]
            points[mine] = self._points(
                self.unpowered, [variations[i] for i in mine], [probe], at_lead[mine]
            )[:, 0]
        self._loaded(self.unpowered, variations, amounts, probes, np.zeros(many, dtype=np.int64),
                     points, np.arange(many), look)
        inner = np.array([probe.ohms for probe in probes])
        test = np.array([probe.volts for probe in probes])
        ohms = np.array([probe.quantity is Quantity.OHMS for probe in probes])
        across = np.clip(look.values[:, 0], 1e-9, test * (1 - 1e-9))
        # d ln R / dV of the ohmmeter's own scale
        gain = np.where(ohms, test / (across * (test - across)), 1.0)
        look.slopes[:, 0] *= gain[:, None]
        look.values[:, 0] = np.where(
            ohms, np.log(ohms_shown(across, inner, test)), look.values[:, 0]
        )
        return look


@dataclass(frozen=True, slots=True)
class _Look:
    """What one call to observe fills in; see Observed."""

    values: Floats
    slopes: Floats
    solved: NDArray[np.bool_]
    volts: Floats
    at_lead: NDArray[np.bool_]
    doubt: Floats


def _between(volts: Floats, points: NDArray[np.int64]) -> Floats:
    """Volts between point pairs: volts (B, n), points (B, K, 2) with -1 for ground -> (B, K)."""
    padded = np.concatenate([volts, np.zeros((len(volts), 1))], axis=1)
    places = np.where(points < 0, volts.shape[1], points)
    plus = np.take_along_axis(padded, places[..., 0], 1)
    minus = np.take_along_axis(padded, places[..., 1], 1)
    return np.asarray(plus - minus)
