"""Random stages and readings, as records: every kind of part, every field a file can state."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from hypothesis import strategies as st

from biaspredict.model import devices as dev
from biaspredict.model.parts import CAPACITORS, POTS, TERMINALS, Kind, Part
from biaspredict.model.stage import (
    GROUND,
    Assumptions,
    Chart,
    ChartEntry,
    Meter,
    Pin,
    Port,
    Rail,
    Setting,
    Stage,
    Twin,
)
from biaspredict.notation import names, reason
from biaspredict.notation.naming import Labels, name_nodes
from biaspredict.notation.outside import CHART_METER, NEEDLE_ACCURACY
from biaspredict.notation.reason import Reason
from biaspredict.notation.vocabulary import MATERIALS, amounts
from biaspredict.quantities import Tolerance

LETTERS = {
    Kind.RESISTOR: "R", Kind.CAPACITOR: "C", Kind.ELECTROLYTIC: "C", Kind.COIL: "L",
    Kind.WINDING: "T", Kind.DIODE: "D", Kind.ZENER: "Z", Kind.TRANSISTOR: "Q", Kind.FET: "Q",
    Kind.POT: "P", Kind.TRIMMER: "RV", Kind.LAMP: "LA", Kind.FUSE: "F", Kind.SWITCH: "S",
    Kind.CONTACT: "J", Kind.THERMISTOR: "TH",
}  # fmt: skip
QUOTABLE = st.text(
    st.characters(exclude_categories=("C", "Z"), include_characters=" "), max_size=30
).map(lambda text: " ".join(text.split()))


@cache
def value(why: Reason) -> st.SearchStrategy[float]:
    """A value that is possible, usual or not."""
    low, high = why.possible
    sizes = st.floats(low, high).filter(_writable)
    if why.signed and low > 0:
        sizes = st.one_of(sizes, sizes.map(lambda size: -size))
    if why.zero:
        sizes = st.one_of(st.just(0.0), sizes)
    return st.one_of(sizes, st.floats(*why.usual).filter(_writable))


def _writable(number: float) -> bool:
    """Sheets know no smaller values than these."""
    return number == 0 or abs(number) > 1e-20


@cache
def maybe(strategy: st.SearchStrategy[object]) -> st.SearchStrategy[object]:
    return st.none() | strategy


fractions = st.floats(0.0, 0.99).filter(lambda f: f == 0 or f >= 1e-6)
tolerances = st.one_of(
    fractions.map(lambda f: Tolerance(f, f)), st.builds(Tolerance, fractions, fractions)
)


@cache
def limits(why: Reason) -> st.SearchStrategy[dev.Range]:
    size = st.floats(*why.possible)
    return st.tuples(size, size).map(lambda two: dev.Range(min(two), max(two)))


@st.composite
def given_of(
    draw: st.DrawFn, generic: object, choices: dict[str, st.SearchStrategy[object]]
) -> object:
    """The generic device with some parameters stated."""
    chosen = draw(st.sets(st.sampled_from(sorted(choices))))
    for follower, leader in (("vbe_amps", "vbe"), ("drop_amps", "drop")):
        if leader not in chosen:
            chosen.discard(follower)
    values = {name: draw(choices[name]) for name in sorted(chosen)}
    given = frozenset(chosen) | generic.given  # type: ignore[attr-defined]
    return replace(generic, given=given, **values)  # type: ignore[type-var]


@cache
@st.composite
def device(draw: st.DrawFn, kind: Kind) -> dev.Device | None:
    material = draw(st.sampled_from(dev.Material))
    size = draw(st.sampled_from(dev.Size))
    said = set()
    if kind in (Kind.TRANSISTOR, Kind.DIODE):
        said = draw(st.sets(st.sampled_from(["material", "size"])))
        material = material if "material" in said else dev.Material.SILICON
        size = size if "size" in said else dev.Size.SMALL
    if kind is Kind.TRANSISTOR:
        bipolar = dev.generic_bipolar(draw(st.sampled_from(dev.Polarity)), material, size)
        choices = {
            "gain": limits(reason.GAIN),
            "vbe": value(reason.DROP),
            "vbe_amps": value(reason.DROP_AMPS),
            "icbo": value(reason.ICBO),
            "early": maybe(value(reason.EARLY)),
            "reverse_gain": value(reason.REVERSE_GAIN),
        }
        return draw(given_of(replace(bipolar, given=frozenset(said)), choices))
    if kind is Kind.DIODE:
        diode = replace(dev.generic_diode(material, size), given=frozenset(said))
        choices = {
            "drop": value(reason.DROP),
            "drop_amps": value(reason.DROP_AMPS),
            "junctions": st.integers(1, 50),
        }
        return draw(given_of(diode, choices))
    if kind is Kind.ZENER:
        zener = dev.generic_zener(draw(value(reason.ZENER_VOLTS)))
        choices = {"amps": value(reason.ZENER_AMPS), "ohms": value(reason.ZENER_OHMS)}
        return draw(given_of(replace(zener, given=frozenset({"volts"})), choices))
    if kind is Kind.FET:
        fet = dev.generic_fet(draw(st.sampled_from(dev.Channel)))
        return draw(
            given_of(fet, {"idss": limits(reason.IDSS), "pinch_off": limits(reason.PINCH_OFF)})
        )
    if kind is Kind.LAMP:
        return dev.Lamp(draw(value(reason.LAMP_VOLTS)), draw(value(reason.LAMP_AMPS)))
    if kind is Kind.THERMISTOR:
        return dev.Thermistor(draw(value(reason.BETA)))
    return None


@st.composite
def part(draw: st.DrawFn, number: int) -> Part:
    """A part with nodes still empty."""
    kind = draw(st.sampled_from(Kind))
    ref = f"{LETTERS[kind]}{number}{draw(st.sampled_from(['', '', 'A', 'b']))}"
    if draw(st.integers(0, 9)) == 0:
        ref = f"odd-{number}"
    fields: dict[str, object] = {"device": draw(device(kind))}
    if kind in CAPACITORS:
        plain = ["", "film", "paper oil", "non-polar", "tantalum non-polar"]
        polar = ["", "tantalum", "aluminium"]
        fields["dielectric"] = draw(st.sampled_from(plain if kind is Kind.CAPACITOR else polar))
        fields["can"] = draw(st.sampled_from(["", "C9", "can-2"]))
    dielectric = str(fields.get("dielectric", ""))
    for name, why in amounts(kind, dielectric):
        if name == "printed":
            needed = kind in (Kind.RESISTOR, Kind.THERMISTOR, Kind.POT, Kind.TRIMMER)
            needed = needed or kind in CAPACITORS
            for which in ("printed", "fitted", "measured"):
                must = needed and which == "printed"
                fields[which] = draw(value(why) if must else maybe(value(why)))
        elif not name.startswith("device "):
            fields[name] = draw(maybe(value(why)))
    if kind in (Kind.COIL, Kind.WINDING) and fields["ohms"] is None:
        fields["ohms"] = draw(value(reason.COIL_OHMS))
    if kind is Kind.RESISTOR and draw(st.integers(0, 9)) == 0:
        fields["printed"] = 0.0
    if kind in MATERIALS:
        found = draw(st.lists(st.sampled_from(MATERIALS[kind]), max_size=2, unique=True))
        fields["material"] = " ".join(found)
    if kind in (Kind.POT, Kind.TRIMMER):
        fields["turn"] = draw(maybe(st.floats(0, 1).filter(_writable)))
    if kind is Kind.SWITCH:
        fields["closed"] = draw(st.booleans())
    if kind not in (
        Kind.TRANSISTOR,
        Kind.FET,
        Kind.DIODE,
        Kind.LAMP,
        Kind.FUSE,
        Kind.SWITCH,
        Kind.CONTACT,
        Kind.WINDING,
    ):
        fields["tolerance"] = draw(maybe(tolerances))
    return Part(ref, kind, (), **fields)  # type: ignore[arg-type]


@cache
@st.composite
def meters(draw: st.DrawFn, base: Meter) -> Meter:
    values: dict[str, object] = {}
    if draw(st.booleans()):
        values["ohms_per_volt"] = draw(value(reason.PER_VOLT))
        base = replace(base, accuracy=NEEDLE_ACCURACY, of_range=True, digits=0)
    else:
        values["ohms"] = draw(value(reason.METER_OHMS))
    if draw(st.booleans()):
        values["accuracy"] = draw(fractions)
        base = replace(base, of_range=False)
        if draw(st.booleans()):
            values["of_range"] = True
    for name, why in (
        ("range_volts", reason.RANGE),
        ("open_volts", reason.BATTERY),
        ("middle_ohms", reason.MID_SCALE),
        ("test_volts", reason.BATTERY),
    ):
        if draw(st.booleans()):
            values[name] = draw(value(why))
    if draw(st.booleans()):
        values["digits"] = draw(st.integers(0, 1000))
    return replace(base, given=frozenset(values), **values)  # type: ignore[arg-type]


@st.composite
def assumptions(draw: st.DrawFn) -> Assumptions:
    kinds = ["resistors", "capacitors", "electrolytics", "rails", "pots"]
    values: dict[str, object] = {name: draw(tolerances) for name in kinds if draw(st.booleans())}
    if draw(st.booleans()):
        values["temperature"] = draw(value(reason.CELSIUS))
    if draw(st.booleans()):
        values["age_years"] = draw(value(reason.YEARS))
    if draw(st.booleans()):
        values["bare_capacitors"] = draw(st.sampled_from([1e-6, 1e-12, 1e-9]))
    return replace(Assumptions(), given=frozenset(values), **values)  # type: ignore[arg-type]


@st.composite
def stages(draw: st.DrawFn) -> Stage:
    """A stage of a few parts whose legs are spread over a few nodes."""
    parts = [draw(part(number)) for number in range(1, draw(st.integers(1, 6)) + 1)]
    rail_names = st.lists(st.sampled_from(["B+", "B-", "+22V", "B+2"]), max_size=2, unique=True)
    rails = [
        Rail(
            name,
            draw(value(reason.RAIL_VOLTS)),
            draw(maybe(tolerances)),
            draw(value(reason.SOURCE_OHMS)),
            draw(maybe(value(reason.SOURCE_OHMS))),
        )
        for name in draw(rail_names)
    ]
    labels = {"rails": {names.key(r.name): r.name for r in rails}}
    for what, pool in (
        ("words", ["IN", "OUT", "line-out", "a/b", "n'", "Höhe"]),
        ("pins", ["U1.5", "U1.7", "box"]),
        ("points", ["3", "12", "A"]),
        ("aliases", ["wire yellow", "hot", "wire red/blue"]),
    ):
        chosen = draw(st.lists(st.sampled_from(pool), max_size=2, unique=True))
        spell = "test point {}" if what == "points" else "{}"
        labels[what] = {names.key(spell.format(name)): name for name in chosen}
    fixed = [GROUND, *labels["rails"]]
    groups: list[list[tuple[str, str]]] = [[("word", key)] for key in fixed]
    groups += [[] for _ in range(draw(st.integers(1, 6)))]
    for one in parts:
        for leg in TERMINALS[one.kind]:
            draw(st.sampled_from(groups)).append(("leg", f"{one.ref}.{leg}"))
    for key in labels["pins"]:
        draw(st.sampled_from(groups)).append(("word", key))
    groups = [group for group in groups if group]
    for what in ("words", "points", "aliases"):
        for key in labels[what]:
            draw(st.sampled_from(groups)).append(("word", key))
    named = name_nodes(
        [tuple(group) for group in groups],
        [(one.ref, one.kind) for one in parts],
        Labels(**labels),
    )
    placed = tuple(
        replace(one, nodes=tuple(named.of["leg", f"{one.ref}.{leg}"] for leg in one.terminals))
        for one in parts
    )
    spelt = st.sampled_from(sorted({*named.nodes, *named.names}))
    # Each test point has two spellings, of which a stage keeps the short one.
    spelt = spelt.filter(lambda name: not name.startswith("test point "))

    def entry(name: str, why: Reason) -> ChartEntry:
        minus = draw(maybe(spelt))
        over = why is reason.OHMS and draw(st.integers(0, 4)) == 0
        return ChartEntry(
            name,
            named.names.get(name, name),
            float("inf") if over else draw(value(why)),
            minus,
            None if minus is None else named.names.get(minus, minus),
            draw(st.booleans()),
        )

    def setting(one: Part) -> Setting:
        two_ended = [p for p in placed if len(p.nodes) == 2]
        if two_ended and draw(st.booleans()):
            ends = draw(st.sampled_from(two_ended))
            volts = draw(value(reason.VOLTS).map(abs).filter(bool))
            return Setting(one.ref, volts, ends.ref, ends.nodes[0], None, ends.nodes[1], True)
        name, minus = draw(spelt), draw(maybe(spelt))
        return Setting(
            one.ref, draw(value(reason.VOLTS)), name, named.names.get(name, name), minus,
            None if minus is None else named.names.get(minus, minus),
        )

    charts = []
    for quantity, why in (("volts", reason.VOLTS), ("ohms", reason.OHMS)):
        if draw(st.booleans()):
            charted = draw(st.lists(spelt, min_size=1, max_size=3, unique=True))
            charts.append(
                Chart(
                    quantity,
                    tuple(entry(name, why) for name in charted),
                    draw(fractions),
                    draw(st.just(CHART_METER) | meters(CHART_METER)),
                    draw(maybe(value(reason.LINE_VOLTS))),
                )
            )
    return Stage(
        title=draw(QUOTABLE.filter(bool)),
        parts=placed,
        rails=tuple(rails),
        nodes=named.nodes,
        names=dict(named.names),
        pins=tuple(
            Pin(name, named.of["word", key], *draw(pins())) for key, name in labels["pins"].items()
        ),
        inputs=ports_at(named.nodes, draw(ports(reason.SOURCE_OHMS))),
        outputs=ports_at(named.nodes, draw(ports(reason.LOAD_OHMS))),
        points=named.points,
        charts=tuple(charts),
        assumptions=draw(assumptions()),
        notes=tuple(draw(st.lists(QUOTABLE, max_size=2))),
        twins=tuple(
            Twin(ref, f"{ref}-other")
            for ref in draw(st.lists(st.sampled_from([p.ref for p in parts]), unique=True))
        ),
        settings=tuple(
            setting(one) for one in placed
            if one.kind in POTS and one.turn is None and draw(st.booleans())
        ),
    )


@cache
def pins() -> st.SearchStrategy[tuple[float | None, float, float]]:
    """What a pin does: volts or None, ohms, amps."""
    holds = st.tuples(value(reason.PIN_VOLTS), value(reason.SOURCE_OHMS), st.just(0.0))
    takes = st.tuples(st.none(), st.just(0.0), value(reason.PIN_AMPS))
    return holds | takes


@cache
def ports(why: Reason) -> st.SearchStrategy[list[tuple[int, float | None, bool]]]:
    """Places among the nodes, ohms, and whether blocked."""
    one = st.tuples(st.integers(0, 99), maybe(value(why)), st.booleans())
    return st.lists(one, max_size=2)


def ports_at(
    nodes: tuple[str, ...], drawn: list[tuple[int, float | None, bool]]
) -> tuple[Port, ...]:
    found = {nodes[place % len(nodes)]: (ohms, blocked) for place, ohms, blocked in drawn}
    return tuple(Port(node, *said) for node, said in found.items())
