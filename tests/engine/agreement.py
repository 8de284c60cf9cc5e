"""Both engines on random faulted stages.

    python -m tests.engine.agreement --stages 10000 --seed 1

Three families in turn: circuits drawn with every node held by a resistor; wild ones, where
nodes may hang on nothing and values are absurd; and the stages of the project. Each gets faults
drawn by chance, singles and pairs. Every node of every stage must agree within 1 mV or 0.1 %,
or its cause be shown:

- only GMIN holds it: one GMIN more at some node would move it by more than the two differ (two
  joints in one lead are one node to ngspice and two to the batch, and beside a joint of a
  milliohm ngspice's arithmetic ends at picoamperes);
- two states: each engine, begun at the other's point, stays there (or ngspice, begun there,
  finds nothing, and the currents of an independent textbook's equations add up);
- ngspice stops early: three times GMIN would move the node as far; by an independent textbook's
  equations the batch's currents add up, and begun at its point ngspice stays or finds nothing;
- unsolved by one of them, and said to be so.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

from biaspredict.engine.batch import Batch
from biaspredict.engine.ngspice import Ngspice
from biaspredict.engine.signals import conductance
from biaspredict.engine.solver import Floats
from biaspredict.engine.standing import other_states
from biaspredict.engine.values import IDLE_ZENER, applied
from biaspredict.model.circuit import GMIN, Circuit, Device, Variation
from tests.engine import chance, hand
from tests.engine.test_batch import unbalanced

MILLIVOLT, SHARE = 1e-3, 1e-3
FAINT = 10e-12
FEW = 3.0  # times what GMIN takes, within which ngspice may stop early
FAULTS = 20  # to a circuit
# A tenth of what is allowed by design: what a solve leaves over must not count as a rail passed.
BEYOND = 0.1

AGREE, FLOATS, STATES = "agree", "only GMIN holds a node", "two states"
EARLY = "ngspice stops early"
BY_BATCH, BY_NGSPICE, BY_BOTH = "unsolved by the batch", "unsolved by ngspice", "unsolved by both"
UNSOLVED = {(False, False): BY_BOTH, (False, True): BY_BATCH, (True, False): BY_NGSPICE}
OPEN_CASE = "NOT EXPLAINED"
CAUSES = (AGREE, FLOATS, STATES, EARLY, BY_BATCH, BY_NGSPICE, BY_BOTH, OPEN_CASE)


def wild(rng: random.Random) -> Circuit:
    """Parts on any nodes, held or not, of values from the absurdly small to the absurdly large."""
    nodes = ["ground", "B+", *(f"n{i}" for i in range(rng.randint(2, 8)))]
    elements = [hand.source("B+", 10.0 ** rng.uniform(-1.0, 2.6) * rng.choice((1.0, -1.0)),
                            10.0 ** rng.uniform(-3.0, 6.0))]
    for number in range(rng.randint(2, 12)):
        if rng.random() < 0.5:
            a, b = rng.sample(nodes, 2)
            elements.append(hand.resistor(f"R{number}", a, b, 10.0 ** rng.uniform(-3.0, 9.0)))
        else:
            elements.append(chance.device(rng, f"X{number}", rng.sample(nodes, 3)))
    return hand.circuit(*elements, celsius=rng.choice((25.0, -20.0, 85.0)))


@cache
def shipped() -> tuple[Circuit, ...]:
    """The circuits of the project's stages."""
    from biaspredict import pipeline
    from biaspredict.engine.flatten import flatten

    root = Path(__file__).parents[2]
    paths = sorted([*root.glob("circuits/*.stage"), *root.glob("circuits/published/*.stage")])
    return tuple(flatten(pipeline.fed(pipeline.load_stage(path)).stage) for path in paths)


def real(rng: random.Random) -> Circuit:
    return rng.choice(shipped())


FAMILIES: dict[str, Callable[[random.Random], Circuit]] = {
    "drawn": chance.circuit, "wild": wild, "stages": real,
}


@dataclass
class Tally:
    """counts: by (family, cause); apart: volts by which the nodes of an agreeing row differ at
    most; odd: rows not explained, or unsolved by the batch; beyond: rows with a node outside the
    rails; seen, missed: two-state rows whose other state the search found, and did not."""

    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    apart: list[float] = field(default_factory=list)
    beyond: list[str] = field(default_factory=list)
    odd: list[str] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    seen: int = 0

    @property
    def stages(self) -> int:
        return self.counts.total()

    def of(self, cause: str) -> int:
        return sum(n for (_, its), n in self.counts.items() if its == cause)


def same(one: Floats, other: Floats) -> bool:
    """Within the tolerance everywhere; NaN is not."""
    return bool((np.abs(one - other) <= np.maximum(MILLIVOLT, SHARE * np.abs(other))).all())


