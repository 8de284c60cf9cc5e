"""The fault catalogue of a stage: each fault a function from severity to a variation."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from biaspredict.engine.flatten import pin_quantity
from biaspredict.infer.priors import Prior, Priors
from biaspredict.model.circuit import CLOSED, OPEN, Load, Variation
from biaspredict.model.devices import Bipolar, Fet, Material
from biaspredict.model.parts import CAPACITORS, POTS, Kind, Part
from biaspredict.model.stage import GROUND, Stage

SHORT = 1.0  # ohms of a shorted part: a weld or a whisker
NEW = 0.05  # chance of a fault in a new part over that in an old one (common practice, no source)
DRIED_OPEN = 1e-4  # share of its value that an open capacitor keeps


RESISTOR_ROWS = {"film": "film", "metal": "film", "oxide": "film", "wirewound": "wirewound"}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of one part.

    part: its reference; mode: as in the table of priors; words: for the person.
    chance: probability that this part has it. least, most, unit: severity, None where fixed.
    act: severity -> variation of the circuit (severity ignored where fixed).
    silent: DC and ohms cannot see it. joint: share of `chance` due to a joint at `lead`.
    across: the nodes between which a leak flows. blown: fuses that it has melted.
    """

    part: str
    mode: str
    words: str
    chance: float
    act: Callable[[float], Variation]
    least: float | None = None
    most: float | None = None
    unit: str = "-"
    silent: bool = False
    lead: str | None = None
    joint: float = 0.0
    across: tuple[str, str] | None = None
    blown: tuple[str, ...] = ()

    @property
    def graded(self) -> bool:
        return self.least is not None

    @property
    def key(self) -> tuple[str, str]:
        return self.part, self.mode


def to_renew(faults: Sequence[Fault]) -> tuple[str, ...]:
    """What is renewed where these faults are found, the parts at fault first."""
    parts = [fault.part for fault in faults]
    return tuple(dict.fromkeys([*parts, *(ref for fault in faults for ref in fault.blown)]))


def catalogue(stage: Stage, priors: Priors) -> tuple[Fault, ...]:
    """Every single fault of every part, joint and rail of the stage."""
    aged = priors.aged(stage.assumptions.age_years)
    found: list[Fault] = []
    for part in stage.parts:
        found.extend(_of_part(part, aged))
    found.extend(_of_board(stage, aged))
    return tuple(found)


def renewed(faults: Sequence[Fault], fresh: Sequence[str]) -> tuple[Fault, ...]:
    """The same faults where some parts are new: what comes with age is then rare."""
    return tuple(
        replace(fault, chance=fault.chance * NEW) if fault.part in fresh else fault
        for fault in faults
    )


def _setting(parameter: str, value: float) -> Callable[[float], Variation]:
    return lambda _: Variation(settings=((parameter, value),))


def _graded_setting(parameter: str) -> Callable[[float], Variation]:
    return lambda severity: Variation(settings=((parameter, severity),))


def _graded_scale(parameter: str) -> Callable[[float], Variation]:
    return lambda severity: Variation(scales=((parameter, severity),))


def _scale(parameter: str, factor: float) -> Callable[[float], Variation]:
    return lambda _: Variation(scales=((parameter, factor),))


def _lift(*leads: str, ohms: float = OPEN) -> Callable[[float], Variation]:
    return lambda _: Variation(lifts=tuple((lead, ohms) for lead in leads))


def _graded_lift(lead: str) -> Callable[[float], Variation]:
    return lambda severity: Variation(lifts=((lead, severity),))


def _moves(*moves: tuple[str, str]) -> Callable[[float], Variation]:
    return lambda _: Variation(moves=moves)


_Recipe = tuple[str, Callable[[float], Variation]]


