"""Stages that no designer would draw: any part between any nodes, at any volts."""

from __future__ import annotations

import random

from biaspredict.model.devices import (
    Channel,
    Lamp,
    Material,
    Polarity,
    generic_bipolar,
    generic_diode,
    generic_fet,
    generic_thermistor,
    generic_zener,
)
from biaspredict.model.parts import TERMINALS, Kind, Part
from biaspredict.model.stage import GROUND, Pin, Port, Rail, Stage

LETTERS = {
    Kind.RESISTOR: "R", Kind.CAPACITOR: "C", Kind.ELECTROLYTIC: "C", Kind.COIL: "L",
    Kind.WINDING: "T", Kind.DIODE: "D", Kind.ZENER: "Z", Kind.TRANSISTOR: "Q", Kind.FET: "Q",
    Kind.POT: "P", Kind.TRIMMER: "RV", Kind.LAMP: "LA", Kind.FUSE: "F", Kind.SWITCH: "S",
    Kind.CONTACT: "J", Kind.THERMISTOR: "TH",
}  # fmt: skip
COMMON = [Kind.RESISTOR] * 8 + [Kind.CAPACITOR, Kind.ELECTROLYTIC] * 2 + [Kind.TRANSISTOR] * 4


def wild_part(pick: random.Random, ref: str, kind: Kind, nodes: tuple[str, ...]) -> Part:
    device = {
        Kind.DIODE: generic_diode(Material.SILICON),
        Kind.ZENER: generic_zener(6.2),
        Kind.TRANSISTOR: generic_bipolar(pick.choice(list(Polarity))),
        Kind.FET: generic_fet(pick.choice(list(Channel))),
        Kind.LAMP: Lamp(6.0, 0.05),
        Kind.THERMISTOR: generic_thermistor(),
    }.get(kind)
    farads = kind in (Kind.CAPACITOR, Kind.ELECTROLYTIC)
    return Part(
        ref,
        kind,
        nodes,
        printed=10 ** pick.uniform(-11, -3) if farads else 10 ** pick.uniform(0, 6),
        fitted=pick.choice([None, None, None, 4700.0]) if kind is Kind.RESISTOR else None,
        volts=25.0 if farads or kind is Kind.WINDING else None,
        ohms=3.0 if kind in (Kind.COIL, Kind.WINDING) else None,
        turn=pick.choice([None, 0.0, 0.5, 1.0]),
        closed=pick.random() < 0.5,
        device=device,
        hertz=50.0 if kind is Kind.WINDING else None,
    )


def wild_stage(seed: int, parts: int | None = None) -> tuple[Stage, dict[str, float]]:
    """A stage and volts for its nodes, neither of which need make sense."""
    pick = random.Random(seed)
    count = parts if parts is not None else pick.randint(1, 24)
    nodes = [f"N{k}" for k in range(1, max(2, int(count * pick.uniform(0.4, 1.0))) + 1)]
    rails = [Rail("B+", 24.0)]
    if pick.random() < 0.3:
        rails.append(Rail("B-", -24.0, ohms=100.0))
    pool = nodes * 2 + [rail.name for rail in rails] * 2
    if pick.random() < 0.93:
        pool += [GROUND] * max(3, len(nodes) // 2)
    made = []
    numbers: dict[str, int] = {}
    for _ in range(count):
        kind = pick.choice(COMMON) if pick.random() < 0.75 else pick.choice(list(Kind))
        letter = LETTERS[kind]
        numbers[letter] = numbers.get(letter, 0) + 1
        terminals = len(TERMINALS[kind])
        where = tuple(pick.choice(pool) for _ in range(terminals))
        if len(set(where)) == 1 and pick.random() < 0.8:
            where = tuple(pick.choice(pool) for _ in range(terminals))
        made.append(wild_part(pick, f"{letter}{numbers[letter]}", kind, where))
    used = list(dict.fromkeys(node for part in made for node in part.nodes))
    ports = [node for node in used if pick.random() < 0.15]
    half = len(ports) // 2
    inputs = tuple(Port(node, pick.choice([None, 600.0])) for node in ports[:half])
    outputs = tuple(Port(node, pick.choice([None, 47e3])) for node in ports[half:])
    pins = tuple(
        Pin(f"U1.{k}", node, pick.choice([None, 5.0]), amps=1e-3)
        for k, node in enumerate(used)
        if pick.random() < 0.05
    )
    volts = {
        node: pick.choice([0.0, 0.02, pick.uniform(-1, 24), pick.uniform(0, 12)]) for node in used
    }
    if pick.random() < 0.7:
        volts = {node: abs(value) for node, value in volts.items()}
    volts.update({rail.name: rail.volts for rail in rails})
    volts[GROUND] = 0.0
    every = tuple(dict.fromkeys((GROUND, *(rail.name for rail in rails), *used)))
    stage = Stage(
        f"wild stage {seed}", tuple(made), tuple(rails), every,
        pins=pins, inputs=inputs, outputs=outputs,
    )  # fmt: skip
    return stage, {node: volts[node] for node in every}
