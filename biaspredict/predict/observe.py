"""What a meter would show at given points under many variations of one stage at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from biaspredict.engine.flatten import flatten
from biaspredict.engine.linear import linearise
from biaspredict.engine.solver import Floats, Solver
from biaspredict.model.circuit import SOUND, Axis, Circuit, Load, Variation
from biaspredict.model.readings import Quantity, Reading
from biaspredict.model.stage import GROUND, Meter, Stage
from biaspredict.predict.spread import axes

# Above this share of loading a junction may change its state under the meter, and the linear
# correction gives way to a solve with the meter connected.
LINEAR_LOADING = 0.01
ROUGHLY = 0.4  # share of a meter's linear effect that may be wrong where it is heavy
LINEAR_VOLTS = 0.005  # and only where the meter moves the point by more
OHMS_AT_MOST = 1e9  # what any ohmmeter calls open


@dataclass(frozen=True, slots=True)
class Probe:
    """One thing that can be read.

    ohms: meter input resistance on volts; internal resistance on ohms and drop.
    volts: open-circuit volts of the ohmmeter or diode range.
    name: as the person names the probe point ("Q1.base" may be the lead itself).
    doing: what is done to the stage meanwhile (a leg lifted, the can warmed), in words;
    extra: the same as a variation on top of whatever fault is supposed.
    """

    node: str
    minus: str | None = None
    quantity: Quantity = Quantity.VOLTS
    ohms: float = 10e6
    volts: float = 0.0
    name: str = ""
    doing: str = ""
    extra: Variation = SOUND

    @property
    def powered(self) -> bool:
        return self.quantity is Quantity.VOLTS


def probe_of(reading: Reading, meter: Meter) -> Probe:
    """The probe behind a reading. Ohms and drop need the meter's test voltage and resistance."""
    if reading.quantity is Quantity.VOLTS:
        ohms, volts = meter.input_ohms(reading.value, reading.range_volts), 0.0
    elif reading.quantity is Quantity.DROP:
        # 1 mA from about 3 V: the usual diode range (common practice, no source)
        ohms, volts = 3e3, 3.0
    else:
        ohms, volts = ohmmeter(meter, reading.value)
    return Probe(reading.node, reading.minus, reading.quantity, ohms, volts, reading.name)


def ohmmeter(meter: Meter, near: float) -> tuple[float, float]:
    """(internal ohms, open-circuit volts) of a meter's ohms range that suits `near` ohms.

    A needle meter shows mid-scale at its internal resistance; a digital one holds its test
    voltage below about 0.3 V across the reading (both common practice, no source).
    """
    if meter.needle or meter.open_volts is not None:
        middle = meter.middle_ohms or 20.0
        scale = 1.0
        while middle * scale * 30 < near and scale < 1e4:
            scale *= 10.0
        return middle * scale, meter.open_volts or 1.5
    full = 200.0
    while full < near and full < 2e7:
        full *= 10.0
    return full * 1.5, meter.test_volts or 0.5


@dataclass(frozen=True, slots=True)
class Observed:
    """values (B, K) as the meters show; slopes (B, K, P) per axis amount; solved (B,).

    Ohms are given as natural logarithms of ohms, since their spread is by factors.
    volts: (B, n + spares) node volts with the power on and nothing connected, a start for
        solves nearby; NaN where not solved or not asked for.
    doubt: (B, K) standard deviation of what a rough look leaves out, 0 otherwise.
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
        self.sigmas: Floats = np.array([axis.sigma for axis in self.axes])

    @cached_property
    def circuit(self) -> Circuit:
        return flatten(self.stage)

    @cached_property
    def unpowered(self) -> Circuit:
        return flatten(self.stage, powered=False)

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
        for k, probe in enumerate(probes):
            if probe.powered:
                live.setdefault(probe.extra, []).append(k)
        for extra, columns in live.items():
            some = variations if extra is SOUND else [v.plus(extra) for v in variations]
            self._volts(some, amounts, probes, columns, look, start, rough)
        for k, probe in enumerate(probes):
            if not probe.powered:
                self._driven(variations, amounts, probe, k, look)
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
        some = [variations[i] for i in good]
        points = self._points(circuit, some, some_probes, look.at_lead[good])
        linear = linearise(circuit, some, self.axes, amounts[good], found.volts[good], points)
        open_volts = _between(found.volts[good], points)
        ohms = np.array([probe.ohms for probe in some_probes])
        share = linear.source_ohms / (linear.source_ohms + ohms)
        look.values[np.ix_(good, columns)] = open_volts * (1.0 - share)
        look.slopes[np.ix_(good, columns)] = linear.slopes * (1.0 - share)[:, :, None]
        moved = np.abs(open_volts * share)
        heavy = (share > LINEAR_LOADING) & (moved > LINEAR_VOLTS)
        if rough:
            look.doubt[np.ix_(good, columns)] = np.where(heavy, ROUGHLY * moved, 0.0)
            return
        rows, which = np.nonzero(heavy)
        if rows.size:
            self._loaded(
                circuit, [some[i] for i in rows], amounts[good[rows]],
                [some_probes[k] for k in which], np.asarray(columns)[which], points[rows, which],
                good[rows], look, found.volts[good[rows]],
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
        found = self.solver.solve(circuit, loaded, self.axes, amounts, start=start)
        look.solved[rows[~found.solved]] = False
        good = np.flatnonzero(found.solved)
        if not good.size:
            return
        pairs = points[good][:, None, :]
        linear = linearise(circuit, [loaded[i] for i in good], self.axes, amounts[good],
                           found.volts[good], pairs)
        look.values[rows[good], columns[good]] = _between(found.volts[good], pairs)[:, 0]
        look.slopes[rows[good], columns[good]] = linear.slopes[:, 0]

    def _driven(
        self, variations: Sequence[Variation], amounts: Floats, probe: Probe, column: int,
        look: _Look,
    ) -> None:
        """Power off: the meter drives the points, ohms or junction drop are read."""
        circuit = self.unpowered
        some = [v.plus(probe.extra) for v in variations]
        points = self._points(circuit, some, [probe], look.at_lead)[:, 0]
        rows = np.arange(len(variations))
        self._loaded(circuit, some, amounts, [probe] * len(rows),
                     np.full(len(rows), column), points, rows, look)
        if probe.quantity is Quantity.DROP:
            return
        across = np.clip(look.values[:, column], 1e-9, probe.volts * (1 - 1e-9))
        ohms = np.minimum(probe.ohms * across / (probe.volts - across), OHMS_AT_MOST)
        # d ln R / dV of the ohmmeter's own scale
        gain = probe.volts / (across * (probe.volts - across))
        look.slopes[:, column] *= gain[:, None]
        look.values[:, column] = np.log(np.maximum(ohms, 1e-3))


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
