"""One transistor by hand: its base, what the base takes, its emitter, its collector."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from biaspredict.predict.hand.feed import Feed
from biaspredict.predict.hand.feeding import difference, parts_of, side_by_side, sum_of
from biaspredict.predict.hand.net import Transistor
from biaspredict.predict.hand.records import Key, Step, Values, What, volts
from biaspredict.predict.hand.sheet import TOO_FEW, Sheet, a, ohms, v
from biaspredict.predict.states import Region

LITTLE = 0.1  # volts of drive that the spread of V_BE may well use up
SMALL = 50.0  # ohms in an emitter that carry an idle current of their own choosing
SETS_ALL = 0.1  # share of a base feed's volts that its base current takes, where that sets the bias


@dataclass(frozen=True, slots=True)
class Ends:
    """A transistor with what feeds its base and its emitter."""

    t: Transistor
    base: Feed
    emitter: Feed
    hung: Transistor | None = None  # the transistor whose base hangs on the emitter

    @property
    def above(self) -> float:
        """Volts that drive the base current, the junction's own taken off."""
        hung = self.hung.vbe if self.hung else 0.0
        return self.t.sign * (self.base.volts - self.emitter.volts) - self.t.vbe - hung

    @property
    def multiplied(self) -> float:
        """Ohms of the emitter as one ampere of collector current per unit of gain feels them."""
        return self.emitter.ohms * (self.hung.gain + 1.0 if self.hung else 1.0)

    @property
    def seen(self) -> float:
        """Ohms that the base current meets in all."""
        return self.base.ohms + (self.t.gain + 1.0) * self.multiplied

    @property
    def base_current(self) -> float:
        return self.above / self.seen if self.seen else 0.0


def ends_of(sheet: Sheet, t: Transistor) -> Ends | None:
    """Both feeds of a transistor, or None where one hangs on what is not known."""
    own = t.key(What.BASE)
    base = sheet.feed(t.base, (own, *sheet.following(t)))
    if base is None or t.collector in base.inside or t.emitter in base.inside:
        return None
    emitter = sheet.feed(t.emitter, (t.key(What.EMITTER), *sheet.following(t)))
    if emitter is not None:
        return Ends(t, base, emitter)
    return _darlington(sheet, t, base)


def _darlington(sheet: Sheet, t: Transistor, base: Feed) -> Ends | None:
    """The emitter feeds another base and nothing else."""
    nexts = [
        n for n in sheet.net.transistors
        if n.base == t.emitter and n.sign == t.sign and n.key(What.BASE) not in sheet.amps
    ]
    others = [key for key, _ in sheet.net.leads_at[t.emitter] if key.what is not What.BASE]
    if len(nexts) != 1 or len(others) != 1 or sheet.net.arms_at.get(t.emitter):
        return None
    (following,) = nexts
    emitter = sheet.feed(following.emitter, (following.key(What.EMITTER),))
    return None if emitter is None else Ends(t, base, emitter, following)


def _rests_on_little(ends: Ends) -> bool:
    """Whether a fixed V_BE leaves so little to drive a current that no current can be told."""
    if ends.base.ohms:
        return abs(ends.above) < LITTLE
    return 0.0 < ends.emitter.ohms < SMALL and abs(ends.above) < TOO_FEW


def base_sets_all(ends: Ends) -> bool:
    """Whether the base current is what sets the bias, so that it cannot be left out."""
    taken = ends.base_current * ends.base.ohms
    return ends.base.single and abs(taken) > SETS_ALL * abs(ends.base.volts - ends.emitter.volts)


def reckoned(sheet: Sheet, t: Transistor) -> bool:
    """Whether one of its currents is known."""
    return any(t.key(w) in sheet.amps for w in (What.BASE, What.EMITTER, What.COLLECTOR))


def steps(sheet: Sheet, t: Transistor) -> Iterator[Step]:
    """The base loop of a transistor, where its base and emitter are fed by what is known."""
    if t.region is not Region.ACTIVE or reckoned(sheet, t):
        return
    if t.base in sheet.volts and t.emitter in sheet.volts:
        return
    ends = ends_of(sheet, t)
    if ends is None or _rests_on_little(ends) or (ends.above < 0.0 and not sheet.supposing):
        return
    if not ends.base.ohms:
        yield from _from_a_held_base(sheet, ends)
    elif not sheet.reckoning.own and not base_sets_all(ends):
        yield _divider(ends, rough=False)
        yield from _from_a_held_base(sheet, ends)
    elif not ends.emitter.ohms and ends.hung is None:
        yield from _grounded_emitter(sheet, ends)
    elif ends.base.single or not sheet.reckoning.difference:
        if not ends.base.single:
            yield _divider(ends, rough=True)
        yield _base_current(ends)
        yield from _up_from_the_emitter(sheet, ends)
    else:
        yield _divider(ends, rough=True)
        yield _base_current(ends)
        yield _loaded(ends)
        yield from _down_from_the_base(sheet, ends)