def _of_part(part: Part, priors: Priors) -> Iterator[Fault]:
    recipes = dict(_recipes(part))
    joints = {row.mode: row for row in priors.of("joint")}
    for kind in _table_kinds(part):
        for row in priors.of(kind):
            for mode, (words, act) in recipes.items():
                if mode.split(":", 1)[0] == row.mode:
                    yield _fault(part, row, mode, words, act, joints.get("open"))
    row_joint = joints.get("resistive")
    if row_joint is not None and part.kind in (Kind.TRANSISTOR, Kind.FET, Kind.DIODE, Kind.ZENER):
        for terminal in part.terminals:
            if part.kind in (Kind.DIODE, Kind.ZENER) and terminal == "cathode":
                continue  # in series with the anode: electrically one joint
            lead = f"{part.ref}.{terminal}"
            yield Fault(
                lead, "joint", f"a resistive joint at {lead}", row_joint.chance,
                _graded_lift(lead), row_joint.least, row_joint.most, "ohm", lead=lead, joint=1.0,
            )


def _fault(
    part: Part, row: Prior, mode: str, words: str, act: Callable[[float], Variation],
    joint: Prior | None,
) -> Fault:
    silent = row.mode in ("dry", "resistive", "open") and part.kind in CAPACITORS
    chance, lead, share = row.chance, None, 0.0
    if joint is not None and row.mode.endswith("open") and part.kind not in CAPACITORS:
        chance += joint.chance
        share = joint.chance / chance if chance else 0.0
        name = row.mode.removesuffix("open").strip()
        if name in part.terminals:
            lead = f"{part.ref}.{name}"
    if ":" in mode:
        chance /= 2.0  # one row of the table, two ways of being wrong
    return Fault(
        part.ref, mode.replace(":", ", "), words, chance, act, row.least, row.most, row.unit,
        silent, lead, share if lead else 0.0, _across(part, row.mode),
    )


def _across(part: Part, mode: str) -> tuple[str, str] | None:
    """Where the current of a leak flows."""
    if not mode.endswith("leak"):
        return None
    if len(part.nodes) == 2:
        return part.nodes[0], part.nodes[1]
    pair = mode.removesuffix("leak").strip()
    if pair == "gate":
        return part.node("gate"), part.node("drain")
    first, second = pair.split("-")
    return part.node(_LEGS[first]), part.node(_LEGS[second])


def _table_kinds(part: Part) -> tuple[str, ...]:
    """Rows of the table that speak of this part."""
    if part.kind is Kind.RESISTOR:
        return RESISTOR_ROWS.get(part.material, "carbon"), "resistor"
    if part.kind in CAPACITORS:
        return (_capacitor_row(part),)
    device = part.device
    if isinstance(device, Bipolar):
        return (device.material.value,)
    return (part.kind.value,)


def _capacitor_row(part: Part) -> str:
    word = part.dielectric.lower()
    if word in ("tantalum", "paper", "ceramic"):
        return word
    if word == "mica":
        return "ceramic"
    if part.kind is Kind.ELECTROLYTIC or word in ("non-polar", "nonpolar", "bipolar"):
        return "electrolytic"
    return "plastic"


