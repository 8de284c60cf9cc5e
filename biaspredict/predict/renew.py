"""What to order when a stage's electrolytics are renewed, and what to leave alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

from biaspredict.engine.solver import Solver
from biaspredict.errors import Unsolved
from biaspredict.graph.capacitors import Role, capacitor_role
from biaspredict.graph.network import network
from biaspredict.graph.supply import mains
from biaspredict.model.circuit import Variation
from biaspredict.model.devices import Bipolar, Material
from biaspredict.model.parts import CAPACITORS, Kind, Part
from biaspredict.model.stage import Stage
from biaspredict.predict import advice
from biaspredict.predict.bias import Level
from biaspredict.predict.dryness import dries
from biaspredict.predict.on_capacitors import Engine, OnCapacitors, as_drawn, on_capacitors
from biaspredict.predict.ordering import LEAKY_WITH_AGE, Order, order, sheet_value
from biaspredict.predict.rectifying import rectifiers
from biaspredict.predict.steady import Steady, settle
from biaspredict.predict.supply_faults import smoothing

SHAPING = frozenset({"tone", "feedback", "Miller"})
STIFF = 1e3  # hertz above which a decoupling capacitor stands at something stiffer than itself
ABOVE = 1.1  # of the volts predicted, that a new part stands at least: the line may be high


class Advice(Enum):
    """What to do with a capacitor."""

    RENEW = "renew"
    LEAVE = "leave"  # it does not age as electrolytics do
    KEEP_VALUE = "keep its value"  # and it shapes the response


class Effect(Enum):
    """What `before` and `after` of an item count."""

    CORNER = "corner"  # hertz
    RIPPLE = "ripple"  # volts peak to peak


@dataclass(frozen=True, slots=True)
class Item:
    """One capacitor of the sheet.

    fellow: reference of the same part in the other channel, or empty. does: its duty in a word.
    farads, working: as the sheet has them; None where it does not say. level: DC volts from plus
    to minus with the band of sound stages, None where not known. most: the highest volts that it
    stands, ripple and a high line included. ripple: volts peak to peak and amps: rms, in a
    supply. order: what to buy, None where it stays. effect, before, after: what the new value
    changes. plus, minus: nodes that its ends face; polar: whether it minds. remarks: short
    sentences; warnings: what must be settled before the iron is hot.
    """

    ref: str
    fellow: str
    advice: Advice
    does: str
    dielectric: str
    can: str
    farads: float | None
    working: float | None
    level: Level | None
    most: float | None
    ripple: float | None
    amps: float | None
    order: Order | None
    effect: Effect | None
    before: float | None
    after: float | None
    polar: bool
    plus: str
    minus: str
    remarks: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        """Parts to buy, the other channel's included."""
        return 0 if self.order is None else 1 + bool(self.fellow)


@dataclass(frozen=True, slots=True)
class Renewal:
    """One stage: every capacitor in the order of the sheet.

    germanium: transistors that are better left alone. remarks: on the whole stage. withheld:
    what could not be predicted, and why.
    """

    stage: Stage
    items: tuple[Item, ...]
    germanium: tuple[str, ...]
    remarks: tuple[str, ...]
    withheld: tuple[str, ...]

    @property
    def renewed(self) -> tuple[Item, ...]:
        return tuple(item for item in self.items if item.order is not None)

    @property
    def left(self) -> tuple[Item, ...]:
        return tuple(item for item in self.items if item.order is None)

    @property
    def warned(self) -> bool:
        return any(item.warnings for item in self.items)


@dataclass(frozen=True, slots=True)
class Total:
    """One line of an order: so many parts of one value, volts and make.

    where: (place among the stages, references there), in their order.
    """

    farads: float
    volts: float | None
    make: str
    count: int
    where: tuple[tuple[int, tuple[str, ...]], ...]


def renewal(stage: Stage, engine: Engine, drawer: Solver, *, fellows: bool = True) -> Renewal:
    """The list for one stage.

    fellows: count the parts of the other channel, where the stage maps them. A stage that cannot
    be predicted is listed by its sheet alone. Raises EngineMissing.
    """
    drawn = as_drawn(stage)
    facts = on_capacitors(drawn, engine, drawer)
    own = {part.ref for part in stage.parts}
    other = {t.mine: t.other for t in stage.twins if t.other not in own} if fellows else {}
    items = [
        _item(drawn, part, stage.part(part.ref), other.get(part.ref, ""), facts)
        for part in drawn.parts
        if part.kind in CAPACITORS
    ]
    remarks: list[str] = []
    after = _rested(drawn, items, facts, engine)
    if after is not None and facts.supply is not None:
        items = [_with_ripple(drawn, item, facts, after) for item in items]
        remarks += advice.harder_rectifiers(
            facts.supply.rectifiers, rectifiers(facts.supply.side, after)
        )
    germanium = tuple(
        part.ref
        for part in stage.parts
        if isinstance(part.device, Bipolar) and part.device.material is Material.GERMANIUM
    )
    return Renewal(stage, tuple(items), germanium, tuple(remarks), tuple(facts.withheld))