def _divider(ends: Ends, rough: bool) -> Step:
    t, feed = ends.t, ends.base
    own = t.key(What.BASE)
    draw = -t.sign * feed.ohms

    def work(values: Values) -> float:
        return feed.work(values) + draw * values[own]

    inputs = feed.inputs if own in feed.values else (*feed.inputs, (own, 0.0))
    weights = feed.work if own in feed.values else work
    return Step(
        t.ref, f"{t.ref}.base by {parts_of(feed)}, base current left out", sum_of(feed),
        volts(t.base), feed.volts, inputs, weights, rough, ("base currents are left out",),
    )


def _base_current(ends: Ends) -> Step:
    """The drive over the ohms that the base current meets: source, and gain times the emitter's."""
    t, hung = ends.t, ends.hung
    vbe, gain = t.key(What.JUNCTION), t.key(What.GAIN)
    inputs = [*ends.base.inputs, *ends.emitter.inputs, (vbe, t.vbe), (gain, t.gain)]
    if hung is not None:
        inputs += [(hung.key(What.JUNCTION), hung.vbe), (hung.key(What.GAIN), hung.gain)]
    own = {t.key(What.BASE), t.key(What.EMITTER)}
    if hung is not None:
        own.add(hung.key(What.EMITTER))
    inputs = [pair for pair in dict(inputs).items() if pair[0] not in own]

    def work(values: Values) -> float:
        free = {**values, **dict.fromkeys(own, 0.0)}
        above = t.sign * (ends.base.work(free) - ends.emitter.work(free)) - values[vbe]
        ohms_there = ends.emitter.ohms
        if hung is not None:
            above -= values[hung.key(What.JUNCTION)]
            ohms_there *= values[hung.key(What.GAIN)] + 1.0
        return above / (ends.base.ohms + (values[gain] + 1.0) * ohms_there)

    drive = difference(ends.base.volts, ends.emitter.volts)
    if t.sign < 0:
        drive = difference(ends.emitter.volts, ends.base.volts)
    drive += f" - {v(t.vbe)}" + (f" - {v(hung.vbe)}" if hung else "")
    met = ohms(ends.base.ohms)
    if ends.multiplied:
        times = f"{t.gain + 1.0:.4g}" + (f" x {hung.gain + 1.0:.4g}" if hung else "")
        met += f" + {times} x {ohms(ends.emitter.ohms)}"
    said, total = side_by_side(ends.base), ohms(ends.base.ohms)
    through = said if said == total else f"{said} = {total}"
    notes = () if ends.base.single else (f"the base is fed through {through}",)
    return Step(
        t.ref, f"what the base of {t.ref} takes",
        f"({drive}) / ({met})", t.key(What.BASE), ends.base_current,
        tuple(inputs), work, notes=notes,
    )


def _loaded(ends: Ends) -> Step:
    """The divider with the base current drawn from it."""
    t, feed = ends.t, ends.base
    own = t.key(What.BASE)
    ib = ends.base_current

    def work(values: Values) -> float:
        free = {**values, own: 0.0}
        return feed.work(free) - t.sign * values[own] * feed.ohms

    inputs = (*(pair for pair in feed.inputs if pair[0] != own), (own, ib))
    sign = "-" if t.sign * ib > 0 else "+"
    return Step(
        t.ref, f"{t.ref}.base with it taken",
        f"{v(feed.volts)} {sign} {a(abs(ib))} x {ohms(feed.ohms)}", volts(t.base),
        feed.volts - t.sign * ib * feed.ohms, inputs, work,
    )


def junction_down(t: Transistor, base: float) -> Step:
    """The emitter from the base."""
    key, vbe = volts(t.base), t.key(What.JUNCTION)
    return Step(
        t.ref, f"V_BE: the emitter stands {v(t.vbe)} {'below' if t.sign > 0 else 'above'} the base",
        difference(base, t.sign * t.vbe), volts(t.emitter), base - t.sign * t.vbe,
        ((key, base), (vbe, t.vbe)), lambda values: values[key] - t.sign * values[vbe],
    )


