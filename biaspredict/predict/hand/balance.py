"""What follows for a node or a part once its neighbours are known."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.predict.hand.feeding import difference, parts_of, sum_of
from biaspredict.predict.hand.joined import through_step
from biaspredict.predict.hand.net import Arm, Fall, Transistor
from biaspredict.predict.hand.records import Key, Step, Values, What, volts
from biaspredict.predict.hand.sheet import Sheet, a, ohms, v
from biaspredict.predict.hand.transistor import (
    from_collector,
    from_emitter,
    junction_down,
    junction_up,
)
from biaspredict.predict.states import Region


def other_currents(sheet: Sheet, t: Transistor) -> Iterator[Step]:
    """From one current of a transistor the other two, by its gain."""
    if t.region is not Region.ACTIVE:
        return
    emitter, collector = t.key(What.EMITTER), t.key(What.COLLECTOR)
    if emitter in sheet.amps and collector not in sheet.amps:
        yield from from_emitter(sheet, t, sheet.amps[emitter], t.key(What.BASE) in sheet.amps)
    elif collector in sheet.amps and emitter not in sheet.amps:
        yield from from_collector(sheet, t, sheet.amps[collector])


def clamp(sheet: Sheet, t: Transistor) -> Iterator[Step]:
    """Base from emitter, or emitter from base."""
    if t.region not in (Region.ACTIVE, Region.SATURATED):
        return
    if t.emitter in sheet.volts and t.base not in sheet.volts:
        yield junction_up(t, sheet.volts[t.emitter])
    elif t.base in sheet.volts and t.emitter not in sheet.volts:
        yield junction_down(t, sheet.volts[t.base])


def drop(sheet: Sheet, fall: Fall) -> Iterator[Step]:
    """One end of a conducting diode or zener from the other."""
    key = Key(What.DROP, fall.ref)
    kind = "zener" if fall.zener else "diode"
    for here, there, sign in ((fall.high, fall.low, -1.0), (fall.low, fall.high, 1.0)):
        if here in sheet.volts and there not in sheet.volts:
            at = volts(here)
            held = sheet.volts[here]

            def work(values: Values, at: Key = at, sign: float = sign) -> float:
                return values[at] + sign * values[key]

            yield Step(there, f"{there}: {v(fall.volts)} across {fall.ref}, a conducting {kind}",
                       difference(held, -sign * fall.volts), volts(there),
                       held + sign * fall.volts, ((at, held), (key, fall.volts)), work)
            return


def node(sheet: Sheet, name: str) -> Iterator[Step]:
    """A node fed through resistances, all currents drawn from them known."""
    left_out = sheet.following()
    feed = sheet.feed(name, left_out)
    if feed is None or not feed.ohms:
        return
    notes: tuple[str, ...] = ()
    if any(key in left_out for key in feed.currents):
        notes = ("the base current of what follows is left out",)
    owner = next((t.ref for t in sheet.net.transistors if name in (t.collector, t.emitter)), name)
    title = f"{name} by {parts_of(feed)}"
    if len(feed.star or ()) == 1 and feed.currents:
        title = f"{name}: what {parts_of(feed)} drops"
    yield Step(owner, title, sum_of(feed), volts(name), feed.volts, feed.inputs, feed.work,
               notes=notes)


SMALL = 50.0  # ohms of a resistance whose drop may be left out
SLIGHT = 0.25  # volts across it up to which that is done

Flow = tuple[Key, float, float]  # a current, its amps, amps into the node for each of it


def flows(sheet: Sheet, name: str) -> tuple[list[Flow], list[Arm], list[tuple[Key, float]]]:
    """Currents at a node that are known, resistances and leads whose currents are not."""
    known: list[Flow] = []
    arms: list[Arm] = []
    leads: list[tuple[Key, float]] = []
    for arm in sheet.net.arms_at.get(name, ()):
        amps = sheet.through(arm)
        if amps is None or arm.key is None:
            arms.append(arm)
        else:
            known.append((arm.key, amps, -1.0 if arm.a == name else 1.0))
    for key, way in sheet.net.leads_at.get(name, ()):
        if key in sheet.amps:
            known.append((key, sheet.amps[key], way))
        else:
            leads.append((key, way))
    return known, arms, leads


def remainder(sheet: Sheet, name: str) -> Iterator[Step]:
    """The one current at a node that its neighbours leave."""
    if name in sheet.net.fixed or name in sheet.guessed or name not in sheet.volts:
        return
    known, arms, leads = flows(sheet, name)
    bases = [lead for lead in leads if lead[0].what is What.BASE]
    others = [lead for lead in leads if lead[0].what is not What.BASE]
    if not any(amps for _, amps, _ in known) or len(arms) + len(others) > 1:
        return
    if not arms and not others:
        if len(bases) != 1 or name in sheet.closed:
            return
        others, bases = bases, []
    total = sum(way * amps for _, amps, way in known)
    for key, _, _ in known:
        if key.what is What.AMPS and key not in sheet.amps:
            yield through_step(sheet, key.name, name)
    left_out = tuple((key, 0.0) for key, _ in bases)
    inputs = (*((key, amps) for key, amps, _ in known), *left_out)
    ways = dict((*((key, way) for key, _, way in known), *bases))
    sums = _sum(known)
    notes = ("base currents are left out",) if bases else ()
    if others:
        (key, way), = others

        def work(values: Values) -> float:
            return -sum(w * values[k] for k, w in ways.items()) / way

        yield Step(_owner(key, name), f"{_words(key)}: all that {name} leaves it", sums, key,
                   -total / way, inputs, work, notes=notes)
    else:
        (arm,) = arms
        assert arm.key is not None
        out = 1.0 if arm.a == name else -1.0

        def along(values: Values) -> float:
            return out * sum(w * values[k] for k, w in ways.items())

        amps = out * total
        yield Step(name, f"current through {arm.words}: all that {name} leaves it", sums, arm.key,
                   amps, inputs, along, notes=notes)


def slight(sheet: Sheet, arm: Arm) -> Iterator[Step]:
    """Both ends of a small resistance taken as one, where no step tells what it carries."""
    if arm.ohms > SMALL or (arm.a in sheet.volts) == (arm.b in sheet.volts):
        return
    solved = {**sheet.net.fixed, **sheet.net.solved}
    if arm.key is None or abs(solved[arm.a] - solved[arm.b]) > SLIGHT:
        return
    here, there = (arm.a, arm.b) if arm.a in sheet.volts else (arm.b, arm.a)
    at, held, current = volts(here), sheet.volts[here], arm.key
    sign = -1.0 if here == arm.a else 1.0
    yield Step(there, f"{there}, the little across {arm.words} left out", v(held), volts(there),
               held, ((at, held), (current, 0.0)),
               lambda values: values[at] + sign * values[current] * arm.ohms,
               notes=(f"what flows through {arm.words} is left out",))


def far_end(sheet: Sheet, arm: Arm) -> Iterator[Step]:
    """The far end of a resistance whose current is known."""
    if arm.key not in sheet.amps or arm.key is None:
        return
    amps, current = sheet.amps[arm.key], arm.key
    for here, there, sign in ((arm.a, arm.b, -1.0), (arm.b, arm.a, 1.0)):
        if here in sheet.volts and there not in sheet.volts:
            at, held = volts(here), sheet.volts[here]
            moved = sign * amps * arm.ohms

            def work(values: Values, at: Key = at, sign: float = sign) -> float:
                return values[at] + sign * values[current] * arm.ohms

            text = f"{a(abs(amps))} x {ohms(arm.ohms)}"
            if held or moved < 0.0:
                text = f"{v(held)} {'+' if moved >= 0 else '-'} {text}"
            yield Step(there, f"{there}, at the far end of {arm.words}", text, volts(there),
                       held + moved, ((at, held), (current, amps)), work)
            return


def _owner(key: Key, name: str) -> str:
    return name if key.what in (What.THROUGH, What.TAKEN, What.AMPS) else key.name


def _words(key: Key) -> str:
    if key.what is What.THROUGH:
        return f"current through {key.name}"
    return str(key.what.value)


def _sum(known: list[Flow]) -> str:
    """Currents in, less currents out, or the other way round, whichever is above nothing."""
    signed = [way * amps for _, amps, way in known if amps]
    if not signed:
        return "0 A"
    if sum(signed) < 0:
        signed = [-x for x in signed]
    ordered = sorted(signed, reverse=True)
    text = a(ordered[0]) if ordered[0] >= 0 else f"- {a(-ordered[0])}"
    return text + "".join(f" {'+' if x >= 0 else '-'} {a(abs(x))}" for x in ordered[1:])
