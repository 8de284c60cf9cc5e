"""Emitters that share a node: differential pairs and complementary followers, and FETs."""

from __future__ import annotations

import math
from collections.abc import Iterator

from biaspredict.predict.hand.feeding import difference, parts_of, sum_of
from biaspredict.predict.hand.net import Junctionless, Transistor
from biaspredict.predict.hand.records import Key, Step, Values, What, volts
from biaspredict.predict.hand.sheet import Sheet, a, ohms, v
from biaspredict.predict.hand.transistor import from_emitter, junction_down, reckoned
from biaspredict.predict.states import Region

ALIKE = 0.1  # volts between two bases up to which a pair is said to share its current alike


def pairs(sheet: Sheet) -> Iterator[tuple[Transistor, ...]]:
    """Conducting transistors of one polarity whose emitters meet and whose currents are open."""
    by_emitter: dict[tuple[str, float], list[Transistor]] = {}
    for t in sheet.net.transistors:
        if t.region is Region.ACTIVE and not reckoned(sheet, t):
            by_emitter.setdefault((t.emitter, t.sign), []).append(t)
    yield from (tuple(some) for some in by_emitter.values() if len(some) > 1)


def common_emitter(sheet: Sheet) -> Iterator[Step]:
    """The node where emitters meet, from the base that stands highest (PNP: lowest)."""
    for pair in pairs(sheet):
        if pair[0].emitter in sheet.volts:
            continue
        known: list[tuple[Transistor, float]] = []
        found: list[Step] = []
        for t in pair:
            if t.base in sheet.volts:
                known.append((t, sheet.volts[t.base]))
                continue
            step = unloaded(sheet, t)
            if step is not None:
                found.append(step)
                known.append((t, step.hand))
        if not known:
            continue
        yield from found
        leader, base = max(known, key=lambda one: one[0].sign * one[1])
        yield junction_down(leader, base)
        return


def halves(sheet: Sheet) -> Iterator[Step]:
    """Where nothing else tells them apart, the pair shares its current alike."""
    net = sheet.net
    for pair in pairs(sheet):
        node = pair[0].emitter
        if node not in sheet.volts:
            continue
        open_keys = {t.key(What.EMITTER) for t in pair}
        at = [sheet.volts[t.base] for t in pair if t.base in sheet.volts]
        if at and max(at) - min(at) > ALIKE:
            continue
        # Amps that flow into the node by everything else.
        total, terms = 0.0, []
        for arm in net.arms_at.get(node, ()):
            amps = sheet.through(arm)
            if amps is None or arm.key is None:
                break
            sign = -1.0 if arm.a == node else 1.0
            total += sign * amps
            terms.append((arm.key, amps, sign))
        else:
            for key, way in net.leads_at.get(node, ()):
                if key in open_keys:
                    continue
                if key not in sheet.amps and key.what is not What.BASE:
                    break
                value = sheet.amps.get(key, 0.0)
                total += way * value
                terms.append((key, value, way))
            else:
                yield from _shared(sheet, pair, total, terms)
                return


def _shared(
    sheet: Sheet, pair: tuple[Transistor, ...], total: float, terms: list[tuple[Key, float, float]]
) -> Iterator[Step]:
    node, count, sign = pair[0].emitter, len(pair), pair[0].sign
    tail = -sign * total
    for arm in sheet.net.arms_at.get(node, ()):
        if arm.key is not None and arm.key not in sheet.amps:
            yield through_step(sheet, arm.key.name, node)
    for t in pair:
        others = tuple(o.key(What.EMITTER) for o in pair if o is not t)

        def work(values: Values, rest: tuple[Key, ...] = others) -> float:
            whole = -sign * sum(way * values[key] for key, _, way in terms)
            return whole - sum(values[key] for key in rest)

        inputs = (*((key, value) for key, value, _ in terms),
                  *((key, tail / count) for key in others))
        yield Step(t.ref, f"emitter current: one {'half' if count == 2 else 'part'} of the pair's",
                   f"{a(tail)} / {count}", t.key(What.EMITTER), tail / count, inputs, work,
                   notes=("a matched pair shares its current alike",), assumes=others)
        yield from from_emitter(sheet, t, tail / count)


