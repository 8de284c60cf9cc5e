"""Which faults a case gets: none, one, two, or as the tool's own table of priors has it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from biaspredict.model.parts import CAPACITORS, Kind
from biaspredict.model.stage import Stage

from .draws import Draws
from .faults import BLIND, RECIPES, Fault, draw_fault, fits, groups, high_bases, joints, options

TABLE = Path(__file__).parents[2] / "biaspredict" / "infer" / "priors.txt"

Choice = tuple[str, str, str, str]


@dataclass(frozen=True, slots=True)
class Row:
    chance: float
    bounds: tuple[float, float] | None


def read_table(path: Path = TABLE) -> dict[tuple[str, str], Row]:
    """The table of priors by (kind, mode), read here by a reader of its own."""
    rows: dict[tuple[str, str], Row] = {}
    for line in path.read_text("utf-8").splitlines():
        cells = [c.strip() for c in line.split("#", 1)[0].split("|")]
        if len(cells) == 7:
            kind, mode, percent, least, most = cells[:5]
            bounds = None if least == "-" else (_number(least), _number(most))
            rows[kind, mode] = Row(float(percent) / 100, bounds)
    if not rows:
        raise ValueError(f"no rows in {path}")
    return rows


def _number(text: str) -> float:
    scale = {"K": 1e3, "M": 1e6}.get(text[-1])
    return float(text) if scale is None else float(text[:-1]) * scale


def _pick(draw: Draws, weighted: list[tuple[float, Choice]]) -> Choice:
    assert draw.rng is not None
    weights = [w for w, _ in weighted]
    total = sum(weights)
    place = draw.rng.choice(len(weighted), p=[w / total for w in weights])
    return weighted[int(place)][1]


def single(stage: Stage, volts: Mapping[str, float], draw: Draws) -> tuple[Fault, ...]:
    """One fault that DC can see in principle: a mode by how often it is met, then its part."""
    by_mode: dict[tuple[str, str], list[tuple[float, Choice]]] = {}
    for _, *choice in options(stage):
        group, mode, part, lead = choice
        by_mode.setdefault((group, mode), []).append((1.0, (group, mode, part, lead)))
    often_of = {(g, m): w for w, g, m, _, _ in options(stage)}
    # Between one vote a mode and one vote a part: a stage has many resistors and one transistor.
    modes = [(often_of[key] * len(rows) ** 0.5, (*key, "", "")) for key, rows in by_mode.items()]
    group, mode, _, _ = _pick(draw, modes)
    return (draw_fault(stage, _pick(draw, by_mode[group, mode]), volts, draw),)


def pair(stage: Stage, volts: Mapping[str, float], draw: Draws) -> tuple[Fault, ...]:
    """Two faults that come together: capacitors of one batch, a transistor and what it cooked."""
    assert draw.rng is not None
    electrolytics = [p for p in stage.parts if p.kind is Kind.ELECTROLYTIC]
    cooked = [
        (q, r)
        for q in stage.parts
        if q.kind is Kind.TRANSISTOR
        for r in stage.parts
        if r.kind is Kind.RESISTOR and set(r.nodes) & {q.node("collector"), q.node("emitter")}
    ]
    if len(electrolytics) >= 2 and (draw.chance(0.5) or not cooked):
        places = draw.rng.choice(len(electrolytics), 2, replace=False)
        both = [electrolytics[int(k)] for k in places]
        return tuple(
            draw_fault(stage, (groups(p)[0], "leak", p.ref, ""), volts, draw) for p in both
        )
    if cooked:
        q, r = cooked[int(draw.rng.integers(len(cooked)))]
        modes = ["c-e short", "c-e leak", "c-b leak", "b-e short"]
        mode = modes[int(draw.rng.integers(len(modes)))]
        burnt = "open" if draw.chance(0.3) else "drift up"
        return (
            draw_fault(stage, (groups(q)[0], mode, q.ref, ""), volts, draw),
            draw_fault(stage, (groups(r)[0], burnt, r.ref, ""), volts, draw),
        )
    one = single(stage, volts, draw)
    while True:
        two = single(stage, volts, draw)
        if two[0].part != one[0].part:
            return one + two


def by_prior(
    stage: Stage, volts: Mapping[str, float], draw: Draws, table: Mapping[tuple[str, str], Row]
) -> tuple[Fault, ...]:
    """Every row of the table tossed for every part; sets with more than two are tossed again."""
    while True:
        faults = [
            draw_fault(stage, choice, volts, draw, row.bounds)
            for choice, row in _rows(stage, table)
            if draw.chance(row.chance)
        ]
        seen = [f for f in faults if not is_blind(stage, f)]
        if len(seen) <= 2 and len({f.part for f in seen}) == len(seen):
            return tuple(faults)


def is_blind(stage: Stage, fault: Fault) -> bool:
    """Whether DC cannot see the fault in any circuit."""
    return fault.mode in BLIND and any(
        p.ref == fault.part and p.kind in CAPACITORS for p in stage.parts
    )


def _rows(stage: Stage, table: Mapping[tuple[str, str], Row]) -> list[tuple[Choice, Row]]:
    found: list[tuple[Choice, Row]] = []

    def add(key: tuple[str, str], choice: Choice, share: float = 1.0) -> None:
        row = table.get(key)
        if row is not None and row.chance > 0:
            found.append((choice, Row(row.chance * share, row.bounds)))

    for part in stage.parts:
        for group in groups(part):
            for mode in RECIPES[group]:
                if fits(part, mode):
                    head, _, way = mode.partition(", ")
                    add((group, head), (group, mode, part.ref, ""), 0.5 if way else 1.0)
        for terminal in joints(part):
            for mode in ("resistive", "open"):
                add(("joint", mode), ("joint", mode, part.ref, terminal))
    for node in high_bases(stage):
        add(("residue", "leak"), ("residue", "leak", f"board {node}", node))
    for rail in stage.rails:
        for mode in ("missing", "low", "high"):
            add(("rail", mode), ("rail", mode, rail.name, ""))
    for pin in stage.pins:
        if pin.volts is not None:
            add(("pin", "off"), ("pin", "off", pin.name, ""))
    return found