class Comparison:
    """Both engines on one circuit and its faults."""

    def __init__(self, family: str, circuit: Circuit, tally: Tally) -> None:
        self.family, self.circuit, self.tally = family, circuit, tally
        self.batch, self.referee = Batch(), Ngspice()

    def run(self, variations: list[Variation]) -> None:
        mine = self.batch.solve(self.circuit, variations)
        theirs = self.referee.solve(self.circuit, variations)
        n = len(self.circuit.nodes)
        for i, variation in enumerate(variations):
            done = bool(mine.solved[i]), bool(theirs.solved[i])
            for solved, found in zip(done, (mine, theirs), strict=True):
                if solved:
                    self._within_the_rails(variation, found.volts[i, :n])
            cause = UNSOLVED.get(done) or self._cause(variation, mine.volts[i], theirs.volts[i])
            self.tally.counts[self.family, cause] += 1
            if cause in (OPEN_CASE, BY_BATCH, BY_BOTH):
                self._keep(self.tally.odd, variation)

    def _cause(self, variation: Variation, mine: Floats, theirs: Floats) -> str:
        n = len(self.circuit.nodes)
        apart = np.abs(mine[:n] - theirs[:n])
        if same(mine[:n], theirs[:n]):
            self.tally.apart.append(float(apart.max(initial=0.0)))
            return AGREE
        off = apart > np.maximum(MILLIVOLT, SHARE * np.abs(theirs[:n]))
        floats = self._floats(variation, mine)[:n]
        if (apart < floats)[off].all():
            return FLOATS
        wide = n + len(variation.lifts)
        mine, theirs = mine[:wide], theirs[:wide]
        here = self.batch.solve(self.circuit, [variation], start=theirs[None]).volts[0, :n]
        there = self.referee.solve(self.circuit, [variation], start=mine[None]).volts[0, :n]
        stays = same(there, mine[:n])
        adds_up = unbalanced(self.circuit, variation, mine) < 1.0
        held = stays or (adds_up and bool(np.isnan(there).all()))
        if same(here, theirs[:n]) and held:
            others = other_states(self.batch, self.circuit, [variation], mine[None])[0]
            if any(same(one[:n], theirs[:n]) for one in others):
                self.tally.seen += 1
            else:
                self._keep(self.tally.missed, variation)
            return STATES
        if held and adds_up and (apart < FEW * floats)[off].all():
            return EARLY
        return OPEN_CASE

    def _keep(self, cases: list[str], variation: Variation) -> None:
        cases.append(f"{self.family} {self.circuit!r} {variation!r}")

    def _floats(self, variation: Variation, volts: Floats) -> Floats:
        """Volts by which what GMIN takes at the highest volts would move each, wherever it is."""
        wide = len(self.circuit.nodes) + len(variation.lifts)
        matrix = conductance(self.circuit, variation, volts[:wide])
        amps = max(GMIN * float(np.nanmax(np.abs(volts))), FAINT)
        return np.asarray(amps * np.abs(np.linalg.inv(matrix)).max(axis=1))

    def _within_the_rails(self, variation: Variation, volts: Floats) -> None:
        """Sources, loads to ground, and what a load or an idle zener may add."""
        concrete = applied(self.circuit, variation)
        ends, more = [0.0], BEYOND
        for element in concrete.elements:
            if element.device is Device.SOURCE:
                ends.append(element.value("volts"))
            elif element.device is Device.JUNCTION and np.isfinite(element.value("zener_volts")):
                more += IDLE_ZENER * element.value("zener_volts")
        for load in variation.loads:
            to_ground = "ground" in (load.a, load.b)
            ends.append((1.0 if load.b == "ground" else -1.0) * load.volts if to_ground else 0.0)
            more += 0.0 if to_ground else abs(load.volts)
        if volts.min(initial=0.0) < min(ends) - more or volts.max(initial=0.0) > max(ends) + more:
            self._keep(self.tally.beyond, variation)


def compare(stages: int, seed: int, families: tuple[str, ...] = tuple(FAMILIES)) -> Tally:
    """Both engines on so many stages."""
    tally = Tally()
    for family, circuit, variations in drawn(stages, seed, families):
        Comparison(family, circuit, tally).run(variations)
    return tally


def drawn(
    stages: int, seed: int, families: tuple[str, ...]
) -> Iterator[tuple[str, Circuit, list[Variation]]]:
    rng, left, turn = random.Random(seed), stages, 0
    while left > 0:
        family = families[turn % len(families)]
        circuit = FAMILIES[family](rng)
        variations = chance.faults(circuit, rng, min(FAULTS, left))
        yield family, circuit, variations
        left, turn = left - len(variations), turn + 1


def table(tally: Tally) -> str:
    names = [name for name in FAMILIES if any(f == name for f, _ in tally.counts)]
    lines = [f"{tally.stages} faulted stages", ""]
    lines.append(" " * 26 + "".join(f"{name:>9}" for name in (*names, "all")))
    for cause in CAUSES:
        counts = [tally.counts[name, cause] for name in names]
        lines.append(f"{cause:26}" + "".join(f"{n:9}" for n in (*counts, sum(counts))))
    apart = np.array(tally.apart)
    lines += [
        "",
        f"agreeing stages differ by {np.median(apart) * 1e6:.2g} uV at the median node farthest "
        f"apart, {apart.max() * 1e3:.2g} mV at most",
        f"two states: the search finds the other one in {tally.seen} of {tally.of(STATES)}",
        f"nodes beyond the rails: {len(tally.beyond)}",
    ]
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--stages", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--family", choices=FAMILIES, action="append")
    args = parser.parse_args()
    begun = time.monotonic()
    tally = compare(args.stages, args.seed, tuple(args.family or FAMILIES))
    print(table(tally))
    for case in (*tally.odd, *tally.beyond, *tally.missed):
        print("\n" + case)
    print(f"\nseed {args.seed}, {time.monotonic() - begun:.0f} s")
    return 1 if tally.odd or tally.beyond else 0


if __name__ == "__main__":
    raise SystemExit(main())
