"""What is said about a capacitor that is renewed, beyond its value: in short sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import Stage
from biaspredict.predict.bias import Level
from biaspredict.predict.leakage import modern_limit
from biaspredict.predict.on_capacitors import OnCapacitors
from biaspredict.predict.ordering import FILM_UP_TO, LEAKY_WITH_AGE, Order, sheet_value
from biaspredict.predict.rectifying import Rectifier, Stored
from biaspredict.quantities import Unit, engineering

NON_POLAR = "non-polar"
LEANING = 0.1  # volts against its polarity that are worth a word
WRONG_WAY = 0.5  # volts against it that harm (common practice, no source)
FAR = 0.10  # by which a value may differ without a word
RIPPLES = 1e-3  # of its DC, from which the ripple on a capacitor is worth a word
PLAINLY = 0.8  # of the limit of a standard part, below which this circuit stands plainly less
FILM_AT_ALL = 4.7e-6  # farads up to which a film part can be had at all (common practice)
HARDER = 1.10  # times its peak current, from which a rectifier is mentioned
SAFE_TANTALUM = 2.0  # times its actual volts, for a solid tantalum (common practice, no source)


def remarks(
    part: Part,
    today: Part,
    bought: Order | None,
    level: Level | None,
    facts: OnCapacitors,
    stage: Stage,
) -> Iterator[str]:
    """Short sentences on one capacitor, the weightiest first. `today`: as it stands there now."""
    if bought is None:
        return
    yield from _value(part, bought)
    yield from _ripple(part, facts)
    yield from _leakage(part, bought, facts)
    if level is not None and part.dielectric != NON_POLAR and part.kind is Kind.ELECTROLYTIC:
        if level.low < -LEANING and level.high > LEANING:
            yield "Its DC may lie either way round within tolerance: a non-polar type is safe."
        elif abs(level.volts) < LEANING and part.ref not in facts.stored:
            yield "It has no DC to speak of; keep the polarity of the sheet."
    if part.ref in facts.loose and level is not None:
        loose = "the node beside it"
        yield f"Nothing sets the DC of {loose}, which is taken as 0 V."
    yield from _today(part, today)
    if part.dielectric == "tantalum":
        yield (
            "Tantalum fails short: a low-leakage aluminium type is kinder; a new tantalum wants "
            f"{SAFE_TANTALUM:g} times its actual volts."
        )
    if part.dielectric in LEAKY_WITH_AGE:
        yield f"Old {part.dielectric} leaks; film of the same value takes its place."
    elif bought.make != "film" and bought.farads <= FILM_UP_TO:
        yield "A film part of this value fits too, and never dries."
    if part.can:
        yield from _can(part, stage)


def _value(part: Part, bought: Order) -> Iterator[str]:
    farads = sheet_value(part) or bought.total
    off = bought.total / farads - 1.0
    if bought.beside is not None:
        yield (
            "It shapes the response, so the value is made of two in parallel "
            f"({off:+.0%} all told)."
        )
    elif abs(off) > FAR + 1e-6:
        yield f"{off:+.0%}: the nearest at hand that is not smaller than the old one might be."


def _ripple(part: Part, facts: OnCapacitors) -> Iterator[str]:
    stored = facts.stored.get(part.ref)
    if stored is None or stored.ripple < RIPPLES * abs(stored.mean):
        return
    amps = engineering(stored.amps, Unit.AMPERE)
    yield f"It carries {amps} rms of ripple: take a part rated for more."
    if stored.unloaded is not None:
        most = engineering(abs(stored.unloaded), Unit.VOLT)
        yield f"With the line 10 % high and no load it stands {most}."


def _leakage(part: Part, bought: Order, facts: OnCapacitors) -> Iterator[str]:
    leak = facts.leaks.get(part.ref)
    if leak is None or leak.amps is None or bought.make == "film" or bought.volts is None:
        return
    limit = modern_limit(bought.total, bought.volts)
    if leak.amps < PLAINLY * limit:
        film = " or film" if bought.total <= FILM_AT_ALL else ""
        yield (
            f"Low-leakage type{film}: above {engineering(leak.amps, Unit.AMPERE)} it moves "
            f"{leak.node}; a standard one may leak {engineering(limit, Unit.AMPERE)}."
        )


def _today(part: Part, today: Part) -> Iterator[str]:
    sheet = sheet_value(part)
    if sheet is None:
        return
    if today.printed is None and today.fitted is None:
        yield "The sheet gives no value: it is ordered by what was measured, which may have dried."
        return
    if today.fitted is not None and today.printed is not None and today.fitted != today.printed:
        yield f"Somebody has fitted {_farads(today.fitted)}; the sheet's value counts."
    if today.measured is not None and today.measured < 0.8 * sheet:
        yield f"It measured {_farads(today.measured)}: dry."


def _can(part: Part, stage: Stage) -> Iterator[str]:
    others = [p.ref for p in stage.parts if p.can == part.can and p.ref != part.ref]
    beside = f", with {' and '.join(others)}" if others else ""
    yield (
        f"A section of the can {part.can}{beside}: disconnect it, never leave the old section in "
        "parallel; the can may stay for its looks."
    )


def warnings(
    part: Part, bought: Order | None, level: Level | None, stored: Stored | None
) -> Iterator[str]:
    """What must be settled before a capacitor is ordered or soldered."""
    polar = part.kind is Kind.ELECTROLYTIC and part.dielectric != NON_POLAR
    volts = None if level is None else level.volts
    if stored is not None and polar and stored.lowest < -WRONG_WAY:
        volts = stored.lowest
    if polar and volts is not None and volts < -LEANING:
        grave = "it would leak, heat and may burst" if volts < -WRONG_WAY else "check the sheet"
        yield (
            f"As drawn its + is the lower end, by {engineering(-volts, Unit.VOLT)}: {grave}. "
            "Measure which end is positive before the new one goes in."
        )
    if part.volts is not None and volts is not None and abs(volts) > part.volts:
        yield (
            f"It has {engineering(abs(volts), Unit.VOLT)} across it and is rated "
            f"{engineering(part.volts, Unit.VOLT)}: read both again."
        )
    if bought is not None and bought.volts is None:
        if part.volts is None and level is None:
            yield "Its working volts are neither printed nor predicted: measure before ordering."
        else:
            yield "No standard working volts reach so high: ask for a part made for it."


def harder_rectifiers(before: Sequence[Rectifier], after: Sequence[Rectifier]) -> Iterator[str]:
    """Rectifiers whose peak current grows with the new reservoir."""
    old = {r.ref: r.peak for r in before}
    harder = [r for r in after if r.peak > HARDER * old[r.ref]]
    if harder:
        worst = max(harder, key=lambda r: r.peak / old[r.ref])
        yield (
            f"With the new parts the peak current of the rectifiers grows from "
            f"{engineering(old[worst.ref], Unit.AMPERE)} to "
            f"{engineering(worst.peak, Unit.AMPERE)}: no larger reservoir than this."
        )


def _farads(value: float) -> str:
    return engineering(value, Unit.FARAD)
