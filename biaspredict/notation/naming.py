"""Which of a node's names the report uses, and what its other names are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from biaspredict.model.parts import TERMINALS, Kind
from biaspredict.model.stage import GROUND
from biaspredict.notation import names
from biaspredict.notation.names import LEGS
from biaspredict.notation.wiring import Point

TRANSISTORS = frozenset({Kind.TRANSISTOR, Kind.FET})


@dataclass(frozen=True, slots=True)
class Labels:
    """Names that a stage gives, by their keys.

    words: plain words of paths in order of appearance. rails, pins, points, aliases: as spelt;
    points hold the label alone.
    """

    words: Mapping[str, str]
    rails: Mapping[str, str]
    pins: Mapping[str, str]
    points: Mapping[str, str]
    aliases: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Named:
    """Nodes in the order of the stage, and the canonical name of every point."""

    nodes: tuple[str, ...]
    of: Mapping[Point, str]
    names: Mapping[str, str]
    points: tuple[tuple[str, str], ...]


def name_nodes(
    groups: Sequence[tuple[Point, ...]], parts: Sequence[tuple[str, Kind]], labels: Labels
) -> Named:
    """Name every node.

    groups: nodes as the points joined in each; each holds ground, a rail, a leg or a pin.
    parts: (reference, kind) in the order of the stage. Nodes follow it, ground and rails first.
    """
    kinds = dict(parts)
    chosen = [_own_name(group, kinds, labels) for group in groups]
    meetings = [_references(group) for group in groups]
    joints = _joint_names(meetings, [i for i, name in enumerate(chosen) if name is None])
    for place, joint in joints.items():
        chosen[place] = joint or _lowest_leg(groups[place], kinds)
    of: dict[Point, str] = {}
    for group, name in zip(groups, chosen, strict=True):
        assert name is not None
        of.update(dict.fromkeys(group, name))

    order = [GROUND, *labels.rails.values()]
    order += [of["leg", f"{ref}.{leg}"] for ref, kind in parts for leg in TERMINALS[kind]]
    order += [of["word", key] for key in labels.pins]
    return Named(tuple(dict.fromkeys(order)), of, _others(of, labels), _points(of, labels))


def _own_name(group: tuple[Point, ...], kinds: Mapping[str, Kind], labels: Labels) -> str | None:
    """A name that one of the points lends the node; None where only references can."""
    words = [key for kind, key in group if kind == "word"]
    if GROUND in words:
        return GROUND
    for known in (labels.rails, labels.words):
        for key, spelling in known.items():
            if key in words:
                return spelling
    points = sorted((labels.points[key] for key in words if key in labels.points), key=_natural)
    if points:
        return f"TP{points[0]}"
    legs = [name.rpartition(".")[::2] for kind, name in group if kind == "leg"]
    for wanted in (TRANSISTORS, frozenset(LEGS) - TRANSISTORS):
        found = [(ref, leg) for ref, leg in legs if kinds[ref] in wanted]
        if found:
            ref, leg = min(found, key=lambda f: (names.order(f[0]), LEGS[kinds[f[0]]].index(f[1])))
            return f"{ref}.{leg}"
    return next((labels.pins[key] for key in words if key in labels.pins), None)


def _references(group: tuple[Point, ...]) -> tuple[str, ...]:
    found = {name.rpartition(".")[0] for kind, name in group if kind == "leg"}
    return tuple(sorted(found, key=names.order))


def _joint_names(
    meetings: Sequence[tuple[str, ...]], unnamed: Iterable[int]
) -> dict[int, str | None]:
    """Names such as "R1/R2": as many references as tell the node from every other.

    None where they never do.
    """
    at: dict[str, set[int]] = {}
    for place, refs in enumerate(meetings):
        for ref in refs:
            at.setdefault(ref, set()).add(place)
    found: dict[int, str | None] = {}
    for place in unnamed:
        found[place] = None
        refs = meetings[place]
        both = set(at[refs[0]])
        for size in range(2, len(refs) + 1):
            both &= at[refs[size - 1]]
            if len(both) == 1:
                found[place] = "/".join(refs[:size])
                break
    return found


def _lowest_leg(group: tuple[Point, ...], kinds: Mapping[str, Kind]) -> str:
    legs = [name.rpartition(".")[::2] for kind, name in group if kind == "leg"]
    ref, leg = min(legs, key=lambda f: (names.order(f[0]), TERMINALS[kinds[f[0]]].index(f[1])))
    return f"{ref}.{leg}"


def _natural(label: str) -> tuple[int, int, str]:
    return (0, int(label), "") if label.isdecimal() else (1, 0, label)


def _points(of: Mapping[Point, str], labels: Labels) -> tuple[tuple[str, str], ...]:
    known = sorted(labels.points.items(), key=lambda item: _natural(item[1]))
    return tuple((label, of["word", key]) for key, label in known)


def _others(of: Mapping[Point, str], labels: Labels) -> dict[str, str]:
    """Every name that is not the node's own, to the node's own."""
    found: dict[str, str] = {}
    for (kind, name), node in of.items():
        if kind == "leg":
            found[name] = node
    for spelt in (labels.words, labels.pins, labels.aliases):
        found.update({spelling: of["word", key] for key, spelling in spelt.items()})
    for key, label in labels.points.items():
        found[f"TP{label}"] = found[f"test point {label}"] = of["word", key]
    return {name: node for name, node in found.items() if name != node}