def _recipes(part: Part) -> Iterator[tuple[str, _Recipe]]:
    """mode -> (words, act) for this part; a mode "a:b" is one of several under row "a"."""
    ref = part.ref
    if part.kind in (Kind.RESISTOR, Kind.THERMISTOR):
        yield "drift up", (f"{ref} has drifted high", _graded_scale(f"{ref}.ohms"))
        yield "drift down", (f"{ref} has drifted low", _graded_scale(f"{ref}.ohms"))
        yield "open", (f"{ref} is open, or a joint at it", _setting(f"{ref}.ohms", OPEN))
        yield "short", (f"{ref} is shorted or bridged", _setting(f"{ref}.ohms", SHORT))
        yield "wrong value:up", (f"{ref} is ten times too high", _scale(f"{ref}.ohms", 10.0))
        yield "wrong value:down", (f"{ref} is ten times too low", _scale(f"{ref}.ohms", 0.1))
    elif part.kind in CAPACITORS:
        yield "leak", (f"{ref} leaks", _graded_setting(f"{ref}.leak"))
        if _capacitor_row(part) == "tantalum":
            yield "short", (f"{ref} is shorted", _graded_setting(f"{ref}.leak"))
        else:
            yield "short", (f"{ref} is shorted", _setting(f"{ref}.leak", SHORT))
        yield "dry", (f"{ref} has dried out", _graded_scale(f"{ref}.farads"))
        yield "resistive", (
            f"{ref} has a high series resistance", _graded_setting(f"{ref}.series"))
        yield "open", (f"{ref} is open, or a joint at it", _scale(f"{ref}.farads", DRIED_OPEN))
    elif part.kind is Kind.TRANSISTOR:
        yield from _transistor(part)
    elif part.kind is Kind.FET:
        yield from _fet(part)
    elif part.kind in (Kind.DIODE, Kind.ZENER):
        yield from _diode(part)
    elif part.kind in POTS:
        yield "wiper open", (f"{ref}'s wiper is open", _lift(f"{ref}.wiper"))
        yield "bad wiper", (f"{ref}'s wiper is resistive", _graded_lift(f"{ref}.wiper"))
        yield "top open", (f"{ref} is open at its top end", _lift(f"{ref}.top"))
        yield "bottom open", (f"{ref} is open at its bottom end", _lift(f"{ref}.bottom"))
    elif part.kind in (Kind.CONTACT, Kind.SWITCH) and part.closed:
        yield "resistive", (f"{ref} makes poor contact", _graded_setting(f"{ref}.ohms"))
        yield "open", (f"{ref} makes no contact", _setting(f"{ref}.ohms", OPEN))
    elif part.kind is Kind.SWITCH:
        yield "does not open", (f"{ref} stays closed", _setting(f"{ref}.ohms", CLOSED))
    elif part.kind in (Kind.FUSE, Kind.COIL, Kind.WINDING):
        yield "open", (f"{ref} is open", _setting(f"{ref}.ohms", OPEN))
        yield "short", (f"{ref} is shorted", _setting(f"{ref}.ohms", CLOSED))
    elif part.kind is Kind.LAMP:
        yield "open", (f"{ref} is burnt out", _lift(f"{ref}.1"))


def _transistor(part: Part) -> Iterator[tuple[str, _Recipe]]:
    ref, device = part.ref, part.device
    assert isinstance(device, Bipolar)
    collector, base, emitter = part.nodes
    for pair, field in (("c-b", "cb_leak"), ("c-e", "ce_leak"), ("b-e", "be_leak")):
        yield f"{pair} leak", (f"{ref} leaks {_long(pair)}", _graded_setting(f"{ref}.{field}"))
        yield f"{pair} short", (
            f"{ref} is shorted {_long(pair)}", _setting(f"{ref}.{field}", SHORT))
    joined = Variation(settings=((f"{ref}.ce_leak", SHORT), (f"{ref}.be_leak", SHORT)))
    yield "all joined", (f"{ref} is shorted throughout", lambda _: joined)
    for terminal in part.terminals:
        words = f"{ref}'s {terminal} is open, inside or at its joint"
        yield f"{terminal} open", (words, _lift(f"{ref}.{terminal}"))
    yield "all open", (
        f"{ref} is open throughout", _lift(f"{ref}.base", f"{ref}.emitter", f"{ref}.collector"))
    yield "low gain", (f"{ref} has lost gain", _graded_scale(f"{ref}.gain"))
    if device.material is Material.GERMANIUM:
        yield "icbo high", (
            f"{ref}'s collector leakage (ICBO) is high", _graded_scale(f"{ref}.icbo"))
    yield "c and e swapped", (
        f"{ref} has collector and emitter swapped",
        _moves((f"{ref}.collector", emitter), (f"{ref}.emitter", collector)))
    yield "c and b swapped", (
        f"{ref} has collector and base swapped",
        _moves((f"{ref}.collector", base), (f"{ref}.base", collector)))
    other = "PNP" if device.polarity.value == "npn" else "NPN"
    yield "wrong polarity", (
        f"{ref} is {other}, the sheet says {device.polarity.name}",
        _scale(f"{ref}.polarity", -1.0))