def through_step(sheet: Sheet, name: str, about: str) -> Step:
    """The current of a resistance by Ohm's law."""
    arm = next(arm for arm in sheet.net.arms if arm.key is not None and arm.key.name == name)
    assert arm.key is not None
    first, second = volts(arm.a), volts(arm.b)
    one, other = sheet.volts[arm.a], sheet.volts[arm.b]
    text = difference(one, other) if one >= other else difference(other, one)
    whole = f"({text})" if one and other else text
    return Step(about, f"current through {arm.words}", f"{whole} / {ohms(arm.ohms)}", arm.key,
                (one - other) / arm.ohms, ((first, one), (second, other)),
                lambda values: (values[first] - values[second]) / arm.ohms)


def unloaded(sheet: Sheet, t: Transistor) -> Step | None:
    """The base by its feed alone, its own current left out."""
    own = t.key(What.BASE)
    feed = sheet.feed(t.base, (own, *sheet.bases(t)))
    if feed is None or t.base in sheet.volts or t.collector in feed.inside:
        return None
    title = f"{t.ref}.base by {parts_of(feed)}, base current left out"
    return Step(t.ref, title, sum_of(feed), volts(t.base), feed.volts, feed.inputs, feed.work,
                notes=("base currents are left out",))


def junction_fet(sheet: Sheet, fet: Junctionless) -> Iterator[Step]:
    """Gate, then the drain current at which square law and source resistor agree."""
    drain = fet.key(What.DRAIN)
    if drain in sheet.amps or fet.region not in (Region.ACTIVE, Region.SATURATED):
        return
    gate = sheet.feed(fet.gate, sheet.bases())
    source = sheet.feed(fet.source, (drain, *sheet.bases()))
    if gate is None or source is None:
        return
    if fet.gate not in sheet.volts:
        yield Step(fet.ref, f"{fet.ref}.gate by {parts_of(gate)}: a gate takes no current",
                   sum_of(gate), volts(fet.gate), gate.volts, gate.inputs, gate.work)
    at = volts(fet.gate)

    def work(values: Values) -> float:
        free = {**values, drain: 0.0}
        return _square_law(fet, fet.sign * (values[at] - source.work(free)), source.ohms)

    inputs = ((at, gate.volts), *(pair for pair in source.inputs if pair[0] != drain))
    amps = work(dict(inputs))
    vgs = -(math.sqrt(amps / fet.idss) - 1.0) * fet.pinch_off
    yield Step(
        fet.ref, "drain current, where the square law and the source resistor agree",
        f"{a(fet.idss)} x (1 - {v(vgs)} / {v(fet.pinch_off)})^2", drain, amps, inputs, work,
        notes=(
            f"V_GS is then {'-' if fet.sign > 0 else ''}{v(vgs)}: {a(amps)} x {ohms(source.ohms)} "
            f"= {v(amps * source.ohms)} across {parts_of(source)}, and "
            f"IDSS {a(fet.idss)}, pinch-off {v(fet.pinch_off)} are the middle of their spread",
        ),
    )
    if fet.source in sheet.volts:
        return

    def stands(values: Values) -> float:
        free = {**values, drain: 0.0}
        return source.work(free) + fet.sign * values[drain] * source.ohms

    rise = f"{a(amps)} x {ohms(source.ohms)}"
    if source.volts or fet.sign < 0:
        rise = f"{v(source.volts)} {'+' if fet.sign > 0 else '-'} {rise}"
    yield Step(fet.ref, f"{fet.ref}.source, by {parts_of(source)}", rise, volts(fet.source),
               source.volts + fet.sign * amps * source.ohms,
               (*(pair for pair in source.inputs if pair[0] != drain), (drain, amps)), stands)


def _square_law(fet: Junctionless, above: float, source_ohms: float) -> float:
    """I = idss (1 + (above - I R) / pinch_off)^2, the root at which the channel conducts."""
    start = 1.0 + above / fet.pinch_off
    if start <= 0.0:
        return 0.0
    slope = source_ohms / fet.pinch_off
    if slope <= 0.0:
        return fet.idss * start**2
    # idss slope^2 I^2 - (1 + 2 idss start slope) I + idss start^2 = 0
    square, middle = fet.idss * slope**2, 1.0 + 2.0 * fet.idss * start * slope
    return (middle - math.sqrt(middle**2 - 4.0 * square * fet.idss * start**2)) / (2.0 * square)
