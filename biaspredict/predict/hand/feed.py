"""What feeds a node through resistances alone: so many volts behind so many ohms (Thevenin)."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from biaspredict.predict.hand.net import Arm, Net
from biaspredict.predict.hand.records import Key, Values, What, volts


@dataclass(frozen=True, slots=True)
class Feed:
    """volts behind ohms, at a node.

    weights: volts = sum of weight times value over these quantities: node volts weigh as plain
    numbers, currents as ohms. star: the resistances at the node, each reduced to one between it
    and a known node; None where they cannot be. through: a resistance between the node and the
    point where the star meets. inside: nodes on the way whose volts are unknown.
    """

    node: str
    volts: float
    ohms: float
    weights: tuple[tuple[Key, float], ...]
    values: Mapping[Key, float]
    star: tuple[Arm, ...] | None
    inside: tuple[str, ...]
    through: Arm | None = None

    @property
    def inputs(self) -> tuple[tuple[Key, float], ...]:
        return tuple((key, self.values[key]) for key, _ in self.weights)

    def work(self, values: Values) -> float:
        return sum(weight * values[key] for key, weight in self.weights)

    @property
    def ends(self) -> tuple[str, ...]:
        """Known nodes from which it comes."""
        return tuple(key.name for key, _ in self.weights if key.what is What.VOLTS)

    @property
    def single(self) -> bool:
        """Whether it comes from one known node, with no current drawn on the way."""
        return len(self.ends) == 1 and not any(self.values[key] for key in self.currents)

    @property
    def hub(self) -> str:
        return self.node if self.through is None else self.through.other(self.node)

    @property
    def currents(self) -> tuple[Key, ...]:
        """Currents that devices draw on the way."""
        return tuple(key for key, _ in self.weights if key.what is not What.VOLTS)


def reach(net: Net, node: str, known: Collection[str]) -> tuple[str, ...]:
    """The unknown nodes that resistances join to `node`, itself first."""
    found = [node]
    for here in found:  # grows while it is walked
        found += [
            other
            for arm in net.arms_at.get(here, ())
            if (other := arm.other(here)) not in known and other not in found
        ]
    return tuple(found)


def feed(
    net: Net,
    node: str,
    known: Mapping[str, float],
    amps: Mapping[Key, float],
    left_out: Collection[Key] = (),
) -> Feed | None:
    """The feed of an unknown node, or None where a current on the way is not known.

    known: volts by node. amps: currents of devices. left_out: currents taken as nothing.
    """
    inside = reach(net, node, known)
    place = {name: i for i, name in enumerate(inside)}
    drawn: list[tuple[int, Key, float, float]] = []
    for name in inside:
        for key, way in net.leads_at.get(name, ()):
            if key in amps:
                drawn.append((place[name], key, way, amps[key]))
            elif key in left_out:
                drawn.append((place[name], key, way, 0.0))
            else:
                return None
    arms = tuple(dict.fromkeys(a for name in inside for a in net.arms_at.get(name, ())))
    if not any(arm.a in known or arm.b in known for arm in arms):
        return None
    matrix, edges = conductances(arms, place)
    column = np.linalg.solve(matrix, np.eye(len(inside))[:, 0])
    weights: dict[Key, float] = {}
    values: dict[Key, float] = {}
    for i, end, siemens in edges:
        key = volts(end)
        weights[key] = weights.get(key, 0.0) + float(column[i]) * siemens
        values[key] = known[end]
    for i, key, way, value in drawn:
        weights[key] = weights.get(key, 0.0) + float(column[i]) * way
        values[key] = value
    star, through = star_of(node, arms, known, {inside[i] for i, *_ in drawn})
    told = tuple((key, weight) for key, weight in weights.items() if weight)
    total = sum(weight * values[key] for key, weight in told)
    return Feed(node, total, float(column[0]), told, values, star, inside, through)


Matrix = NDArray[np.float64]


def conductances(
    arms: Collection[Arm], place: Mapping[str, int]
) -> tuple[Matrix, list[tuple[int, str, float]]]:
    """(n, n) siemens between the nodes in `place`, and (row, node, siemens) to those outside."""
    matrix = np.zeros((len(place), len(place)))
    edges = []
    for arm in arms:
        siemens = 1.0 / arm.ohms
        for here, there in ((arm.a, arm.b), (arm.b, arm.a)):
            if here not in place:
                continue
            matrix[place[here], place[here]] += siemens
            if there in place:
                matrix[place[here], place[there]] -= siemens
            else:
                edges.append((place[here], there, siemens))
    return matrix, edges


def star_of(
    node: str, arms: Collection[Arm], known: Mapping[str, float], tapped: Collection[str]
) -> tuple[tuple[Arm, ...] | None, Arm | None]:
    """Resistances in series made one, and those side by side, until all meet at one point.

    That is `node`, or the far end of one resistance at it, which is given too.

    tapped: nodes at which a device draws a current; these cannot be left out.
    """
    left = list(arms)
    while True:
        pair = next(_beside(left), None)
        if pair is not None:
            first, second = pair
            turned = second if second.a == first.a else Arm(second.words, second.b, second.a,
                                                            second.ohms)
            ohms = first.ohms * turned.ohms / (first.ohms + turned.ohms)
            left = [a for a in left if a not in pair]
            words = f"{_within(first, ' + ')} beside {_within(turned, ' + ')}"
            left.append(Arm(words, first.a, first.b, ohms))
            continue
        dead = next(_dead_ends(left, node, known, tapped), None)
        if dead is not None:
            left.remove(dead)
            continue
        link = next(_in_series(left, node, known, tapped), None)
        if link is None:
            break
        first, second, middle = link
        left = [a for a in left if a not in (first, second)]
        words = f"{_within(first, ' beside ')} + {_within(second, ' beside ')}"
        left.append(
            Arm(words, first.other(middle), second.other(middle), first.ohms + second.ohms)
        )
    if all(node in (a.a, a.b) for a in left):
        return tuple(left), None
    here = [a for a in left if node in (a.a, a.b)]
    if len(here) == 1 and not tapped:
        hub = here[0].other(node)
        rest = [a for a in left if a is not here[0]]
        if all(hub in (a.a, a.b) and a.other(hub) in known for a in rest):
            return tuple(rest), here[0]
    return None, None


def _within(arm: Arm, other: str) -> str:
    """Its words, in brackets where they are joined the other way."""
    return f"({arm.words})" if other in arm.words and not arm.words.endswith(")") else arm.words


def _beside(arms: list[Arm]) -> Iterator[tuple[Arm, Arm]]:
    for i, first in enumerate(arms):
        for second in arms[i + 1 :]:
            if {first.a, first.b} == {second.a, second.b}:
                yield first, second


def _dead_ends(
    arms: list[Arm], node: str, known: Mapping[str, float], tapped: Collection[str]
) -> Iterator[Arm]:
    """Resistances that lead nowhere and carry nothing."""
    for arm in arms:
        for end in (arm.a, arm.b):
            lone = sum(end in (other.a, other.b) for other in arms) == 1
            if lone and end != node and end not in known and end not in tapped:
                yield arm


def _in_series(
    arms: list[Arm], node: str, known: Mapping[str, float], tapped: Collection[str]
) -> Iterator[tuple[Arm, Arm, str]]:
    for middle in dict.fromkeys(end for arm in arms for end in (arm.a, arm.b)):
        if middle == node or middle in known or middle in tapped:
            continue
        here = [arm for arm in arms if middle in (arm.a, arm.b)]
        if len(here) == 2:
            yield here[0], here[1], middle
