"""A large stage broken into rows, at its coupling capacitors where it can be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from biaspredict.graph.capacitors import Role, capacitor_role
from biaspredict.model.parts import CAPACITORS, Part
from biaspredict.model.stage import GROUND, Stage
from biaspredict.report.drawing.captions import node_names, pin_notes, port_notes
from biaspredict.report.drawing.facts import Facts
from biaspredict.report.drawing.sketch import LooseStub

MOST = 45  # parts in a row


@dataclass(frozen=True, slots=True)
class RowPlan:
    """The parts of a row and where its lines leave it."""

    parts: tuple[Part, ...]
    stubs: tuple[LooseStub, ...]


def plan_rows(facts: Facts) -> list[RowPlan]:
    """Rows from the input to the output; one where the stage is small enough."""
    stage = facts.stage
    groups = [list(stage.parts)]
    if len(stage.parts) > MOST:
        groups = _packed(_halved(facts, _clusters(facts)))
    return [
        RowPlan(tuple(parts), tuple(stubs))
        for parts, stubs in zip(groups, _stubs(facts, groups), strict=True)
    ]


def _clusters(facts: Facts) -> list[list[Part]]:
    """Parts that anything but a coupling capacitor or a supply joins, in the signal's order."""
    stage = facts.stage
    supply = set(facts.still)
    for part in stage.parts:
        if part.kind in CAPACITORS and capacitor_role(stage, part) is Role.DECOUPLING:
            supply |= set(part.nodes)
    root: dict[str, str] = {}

    def find(node: str) -> str:
        root.setdefault(node, node)
        while root[node] != node:
            node = root[node]
        return node

    bridges = []
    for part in stage.parts:
        own = [node for node in part.nodes if node not in supply]
        if part.kind in CAPACITORS and part.ref in facts.flat:
            bridges.append(part)
            continue
        for node in own[1:]:
            root[find(node)] = find(own[0])
    found: dict[str, list[Part]] = {}
    for part in stage.parts:
        own = [node for node in part.nodes if node not in supply]
        if part in bridges:
            # A coupling capacitor stands before the stage that it feeds.
            own.sort(key=lambda node: facts.places.get(node, 0.0), reverse=True)
        found.setdefault(find(own[0]) if own else "", []).append(part)
    return sorted(found.values(), key=lambda parts: _place(facts, parts))


def _place(facts: Facts, parts: Sequence[Part]) -> float:
    return sum(facts.flow[part.ref] for part in parts) / len(parts)


def _halved(facts: Facts, clusters: list[list[Part]]) -> list[list[Part]]:
    """Clusters too large for a row, cut where the fewest nodes are shared."""
    done: list[list[Part]] = []
    for cluster in clusters:
        if len(cluster) <= MOST:
            done.append(cluster)
            continue
        order = sorted(cluster, key=lambda part: facts.flow[part.ref])
        size = len(order)
        cuts = range(max(1, int(size * 0.3)), min(size, int(size * 0.7) + 1))
        cut = min(cuts, key=lambda k: (_shared(facts, order[:k], order[k:]), abs(2 * k - size)))
        done += _halved(facts, [order[:cut], order[cut:]])
    return done


def _shared(facts: Facts, left: Sequence[Part], right: Sequence[Part]) -> int:
    a, b = ({node for part in parts for node in part.nodes} for parts in (left, right))
    return len((a & b) - facts.still)


def _packed(clusters: Sequence[list[Part]]) -> list[list[Part]]:
    """Neighbouring clusters together, as evenly as rows of at most MOST parts allow."""
    total = sum(len(cluster) for cluster in clusters)
    share = total / -(-total // MOST)
    rows: list[list[Part]] = []
    for cluster in clusters:
        fits = rows and len(rows[-1]) + len(cluster) <= MOST
        if rows and fits and len(rows[-1]) + len(cluster) / 2 <= share:
            rows[-1] += cluster
        else:
            rows.append(list(cluster))
    return rows


def _stubs(facts: Facts, groups: Sequence[Sequence[Part]]) -> list[list[LooseStub]]:
    stage = facts.stage
    on: dict[str, list[int]] = {}
    for row, parts in enumerate(groups):
        for node in dict.fromkeys(node for part in parts for node in part.nodes):
            on.setdefault(node, []).append(row)
    made: list[list[LooseStub]] = [[] for _ in groups]
    for port in stage.inputs:
        row = on.get(port.node, [0])[0]
        made[row].append(LooseStub("input", port.node, port.node, port_notes(port, "from")))
    for port in stage.outputs:
        row = on.get(port.node, [len(groups) - 1])[-1]
        made[row].append(LooseStub("output", port.node, port.node, port_notes(port, "into")))
    for pin in stage.pins:
        row = on.get(pin.node, [0])[0]
        made[row].append(LooseStub("pin", pin.name, pin.node, pin_notes(pin)))
    _links(stage, facts, on, made)
    return made


def _links(
    stage: Stage, facts: Facts, on: dict[str, list[int]], made: list[list[LooseStub]]
) -> None:
    """A link in each row for every node that more than one row holds."""
    names = node_names(stage)
    number = 0
    for node in stage.nodes:
        rows = on.get(node, [])
        if len(rows) < 2 or node in facts.still or node == GROUND:
            continue
        number += 1
        name = f"{_letters(number)} {names.get(node, '')}".strip()
        for row in rows:
            others = ", ".join(str(other + 1) for other in rows if other != row)
            what = "link out" if row == rows[0] else "link in"
            made[row].append(LooseStub(what, name, node, (f"row {others}",)))


def _letters(number: int) -> str:
    text = ""
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text
