"""What an ohmmeter shows on a stage that is switched off, both ways round, and over time."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from typing import Protocol

import numpy as np

from biaspredict.engine.flatten import flatten
from biaspredict.engine.linear import linearise
from biaspredict.engine.plan import Ints
from biaspredict.engine.solver import Floats, Solutions, Solver
from biaspredict.errors import Unsolved
from biaspredict.model.circuit import CLOSED, SOUND, Axis, Circuit, Device, Load, Variation
from biaspredict.model.devices import Bipolar, Polarity
from biaspredict.model.parts import Kind
from biaspredict.model.stage import GROUND, Meter, Stage
from biaspredict.predict.bias import specimens
from biaspredict.predict.meters import (
    DIODE_OHMS,
    DIODE_VOLTS,
    OPEN_OHMS,
    ohmmeter,
    ohms_shown,
    ohms_sigma,
    unlogged,
)
from biaspredict.predict.ohms_records import BOTH_WAYS, Climb, Drop, Ohms, OhmsAt, Place, Way
from biaspredict.predict.spread import axes, cold, rails_off, with_power_off

CLIMBS = 0.05  # share of the settled reading by which a reading still moves
SECONDS = 10.0  # for which a person holds the probes down (common practice, no source)
LONGEST = 1800.0  # seconds beyond which nobody holds them
POINTS = 400  # of a run over time
DIODE_OVER = 2.0  # volts from which a diode range shows nothing (common practice, no source)
CENTRAL = 1.96  # standard deviations of the central 95 %
CURVED = 3.0  # ratio of a band's ends from which slopes are not believed
DRAWS = 200
MOST_RAILS = 3  # rails up to which every combination of their limits is tried
RANGES = 4  # changes of range until the reading suits it


class Referee(Solver, Protocol):
    """What is asked of ngspice here; see `engine.ngspice.Ngspice`."""

    def transient(
        self, circuit: Circuit, variation: Variation, stop: float, step: float
    ) -> tuple[Floats, Floats]: ...


def every_node(stage: Stage) -> tuple[Place, ...]:
    """Each node to ground."""
    return tuple(
        Place(node, node) for node in stage.nodes
        if node != GROUND and not node.endswith("(slope)")
    )


def predict_ohms(
    stage: Stage, referee: Referee, drawer: Solver, meter: Meter,
    places: Sequence[Place] | None = None, seconds: float = SECONDS,
) -> Ohms:
    """Readings through `meter` at every node to ground, or at `places`.

    Settled readings are the referee's; their bands are those of the linear stage. Raises
    Unsolved.
    """
    bench = _Bench(stage, referee, drawer, meter)
    asked = every_node(stage) if places is None else tuple(places)
    ways = [
        lead for place in asked
        for lead in ((place.node, place.minus or GROUND), (place.minus or GROUND, place.node))
    ]
    found = bench.ways(ways, seconds)
    return Ohms(
        stage, meter,
        tuple(
            OhmsAt(place, found[2 * i], found[2 * i + 1]) for i, place in enumerate(asked)
        ),
        tuple(bench.drops()) if places is None else (),
        tuple(rail.name for rail in stage.rails if rail.off_ohms is None), seconds,
    )


_Leads = tuple[str, str]  # red, black


class _Bench:
    """The stage switched off, its spread, and the meter."""

    def __init__(
        self, stage: Stage, referee: Referee, drawer: Solver, meter: Meter
    ) -> None:
        self.stage, self.referee, self.drawer, self.meter = stage, referee, drawer, meter
        around: Sequence[Axis] = (*axes(stage), *rails_off(stage))
        self.circuit = flatten(cold(stage, around), powered=False)
        self.axes = with_power_off(around)
        unknown = {f"{rail.name}.off" for rail in stage.rails if rail.off_ohms is None}
        off = [k for k, axis in enumerate(around) if axis.name in unknown]
        # toleranced axes by their slopes, what nobody knows of a rail by its limits
        self.sigmas: Floats = np.array([0.0 if k in off else a.sigma for k, a in enumerate(around)])
        self.trials = _trials(around, off)
        self.column: Mapping[str, int] = {
            node: i for i, node in enumerate(self.circuit.nodes)
        } | {GROUND: -1}
        self.capacitors = tuple(
            e.name for e in self.circuit.elements if e.device is Device.CAPACITOR
        )

    def _across(self, found: Solutions, leads: Sequence[_Leads]) -> Floats:
        volts = np.pad(found.volts[:, : len(self.circuit.nodes)], ((0, 0), (0, 1)))
        red, black = (np.array([self.column[pair[i]] for pair in leads]) for i in (0, 1))
        rows = np.arange(len(leads))
        result: Floats = volts[rows, red] - volts[rows, black]
        return result

    def _solved(
        self, solver: Solver, leads: Sequence[_Leads], ranges: Sequence[tuple[float, float]],
        more: Sequence[Variation] | None = None,
    ) -> Floats:
        """Volts across the leads, one meter each."""
        connected = [
            (SOUND if more is None else more[i]).plus(Variation(loads=(Load(*pair, *own),)))
            for i, (pair, own) in enumerate(zip(leads, ranges, strict=True))
        ]
        found = solver.solve(self.circuit, connected)
        if not found.solved.all():
            at = leads[int(np.flatnonzero(~found.solved)[0])]
            raise Unsolved(
                f"the ohms from {at[0]} to {at[1]} could not be solved",
                remedy="Run `biaspredict proof` on the stage: a slipped value is likely.",
            )
        return self._across(found, leads)

    def ways(self, leads: Sequence[_Leads], seconds: float) -> list[Way]:
        """Readings between leads; every second pair is the one before it the other way round."""
        ranges = self._ranges(leads)
        across = self._solved(self.referee, leads, ranges)
        inner, test = (np.array([own[i] for own in ranges]) for i in (0, 1))
        settled = ohms_shown(across, inner, test)
        below, above = self._bands(leads, ranges)
        starts = ohms_shown(
            self._solved(self.drawer, leads, ranges, [self._wired(self.capacitors)] * len(leads)),
            inner, test,
        )
        found: list[Way] = []
        for i, pair in enumerate(leads):
            climb = None
            again = i % 2 == 1 and ranges[i] == ranges[i - 1] and all(
                abs(math.log(ohms[i] / ohms[i - 1])) < BOTH_WAYS for ohms in (settled, starts)
            )
            if again:
                climb = found[i - 1].climb
            elif self.capacitors and starts[i] < settled[i] * (1.0 - CLIMBS):
                climb = self._climb(pair, ranges[i], float(starts[i]), float(settled[i]), seconds)
            low, high = self._ohms_band(
                float(settled[i]), float(below[i]), float(above[i]), ranges[i]
            )
            found.append(Way(
                float(settled[i]), low, high, float(across[i]), self._scale(ranges[i][0]), climb
            ))
        return found

    def _scale(self, inner: float) -> float:
        """The range by the figure a person knows it by: mid-scale, or full scale."""
        needle = self.meter.ohms_by_needle
        return inner if needle else inner / 1.5

    def _ranges(self, leads: Sequence[_Leads]) -> list[tuple[float, float]]:
        """Internal ohms and test volts of the range that each reading is taken on."""
        near = np.full(len(leads), 1e4)
        ranges = [ohmmeter(self.meter, 1e4)] * len(leads)
        for _ in range(RANGES):
            across = self._solved(self.drawer, leads, ranges)
            inner, test = (np.array([own[i] for own in ranges]) for i in (0, 1))
            near = ohms_shown(across, inner, test)
            fresh = [ohmmeter(self.meter, float(ohms)) for ohms in near]
            if fresh == ranges:
                break
            ranges = fresh
        return ranges

    def _bands(
        self, leads: Sequence[_Leads], ranges: Sequence[tuple[float, float]]
    ) -> tuple[Floats, Floats]:
        """Volts across the leads (L,) below and above which 2.5 % of sound specimens lie.

        Tolerances by the slopes at each point; what hangs on a rail is anywhere within its
        limits, so the limits themselves are tried, in every combination.
        """
        trials = len(self.trials)
        every = [(pair, own) for pair, own in zip(leads, ranges, strict=True)] * trials
        some = [Variation(loads=(Load(*pair, *own),)) for pair, own in every]
        amounts = np.repeat(self.trials, len(leads), axis=0)
        found = self.drawer.solve(self.circuit, some, self.axes, amounts)
        across = self._across(found, [pair for pair, _ in every])
        points = np.array([[[self.column[red], self.column[black]]] for (red, black), _ in every])
        linear = linearise(
            self.circuit, some, self.axes, amounts, found.volts[:, : len(self.circuit.nodes)],
            points,
        )
        spread = np.sqrt(((linear.slopes[:, 0] * self.sigmas) ** 2).sum(1))
        if not np.isfinite(across).reshape(trials, -1).any(axis=0).all():
            raise Unsolved(
                "the ohms of this stage could not be solved on all that may hang on its rails",
                remedy="Write what each rail measures to ground switched off: rail B+ ... off 3.3K",
            )
        low = np.nanmin((across - CENTRAL * spread).reshape(trials, -1), axis=0)
        high = np.nanmax((across + CENTRAL * spread).reshape(trials, -1), axis=0)
        inner, test = (np.array([own[i] for own in ranges]) for i in (0, 1))
        wide = ohms_shown(high, inner, test) > CURVED * ohms_shown(low, inner, test)
        for k in np.flatnonzero(wide).tolist():
            low[k], high[k] = self._drawn(leads[k], ranges[k])
        return low, high

    def _drawn(self, leads: _Leads, own: tuple[float, float]) -> tuple[float, float]:
        """The same by drawn specimens, where a slope says nothing of what is far from it."""
        drawn = specimens(self.axes, DRAWS)
        drawn[:, self.sigmas == 0.0] = 0.0
        amounts = (self.trials[:, None, :] + drawn[None, :, :]).reshape(-1, drawn.shape[1])
        some = [Variation(loads=(Load(*leads, *own),))] * len(amounts)
        found = self.drawer.solve(self.circuit, some, self.axes, amounts)
        across = self._across(found, [leads] * len(amounts)).reshape(len(self.trials), -1)
        low, high = np.nanquantile(across, (0.025, 0.975), axis=1)
        return float(low.min()), float(high.max())

    def _ohms_band(
        self, settled: float, low: float, high: float, own: tuple[float, float]
    ) -> tuple[float, float]:
        """The band of volts as ohms, with the meter's own error."""
        middle, error = math.log(settled), CENTRAL * ohms_sigma(settled, self.meter)
        ends = np.log(ohms_shown(np.array([low, high]), *own))
        below, above = max(middle - float(ends[0]), 0.0), max(float(ends[1]) - middle, 0.0)
        return (
            unlogged(middle - math.hypot(below, error)),
            unlogged(middle + math.hypot(above, error)),
        )

    def _wired(self, some: Sequence[str]) -> Variation:
        """These capacitors discharged: a wire at the first instant."""
        return Variation(settings=tuple((f"{name}.leak", CLOSED) for name in some))

    def _climb(
        self, leads: _Leads, own: tuple[float, float], starts: float, settled: float,
        seconds: float,
    ) -> Climb:
        meter = Variation(loads=(Load(*leads, *own),))
        after, near, run = math.nan, None, seconds
        while True:
            times, volts = self.referee.transient(self.circuit, meter, run, run / POINTS)
            padded = np.pad(volts, ((0, 0), (0, 1)))
            across = padded[:, self.column[leads[0]]] - padded[:, self.column[leads[1]]]
            shown = ohms_shown(across, *own)
            if math.isnan(after):
                after = float(shown[-1])
            far = np.flatnonzero(shown < settled * (1.0 - CLIMBS))
            if not far.size or far[-1] + 1 < len(times):
                near = _crossing(times, shown, far, settled * (1.0 - CLIMBS))
                break
            if run * 10.0 > LONGEST:
                break
            run *= 10.0
        alone = self._solved(
            self.drawer, [leads] * len(self.capacitors), [own] * len(self.capacitors),
            [self._wired([name]) for name in self.capacitors],
        )
        held = ohms_shown(alone, *own) < settled * (1.0 - CLIMBS)
        names = tuple(n for n, one in zip(self.capacitors, held, strict=True) if one)
        return Climb(starts, after, near, names)

    def drops(self) -> Iterator[Drop]:
        """Every junction on the diode range, in place."""
        junctions = list(_junctions(self.stage))
        leads = [
            pair for _, _, anode, cathode in junctions
            for pair in ((anode, cathode), (cathode, anode))
        ]
        if not leads:
            return
        own = (DIODE_OHMS, DIODE_VOLTS)
        shown = self._solved(self.referee, leads, [own] * len(leads))
        low, high = self._bands(leads[::2], [own] * len(junctions))
        for i, (part, legs, _, _) in enumerate(junctions):
            forward, backward = float(shown[2 * i]), float(shown[2 * i + 1])
            yield Drop(
                part, legs, _told(forward), float(min(low[i], forward)),
                float(max(high[i], forward)), _told(backward),
            )