def junction_up(t: Transistor, emitter: float) -> Step:
    """The base from the emitter."""
    key, vbe = volts(t.emitter), t.key(What.JUNCTION)
    return Step(
        t.ref, f"V_BE: the base stands {v(t.vbe)} {'above' if t.sign > 0 else 'below'} the emitter",
        difference(emitter, -t.sign * t.vbe), volts(t.base), emitter + t.sign * t.vbe,
        ((key, emitter), (vbe, t.vbe)), lambda values: values[key] + t.sign * values[vbe],
    )


def _from_a_held_base(sheet: Sheet, ends: Ends) -> Iterator[Step]:
    t = ends.t
    down = junction_down(t, ends.base.volts)
    yield down
    if ends.emitter.ohms and ends.hung is None:
        current = _emitter_current(ends, down.hand)
        yield current
        yield from from_emitter(sheet, t, current.hand)


def _down_from_the_base(sheet: Sheet, ends: Ends) -> Iterator[Step]:
    t, ib = ends.t, ends.base_current
    base = ends.base.volts - t.sign * ib * ends.base.ohms
    down = junction_down(t, base)
    yield down
    if ends.hung is None:
        current = _emitter_current(ends, down.hand)
        yield current
        yield from from_emitter(sheet, t, current.hand, told=True)
    else:
        yield from from_base(sheet, t, ib)


def _up_from_the_emitter(sheet: Sheet, ends: Ends) -> Iterator[Step]:
    """Books reckon a base fed by one resistor this way: currents first, then volts upward."""
    t, ib, feed = ends.t, ends.base_current, ends.emitter
    yield from from_base(sheet, t, ib)
    if ends.hung is not None:
        yield _loaded(ends)
        yield junction_down(t, ends.base.volts - t.sign * ib * ends.base.ohms)
        return
    ie = emitter_current_of(sheet, t, ib)
    ve = feed.volts + t.sign * ie * feed.ohms
    key = t.key(What.EMITTER)

    def work(values: Values) -> float:
        free = {**values, key: 0.0}
        return feed.work(free) + t.sign * values[key] * feed.ohms

    inputs = (*(pair for pair in feed.inputs if pair[0] != key), (key, ie))
    rise = f"{a(ie)} x {ohms(feed.ohms)}"
    if feed.volts:
        rise = f"{v(feed.volts)} {'+' if t.sign > 0 else '-'} {rise}"
    elif t.sign < 0:
        rise = f"- {rise}"
    yield Step(t.ref, f"{t.ref}.emitter, by {parts_of(feed)}", rise, volts(t.emitter), ve,
               inputs, work)
    yield junction_up(t, ve)


def _grounded_emitter(sheet: Sheet, ends: Ends) -> Iterator[Step]:
    """The emitter is held, so V_BE fixes the base, and what its feed brings is base current."""
    t = ends.t
    yield junction_up(t, ends.emitter.volts)
    if not ends.base.single:
        yield _divider(ends, rough=True)
    yield _base_current(ends)
    yield from from_base(sheet, t, ends.base_current)


def _emitter_current(ends: Ends, emitter: float) -> Step:
    t, feed = ends.t, ends.emitter
    here, own = volts(t.emitter), t.key(What.EMITTER)
    ie = t.sign * (emitter - feed.volts) / feed.ohms

    def work(values: Values) -> float:
        free = {**values, own: 0.0}
        return t.sign * (values[here] - feed.work(free)) / feed.ohms

    inputs = ((here, emitter), *(pair for pair in feed.inputs if pair[0] != own))
    apart = (emitter, feed.volts) if t.sign > 0 else (feed.volts, emitter)
    text = difference(*apart)
    if apart[0] == 0.0 and apart[1]:
        text = v(-apart[1])
    text = f"({text})" if apart[0] and apart[1] else text
    where = parts_of(feed)
    return Step(t.ref, f"emitter current, through {where}", f"{text} / {ohms(feed.ohms)}", own, ie,
                inputs, work)


def emitter_current_of(sheet: Sheet, t: Transistor, ib: float) -> float:
    return ib * (t.gain + 1.0 if sheet.reckoning.difference else t.gain)


