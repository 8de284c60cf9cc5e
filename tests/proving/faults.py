"""Faults as the trade meets them: what each does to a specimen, and how bad it usually is.

The names of groups and modes are the words of the table of priors, so that an answer can be held
against the truth. Effects and severities here are the proving ground's own: leaks are drawn as
currents at the volts that really stand across the part, in the ranges of old sets (common
practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from biaspredict.model.devices import Bipolar, Material, Size
from biaspredict.model.parts import CAPACITORS, POTS, TERMINALS, Kind, Part
from biaspredict.model.stage import GROUND, Stage

from .draws import Draws
from .specimen import Specimen

OPENED = (1e8, 1e11)  # ohms of an open part, dirt included
BLIND = frozenset({"dry", "resistive", "open"})  # of a capacitor: DC cannot see these


@dataclass(frozen=True, slots=True)
class Fault:
    """One drawn fault. part: its reference, a rail, or "board NODE"; severity None where fixed.

    also: other parts that stand across the very same nodes, so that nobody could tell.
    """

    group: str
    mode: str
    part: str
    severity: float | None = None
    unit: str = ""
    lead: str = ""
    also: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        return f"{self.group}, {self.mode}"


@dataclass(frozen=True, slots=True)
class Place:
    """What a law of severity may look at: the part, its sound volts, the draws."""

    stage: Stage
    part: Part
    volts: Mapping[str, float]
    draw: Draws

    def across(self, one: str, other: str) -> float:
        a, b = (self.volts[self.part.node(t)] for t in (one, other))
        return abs(a - b)

    def leak(self, one: str, other: str, least: float, most: float) -> float:
        """Ohms that pass a current between two limits at the volts across two terminals."""
        across = max(self.across(one, other), 0.3)
        return min(5e6, max(50.0, across / self.draw.log(least, most)))


Law = Callable[[Place], float]
Act = Callable[[Specimen, str, float], Specimen]


@dataclass(frozen=True, slots=True)
class Recipe:
    """often: 3 everyday, 2 usual, 1 rare. law None: the fault has no degree."""

    often: float
    unit: str
    law: Law | None
    act: Act


def _log(least: float, most: float) -> Law:
    return lambda place: place.draw.log(least, most)


def _set(field: str) -> Act:
    return lambda s, ref, x: s.but(ref, **{field: x})


def _times(*fields: str) -> Act:
    return lambda s, ref, x: s.but(ref, **{f: s.bodies[ref].values[f] * x for f in fields})


def _fixed(field: str, value: float) -> Act:
    return lambda s, ref, _: s.but(ref, **{field: value})


def _lift(*terminals: str) -> Act:
    def act(s: Specimen, ref: str, ohms: float) -> Specimen:
        for terminal in terminals:
            s = s.lifted(f"{ref}.{terminal}", ohms)
        return s

    return act


def _open(*terminals: str) -> Act:
    return lambda s, ref, _: _lift(*terminals)(s, ref, 2e9)


def _exchange(one: str, other: str) -> Act:
    def act(s: Specimen, ref: str, _: float) -> Specimen:
        body = s.bodies[ref]
        names = TERMINALS[body.part.kind]
        nodes = list(body.nodes)
        i, j = names.index(one), names.index(other)
        nodes[i], nodes[j] = nodes[j], nodes[i]
        return s.with_body(ref, replace(body, nodes=tuple(nodes)))

    return act


def _low_gain(s: Specimen, ref: str, x: float) -> Specimen:
    values = s.bodies[ref].values
    return s.but(ref, bf=values["bf"] * x, ise=values["ise"] / x)


def _joined(s: Specimen, ref: str, _: float) -> Specimen:
    return s.but(ref, ce_leak=0.8, be_leak=0.8)


def _drift_up(place: Place) -> float:
    return place.draw.log(1.0 + 1.5 * place.stage.tolerance(place.part).plus + 0.02, 2.6)


def _drift_down(place: Place) -> float:
    inside = min(0.3, place.stage.tolerance(place.part).minus)
    return place.draw.log(0.35, 0.98 - 1.3 * inside)


def _capacitor_leak(place: Place) -> float:
    """3-30 uA coupling, 0.1-1 mA bypass, 0.5-3 mA decoupling (common practice, no source)."""
    part, stage = place.part, place.stage
    one, other = part.terminals
    rails = {rail.name for rail in stage.rails}
    if GROUND in part.nodes or rails & set(part.nodes):
        hot = part.nodes[1] if part.nodes[0] == GROUND else part.nodes[0]
        bypass = any(t in ("emitter", "source", "base", "gate") for _, t in stage.at(hot))
        small = 1e-4 if bypass else 5e-4
        return place.leak(one, other, small, small * (10 if bypass else 6))
    return place.leak(one, other, 3e-6, 30e-6)


def _icbo(place: Place) -> float:
    device = place.part.device
    assert isinstance(device, Bipolar)
    low, high = (50e-6, 500e-6) if device.size is Size.SMALL else (1e-3, 8e-3)
    return max(4.0, place.draw.log(low, high) / device.icbo)


def _between(one: str, other: str, least: float, most: float) -> Law:
    return lambda place: place.leak(one, other, least, most)


def _silent(s: Specimen, _ref: str, _x: float) -> Specimen:
    return s


_RESISTOR = {
    "drift up": Recipe(3, "times", _drift_up, _times("ohms")),
    "drift down": Recipe(1, "times", _drift_down, _times("ohms")),
    "open": Recipe(2, "", None, _fixed("ohms", 3e9)),
    "short": Recipe(0.5, "", None, _fixed("ohms", 0.3)),
}
_CAPACITOR = {
    "leak": Recipe(3, "ohm", _capacitor_leak, _set("ohms")),
    "short": Recipe(1, "", None, _fixed("ohms", 0.8)),
    "dry": Recipe(0, "times", _log(0.02, 0.6), _silent),
    "resistive": Recipe(0, "ohm", _log(1, 300), _silent),
    "open": Recipe(0, "", None, _silent),
}


def _bipolar(silicon: bool) -> dict[str, Recipe]:
    rows = {
        "c-b leak": Recipe(
            2, "ohm", _between("collector", "base", *((1e-6, 3e-5) if silicon else (2e-5, 3e-4))),
            _set("cb_leak")),
        "c-e leak": Recipe(
            1, "ohm", _between("collector", "emitter", 5e-5, 2e-3), _set("ce_leak")),
        "b-e leak": Recipe(1, "ohm", _log(1e3, 5e4), _set("be_leak")),
        "c-e short": Recipe(2, "", None, _fixed("ce_leak", 0.8)),
        "b-e short": Recipe(2, "", None, _fixed("be_leak", 0.8)),
        "c-b short": Recipe(1, "", None, _fixed("cb_leak", 0.8)),
        "all joined": Recipe(0.5, "", None, _joined),
        "base open": Recipe(1, "", None, _open("base")),
        "collector open": Recipe(1, "", None, _open("collector")),
        "emitter open": Recipe(1, "", None, _open("emitter")),
        "all open": Recipe(0.5, "", None, _open("collector", "base", "emitter")),
        "low gain": Recipe(2, "times", _log(0.05, 0.5), _low_gain),
        "c and e swapped": Recipe(1, "", None, _exchange("collector", "emitter")),
        "c and b swapped": Recipe(0.5, "", None, _exchange("collector", "base")),
        "wrong polarity": Recipe(0.5, "", None, lambda s, r, _: _times("npn")(s, r, -1.0)),
    }  # fmt: skip
    if not silicon:
        rows["icbo high"] = Recipe(3, "times", _icbo, _times("icbo"))
    return rows


_POT = {
    "wiper open": Recipe(1, "", None, _open("wiper")),
    "bad wiper": Recipe(2, "ohm", _log(10, 1e4), _lift("wiper")),
    "top open": Recipe(1, "", None, _open("top")),
    "bottom open": Recipe(1, "", None, _open("bottom")),
}
_CONTACT = {
    "resistive": Recipe(2, "ohm", _log(1, 1e4), _set("ohms")),
    "open": Recipe(1, "", None, _fixed("ohms", 2e9)),
    "does not open": Recipe(1, "", None, _fixed("ohms", 0.02)),
}
_OPEN_SHORT = {
    "open": Recipe(1, "", None, _fixed("ohms", 2e9)),
    "short": Recipe(0.5, "", None, _fixed("ohms", 0.02)),
}


def _high_drop(s: Specimen, ref: str, x: float) -> Specimen:
    return s.but(ref, n=s.bodies[ref].values["n"] * x)


_DIODE = {
    "open": Recipe(1, "", None, _open("anode")),
    "short": Recipe(1, "", None, _fixed("leak", 0.8)),
    "leak": Recipe(1, "ohm", _log(300, 1e5), _set("leak")),
    "high drop": Recipe(1, "times", _log(1.15, 1.4), _high_drop),
    "turned round": Recipe(0.5, "", None, _exchange("anode", "cathode")),
}

RECIPES: dict[str, dict[str, Recipe]] = {
    **dict.fromkeys(("carbon", "film", "wirewound"), _RESISTOR),
    "resistor": {
        "wrong value, up": Recipe(1, "", None, lambda s, r, _: _times("ohms")(s, r, 10.0)),
        "wrong value, down": Recipe(1, "", None, lambda s, r, _: _times("ohms")(s, r, 0.1)),
    },
    **dict.fromkeys(("electrolytic", "paper", "plastic", "ceramic"), _CAPACITOR),
    "tantalum": {**_CAPACITOR, "short": Recipe(2, "ohm", _log(5, 500), _set("ohms"))},
    "silicon": _bipolar(True),
    "germanium": _bipolar(False),
    "fet": {
        "gate leak": Recipe(2, "ohm", _log(3e5, 2e7), _set("gd_leak")),
        "g-s short": Recipe(1, "", None, _fixed("gs_leak", 0.8)),
        "d-s short": Recipe(1, "", None, _fixed("ds_leak", 0.8)),
        "g-d short": Recipe(1, "", None, _fixed("gd_leak", 0.8)),
        "low idss": Recipe(1, "times", _log(0.1, 0.5), _times("beta")),
        "gate open": Recipe(1, "", None, _open("gate")),
        "drain open": Recipe(1, "", None, _open("drain")),
        "source open": Recipe(1, "", None, _open("source")),
        "d and s swapped": Recipe(0.5, "", None, _exchange("drain", "source")),
    },
    "diode": _DIODE,
    "zener": {**_DIODE, "off volts": Recipe(1, "times", _log(0.65, 1.3), _times("bv"))},
    "pot": {**_POT, "bad wiper": Recipe(2, "ohm", _log(1e3, 1e6), _lift("wiper"))},
    "trimmer": _POT,
    "contact": {k: v for k, v in _CONTACT.items() if k != "does not open"},
    "switch": _CONTACT,
    "fuse": {"open": _OPEN_SHORT["open"]},
    "lamp": {"open": Recipe(1, "", None, _fixed("hot", 1e10))},
    "coil": _OPEN_SHORT,
    "winding": _OPEN_SHORT,
    "thermistor": {
        "open": _OPEN_SHORT["open"],
        "drift up": Recipe(1, "times", _log(1.4, 4.0), _times("ohms")),
    },
}


def groups(part: Part) -> tuple[str, ...]:
    """Rows of the table that speak of this part."""
    if part.kind is Kind.RESISTOR:
        return (part.material if part.material in ("film", "wirewound") else "carbon"), "resistor"
    if part.kind in CAPACITORS:
        word = part.dielectric.lower()
        if word in ("tantalum", "paper", "ceramic"):
            return (word,)
        if part.kind is Kind.ELECTROLYTIC or word in ("non-polar", "bipolar"):
            return ("electrolytic",)
        return ("ceramic",) if word == "mica" else ("plastic",)
    if isinstance(part.device, Bipolar):
        return ("silicon" if part.device.material is Material.SILICON else "germanium",)
    return (part.kind.value,)


def fits(part: Part, mode: str) -> bool:
    """Whether a mode of its group can happen to this part as it stands on the sheet."""
    if part.kind in (Kind.SWITCH, Kind.CONTACT):
        return part.closed != (mode == "does not open")
    return True


def joints(part: Part) -> tuple[str, ...]:
    """Leads whose joints differ electrically; both ends of a two-legged part are one joint."""
    if part.kind in CAPACITORS or part.kind in (Kind.SWITCH, Kind.CONTACT):
        return ()
    if part.kind in POTS or part.kind in (Kind.TRANSISTOR, Kind.FET):
        return part.terminals
    return part.terminals[:1]


def options(stage: Stage) -> Iterator[tuple[float, str, str, str, str]]:
    """Every fault of the catalogue: how often, group, mode, part, lead."""
    for part in stage.parts:
        for group in groups(part):
            for mode, recipe in RECIPES[group].items():
                if recipe.often and fits(part, mode):
                    yield recipe.often, group, mode, part.ref, ""
        for terminal in joints(part):
            yield 1.0, "joint", "resistive", part.ref, terminal
            yield 0.5, "joint", "open", part.ref, terminal
    for node in high_bases(stage):
        yield 0.5, "residue", "leak", f"board {node}", node
    for rail in stage.rails:
        yield 0.5, "rail", "low", rail.name, ""


def high_bases(stage: Stage) -> tuple[str, ...]:
    rails = {rail.name for rail in stage.rails} | {GROUND}
    found = [
        node
        for part in stage.parts
        for terminal, node in zip(part.terminals, part.nodes, strict=True)
        if terminal in ("base", "gate") and node not in rails
    ]
    return tuple(dict.fromkeys(found))


def draw_fault(
    stage: Stage,
    choice: tuple[str, str, str, str],
    volts: Mapping[str, float],
    draw: Draws,
    bounds: tuple[float, float] | None = None,
) -> Fault:
    """Give a chosen (group, mode, part, lead) its severity: by the trade, or within `bounds`."""
    group, mode, name, lead = choice
    if group == "residue":
        low, high = bounds or (1e6, 1e7)
        rails = [r.name for r in sorted(stage.rails, key=lambda r: -abs(r.volts))]
        other = rails[0] if rails and draw.chance(0.5) else GROUND
        also = tuple(p.ref for p in stage.parts if {lead, other} <= set(p.nodes))
        return Fault(group, f"leak to {other}", name, draw.log(low, high), "ohm", lead, also)
    if group == "joint":
        severity = draw.log(*(bounds or (30.0, 1e6))) if mode == "resistive" else None
        return Fault(group, mode, name, severity, "ohm" if severity else "", lead)
    if group in ("rail", "pin"):
        if mode == "missing":
            return Fault(group, mode, name)
        low, high = bounds or (0.5, 0.85)
        return Fault(group, mode, name, draw.log(low, high), "times")
    recipe = RECIPES[group][mode]
    if recipe.law is None:
        return Fault(group, mode, name)
    if bounds is not None:
        severity = draw.log(*bounds)
    else:
        severity = recipe.law(Place(stage, stage.part(name), volts, draw))
    return Fault(group, mode, name, severity, recipe.unit)


def apply(specimen: Specimen, fault: Fault) -> Specimen:
    """The specimen with the fault in it. Its heats are those of before: solve it again."""
    severity = 1.0 if fault.severity is None else fault.severity
    if fault.group == "residue":
        return specimen.bridged(fault.lead, fault.mode.removeprefix("leak to "), severity)
    if fault.group == "joint":
        return specimen.jointed(f"{fault.part}.{fault.lead}", 2e9 if fault.unit == "" else severity)
    if fault.group == "rail":
        volts, ohms = specimen.rails[fault.part]
        factor = 0.0 if fault.mode == "missing" else severity
        return replace(specimen, rails={**specimen.rails, fault.part: (volts * factor, ohms)})
    if fault.group == "pin":
        moved = tuple(
            replace(b, emf=b.emf * severity) if b.a == specimen.stage.node(fault.part) else b
            for b in specimen.sources
        )
        return replace(specimen, sources=moved)
    act = RECIPES[fault.group][fault.mode].act
    return act(specimen, fault.part, severity)