def _crossing(times: Floats, shown: Floats, far: Ints, aim: float) -> float:
    """Seconds at which the reading passes `aim` for good; far: where it is below."""
    if not far.size:
        return 0.0
    last = int(far[-1])
    share = (aim - shown[last]) / (shown[last + 1] - shown[last])
    return float(times[last] + share * (times[last + 1] - times[last]))


def _trials(around: Sequence[Axis], off: Sequence[int]) -> Floats:
    """Amounts (T, P) at which what hangs on the rails is tried: all at the middle, then every
    combination of their limits, or one rail after the other where they are many."""
    ends = [[math.log(x) for x in around[k].limits or (1.0, 1.0)] for k in off]
    combined = list(product(*ends)) if len(off) <= MOST_RAILS else [
        tuple(end if k == i else 0.0 for k in range(len(off)))
        for i, pair in enumerate(ends) for end in pair
    ]
    trials = np.zeros((1 + len(combined), len(around)))
    for row, amounts in enumerate(combined, start=1):
        trials[row, list(off)] = amounts
    return trials


def _told(volts: float) -> float | None:
    return volts if volts < DIODE_OVER else None


def _junctions(stage: Stage) -> Iterator[tuple[str, str, str, str]]:
    """(part, legs in words, node of the anode side, of the cathode side)."""
    for part in stage.parts:
        device = part.device
        if isinstance(device, Bipolar):
            for leg in ("emitter", "collector"):
                ends = (part.node("base"), part.node(leg))
                if device.polarity is Polarity.PNP:
                    ends = (ends[1], ends[0])
                if ends[0] != ends[1]:
                    yield part.ref, f"base to {leg}", ends[0], ends[1]
        elif part.kind in (Kind.DIODE, Kind.ZENER) and part.nodes[0] != part.nodes[1]:
            yield part.ref, "anode to cathode", part.nodes[0], part.nodes[1]


def opened(ohms: float) -> bool:
    """Whether a meter shows no connection."""
    return ohms >= 0.5 * OPEN_OHMS