def _fet(part: Part) -> Iterator[tuple[str, _Recipe]]:
    ref = part.ref
    assert isinstance(part.device, Fet)
    drain, _, source = part.nodes
    yield "gate leak", (f"{ref}'s gate leaks", _graded_setting(f"{ref}.gd_leak"))
    for pair, field in (("g-s", "gs_leak"), ("d-s", "ds_leak"), ("g-d", "gd_leak")):
        yield f"{pair} short", (
            f"{ref} is shorted {_long(pair)}", _setting(f"{ref}.{field}", SHORT))
    yield "low idss", (f"{ref} has lost current (IDSS low)", _graded_scale(f"{ref}.idss"))
    for terminal in part.terminals:
        words = f"{ref}'s {terminal} is open, inside or at its joint"
        yield f"{terminal} open", (words, _lift(f"{ref}.{terminal}"))
    yield "d and s swapped", (
        f"{ref} has drain and source swapped",
        _moves((f"{ref}.drain", source), (f"{ref}.source", drain)))


def _diode(part: Part) -> Iterator[tuple[str, _Recipe]]:
    ref = part.ref
    anode, cathode = part.nodes
    yield "open", (f"{ref} is open, or a joint at it", _lift(f"{ref}.anode"))
    yield "short", (f"{ref} is shorted", _setting(f"{ref}.leak", SHORT))
    yield "leak", (f"{ref} leaks", _graded_setting(f"{ref}.leak"))
    yield "high drop", (f"{ref} drops too much", _graded_scale(f"{ref}.ideality"))
    if part.kind is Kind.DIODE:
        yield "turned round", (
            f"{ref} is the wrong way round",
            _moves((f"{ref}.anode", cathode), (f"{ref}.cathode", anode)))
    else:
        yield "off volts", (
            f"{ref}'s voltage is off", _graded_scale(f"{ref}.zener_volts"))


_LEGS = {"c": "collector", "b": "base", "e": "emitter", "g": "gate", "d": "drain", "s": "source"}


def _long(pair: str) -> str:
    first, second = pair.split("-")
    return f"{_LEGS[first]} to {_LEGS[second]}"


def _of_board(stage: Stage, priors: Priors) -> Iterator[Fault]:
    """Rails, black boxes, and residue at high-impedance points."""
    rails = {row.mode: row for row in priors.of("rail")}
    for rail in stage.rails:
        name = f"{rail.name}.volts"
        if "missing" in rails:
            yield Fault(rail.name, "missing", f"{rail.name} is missing",
                        rails["missing"].chance, _setting(name, 0.0))
        for mode in ("low", "high"):
            if mode in rails:
                row = rails[mode]
                yield Fault(rail.name, mode, f"{rail.name} is {mode}", row.chance,
                            _graded_scale(name), row.least, row.most, row.unit)
    for row in priors.of("pin"):
        for pin in stage.pins:
            field = pin_quantity(stage, pin)
            yield Fault(pin.name, row.mode, f"{pin.name} is not as noted", row.chance,
                        _graded_scale(f"{pin.name}.{field}"), row.least, row.most, row.unit)
    highest = max((rail for rail in stage.rails), key=lambda r: abs(r.volts), default=None)
    for row in priors.of("residue"):
        for node in _high_impedance(stage):
            for other in (GROUND, highest.name if highest else None):
                if other is not None and other != node:
                    yield Fault(
                        f"board at {node}", f"leak to {other}",
                        f"residue on the board from {node} to {other}", row.chance / 2,
                        _residue(node, other), row.least, row.most, row.unit,
                        across=(node, other))


def _residue(node: str, other: str) -> Callable[[float], Variation]:
    return lambda ohms: Variation(loads=(Load(node, other, ohms),))


def _high_impedance(stage: Stage) -> tuple[str, ...]:
    """Nodes of bases and gates that no rail, port or other pin holds down."""
    found: list[str] = []
    for part in stage.parts:
        for terminal, node in zip(part.terminals, part.nodes, strict=True):
            if terminal in ("base", "gate") and node not in found and node != GROUND:
                held = any(rail.name == node for rail in stage.rails)
                if not held:
                    found.append(node)
    return tuple(found)


def severities(fault: Fault, per_decade: float = 3.0, at_least: int = 3) -> tuple[float, ...]:
    """Centres of the severity cells, evenly spaced on a log scale; (1.0,) where fixed."""
    if fault.least is None or fault.most is None:
        return (1.0,)
    span = math.log10(fault.most / fault.least)
    count = max(at_least, math.ceil(span * per_decade))
    width = math.log(fault.most / fault.least) / count
    return tuple(fault.least * math.exp((i + 0.5) * width) for i in range(count))