def from_base(sheet: Sheet, t: Transistor, ib: float) -> Iterator[Step]:
    """Collector and emitter current from that of the base."""
    base, gain = t.key(What.BASE), t.key(What.GAIN)
    ic = t.gain * ib
    yield Step(t.ref, f"collector current, gain {t.gain:.4g}", f"{t.gain:.4g} x {a(ib)}",
               t.key(What.COLLECTOR), ic, ((base, ib), (gain, t.gain)),
               lambda values: values[gain] * values[base])
    collector = t.key(What.COLLECTOR)
    if sheet.reckoning.difference:
        yield Step(t.ref, "emitter current: collector's and base's together", f"{a(ic)} + {a(ib)}",
                   t.key(What.EMITTER), ic + ib, ((collector, ic), (base, ib)),
                   lambda values: values[collector] + values[base])
    else:
        yield Step(t.ref, "emitter current, taken as the collector's", a(ic),
                   t.key(What.EMITTER), ic, ((collector, ic), (base, 0.0)),
                   lambda values: values[collector] + values[base],
                   notes=("emitter and collector current are taken as one",))


def from_emitter(
    sheet: Sheet, t: Transistor, ie: float, told: bool = False
) -> Iterator[Step]:
    """Collector and base current from that of the emitter. told: the base current is known."""
    emitter, gain, base = t.key(What.EMITTER), t.key(What.GAIN), t.key(What.BASE)
    if not sheet.reckoning.difference:
        yield Step(t.ref, "collector current, taken as the emitter's", a(ie),
                   t.key(What.COLLECTOR), ie, ((emitter, ie), (base, 0.0)),
                   lambda values: values[emitter] - values[base],
                   notes=("emitter and collector current are taken as one",))
    else:
        yield Step(t.ref, "collector current: the base's part comes by the base",
                   f"{a(ie)} x {t.gain:.4g} / {t.gain + 1.0:.4g}", t.key(What.COLLECTOR),
                   ie * t.gain / (t.gain + 1.0), ((emitter, ie), (gain, t.gain)),
                   lambda values: values[emitter] * values[gain] / (values[gain] + 1.0))
    if told:
        return
    if sheet.reckoning.own or sheet.reckoning.following:
        yield _base_from(t, ie)
    else:
        sheet.amps[base] = 0.0


def _base_from(t: Transistor, ie: float) -> Step:
    emitter, gain = t.key(What.EMITTER), t.key(What.GAIN)
    return Step(t.ref, f"base current, gain {t.gain:.4g}", f"{a(ie)} / {t.gain + 1.0:.4g}",
                t.key(What.BASE), ie / (t.gain + 1.0), ((emitter, ie), (gain, t.gain)),
                lambda values: values[emitter] / (values[gain] + 1.0))


def from_collector(sheet: Sheet, t: Transistor, ic: float) -> Iterator[Step]:
    """Emitter and base current from that of the collector."""
    collector, gain, base = t.key(What.COLLECTOR), t.key(What.GAIN), t.key(What.BASE)
    if sheet.reckoning.difference:
        yield Step(t.ref, f"emitter current: with the base's part, gain {t.gain:.4g}",
                   f"{a(ic)} x {t.gain + 1.0:.4g} / {t.gain:.4g}", t.key(What.EMITTER),
                   ic * (t.gain + 1.0) / t.gain, ((collector, ic), (gain, t.gain)),
                   lambda values: values[collector] * (values[gain] + 1.0) / values[gain])
    else:
        yield Step(t.ref, "emitter current, taken as the collector's", a(ic),
                   t.key(What.EMITTER), ic, ((collector, ic), (base, 0.0)),
                   lambda values: values[collector] + values[base],
                   notes=("emitter and collector current are taken as one",))
    if sheet.reckoning.own or sheet.reckoning.following:
        yield Step(t.ref, f"base current, gain {t.gain:.4g}", f"{a(ic)} / {t.gain:.4g}", base,
                   ic / t.gain, ((collector, ic), (gain, t.gain)),
                   lambda values: values[collector] / values[gain])
    else:
        sheet.amps[base] = 0.0


def across(t: Transistor, sheet: Sheet) -> Iterator[Step]:
    """V_CE, once both ends are known."""
    if t.collector not in sheet.volts or t.emitter not in sheet.volts:
        return
    c, e = volts(t.collector), volts(t.emitter)
    first, second = sheet.volts[t.collector], sheet.volts[t.emitter]
    if t.sign < 0:
        first, second = second, first
    yield Step(
        t.ref, f"V_CE of {t.ref}", difference(first, second) if first else v(-second),
        Key(What.ACROSS, t.ref), first - second,
        ((c, sheet.volts[t.collector]), (e, sheet.volts[t.emitter])),
        lambda values: t.sign * (values[c] - values[e]),
    )