def totals(renewals: Sequence[Renewal]) -> tuple[Total, ...]:
    """The order for a whole set of stages, smallest values first."""
    wanted: dict[tuple[float, float | None, str], dict[int, list[str]]] = {}
    for place, found in enumerate(renewals):
        for item in found.renewed:
            assert item.order is not None
            for farads in filter(None, (item.order.farads, item.order.beside)):
                key = (farads, item.order.volts, item.order.make)
                refs = wanted.setdefault(key, {}).setdefault(place, [])
                refs += [ref for ref in (item.ref, item.fellow) if ref]
    lines = [
        Total(
            *key,
            sum(len(refs) for refs in where.values()),
            tuple((place, tuple(refs)) for place, refs in where.items()),
        )
        for key, where in wanted.items()
    ]
    return tuple(sorted(lines, key=lambda t: (t.make, t.farads, t.volts or math.inf)))


def _item(stage: Stage, part: Part, today: Part, fellow: str, facts: OnCapacitors) -> Item:
    role = _role(stage, part)
    does = _does(stage, part, role, facts)
    chosen = _advice(part, does)
    level, most, needed = _volts(part, facts)
    bought = None
    if chosen is Advice.RENEW:
        exact = role is Role.TONE
        bought = order(part, stage.tolerance(part), needed, exact=exact)
    before, after = _corner(part, bought, does, facts)
    stored = facts.stored.get(part.ref)
    electrolytic = part.kind is Kind.ELECTROLYTIC
    return Item(
        part.ref,
        fellow,
        chosen,
        does,
        part.dielectric or ("electrolytic" if electrolytic else ""),
        part.can,
        sheet_value(part),
        part.volts,
        level,
        most,
        stored.ripple if stored else None,
        stored.amps if stored else None,
        bought,
        Effect.CORNER if before is not None else None,
        before,
        after,
        electrolytic and part.dielectric != advice.NON_POLAR,
        part.nodes[0],
        part.nodes[1],
        tuple(advice.remarks(part, today, bought, level, facts, stage)),
        tuple(advice.warnings(part, bought, level, stored)),
    )


def _role(stage: Stage, part: Part) -> Role:
    return capacitor_role(stage, part) if part.ref in network(stage).branches else Role.IDLE


def _advice(part: Part, does: str) -> Advice:
    if dries(part) or part.dielectric in LEAKY_WITH_AGE:
        return Advice.RENEW
    return Advice.KEEP_VALUE if does in SHAPING else Advice.LEAVE


def _does(stage: Stage, part: Part, role: Role, facts: OnCapacitors) -> str:
    side = mains(stage)
    if side is not None:
        fed = {feed.node for feed in side.feeds}
        if not fed.isdisjoint(part.nodes) and role is Role.DECOUPLING:
            return "reservoir"
        if not side.swinging.isdisjoint(part.nodes):
            return "doubler" if dries(part) else "mains filter"
    return facts.duties.get(part.ref, role.value)


def _volts(part: Part, facts: OnCapacitors) -> tuple[Level | None, float | None, float | None]:
    """DC with its band, the highest volts it stands, and the volts to buy for."""
    level, stored = facts.levels.get(part.ref), facts.stored.get(part.ref)
    if level is None and stored is not None:
        level = Level(stored.mean, stored.mean, stored.mean)
    if level is None:
        return None, None, None
    most = max(abs(level.low), abs(level.high))
    if stored is not None:
        most = max(most, abs(stored.highest), abs(stored.lowest))
    needed = ABOVE * most
    if stored is not None and stored.unloaded is not None:
        needed = max(needed, abs(stored.unloaded))  # the line is high there already
        most = max(most, abs(stored.unloaded))
    return level, most, needed


def _corner(
    part: Part, bought: Order | None, does: str, facts: OnCapacitors
) -> tuple[float | None, float | None]:
    """Hertz of its corner with the sheet's value, and with the new one; None where none counts."""
    seen, farads = facts.seen.get(part.ref), sheet_value(part)
    if seen is None or bought is None or not farads or rippled(part, facts):
        return None, None
    ohms, there = seen
    corners = [1.0 / (2.0 * math.pi * ohms * f) for f in (there, there - farads + bought.total)]
    if does == Role.DECOUPLING.value and corners[0] > STIFF:
        return None, None
    return corners[0], corners[1]


def rippled(part: Part, facts: OnCapacitors) -> bool:
    """Whether a capacitor is there to hold ripple down."""
    stored = facts.stored.get(part.ref)
    if stored is None or facts.supply is None:
        return False
    return part.ref in {p.ref for p in smoothing(facts.supply)}


def _rested(
    stage: Stage, items: Sequence[Item], facts: OnCapacitors, engine: Engine
) -> Steady | None:
    """The supply at rest with all new capacitors in it."""
    found = facts.supply
    if found is None:
        return None
    scales = tuple(
        (f"{item.ref}.farads", item.order.total / item.farads)
        for item in items
        if item.order is not None and item.farads
    )
    try:
        return settle(
            found.circuit, found.side, found.hertz, engine, Variation(scales=scales), found.steady
        )
    except Unsolved as problem:
        facts.withheld.append(f"No ripple with the new parts: {problem.fact}.")
        return None


def _with_ripple(stage: Stage, item: Item, facts: OnCapacitors, after: Steady) -> Item:
    """The item with what the new value changes in the ripple across it."""
    part = stage.part(item.ref)
    if item.order is None or not rippled(part, facts):
        return item
    volts = after.across(*part.nodes)
    return replace(
        item,
        effect=Effect.RIPPLE,
        before=facts.stored[item.ref].ripple,
        after=float(volts.max() - volts.min()),
    )
