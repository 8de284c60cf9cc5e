"""The list of `renew` for the terminal: what to order, what changes, what to leave alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from biaspredict.predict.ordering import Order
from biaspredict.predict.renew import Advice, Effect, Item, Renewal, Total
from biaspredict.quantities import Unit, engineering
from biaspredict.report import words

SURE = 0.01  # volts from plus to minus that every sound stage has, to say that the + is right
SAME = 0.005  # by which before and after are one figure to a reader

LIVE = "Power off, plug out: fuse holder, switch and primary stay live with the switch off."
DISCHARGE = (
    "Discharge every capacitor of 10 uF or more through a resistor (about 100 ohm 5 W below 80 V, "
    "some kilohms above), never with a screwdriver, and measure that it is discharged"
)
ONE_AT_A_TIME = (
    "One part at a time: note which end of the old one faces what before it comes out. Sheet, "
    "board and the + above must agree; where they do not, measure first. A polarised part the "
    "wrong way round heats and may burst."
)
AFTERWARDS = (
    "Check each + once more. First power through a lamp or a variable transformer, speakers off, "
    "eyes away from the new parts; then compare the volts with `biaspredict bias`. Local rules "
    "and licensed practice come first."
)


def page(found: Sequence[Renewal], order: Sequence[Total]) -> str:
    """Each stage, the order for all of them, and the steps at the bench."""
    lines: list[str] = []
    several = len(found) > 1
    for place, (renewal, name) in enumerate(zip(found, labels(found), strict=True), 1):
        lines += [*_stage(renewal, f"Stage {place}: {name}" if several else name), ""]
    if order:
        count = sum(total.count for total in order)
        parts = "1 part" if count == 1 else f"{count} parts"
        stages = f"{len(found)} stages" if several else "this stage"
        lines += [f"To order for {stages}: {parts}", ""]
        lines += [*_order(order, several), "", *_steps(found)]
    return "\n".join(lines).rstrip()


def labels(found: Sequence[Renewal]) -> list[str]:
    """Titles of the stages; with the file's name where two have the same."""
    titles = [renewal.stage.title for renewal in found]
    return [
        title if titles.count(title) == 1 else f"{title} ({Path(renewal.stage.file).name})"
        for title, renewal in zip(titles, found, strict=True)
    ]


def _stage(renewal: Renewal, name: str) -> Iterator[str]:
    yield words.wrapped(name)
    for reason in renewal.withheld:
        yield words.wrapped(reason, "  ", "    ")
    if renewal.withheld and not any(item.level for item in renewal.items):
        yield "  What follows is by the sheet alone."
    if renewal.renewed:
        yield ""
        yield from _table(renewal.renewed)
    else:
        yield "  No capacitor here dries out or leaks with age."
    if fellows := [f"{i.ref} = {i.fellow}" for i in renewal.renewed if i.fellow]:
        yield words.wrapped(
            f"The same again for the other channel: {', '.join(fellows)}.", "  ", "    "
        )
    yield from _polarity(renewal)
    for item in renewal.items:
        for warning in item.warnings:
            yield words.wrapped(f"CHECK {item.ref}: {warning}", "  ", "    ")
    for item in renewal.renewed:
        if item.remarks:
            yield words.wrapped(f"{item.ref}: {' '.join(item.remarks)}", "  ", "    ")
    for remark in renewal.remarks:
        yield words.wrapped(remark, "  ", "    ")
    yield from _left(renewal)


def _polarity(renewal: Renewal) -> Iterator[str]:
    """Whether the predicted DC bears the sheet's polarities out."""
    polar = [item for item in renewal.renewed if item.polar]
    sure = [i for i in polar if i.level is not None and i.level.low > SURE and not i.warnings]
    if polar and len(sure) == len(polar):
        yield words.wrapped("The predicted DC agrees with every + of the sheet.", "  ")
    elif sure:
        told = words.listed([item.ref for item in sure])
        yield words.wrapped(f"The predicted DC agrees with the + of {told}.", "  ", "    ")


def _table(items: Sequence[Item]) -> list[str]:
    heads = ("part", "does", "sheet", "DC", "order", "+ faces", effect_head(items))
    rows = [heads, *(_row(item) for item in items)]
    for leave_out in ((), (1,), (1, 5)):
        kept = [[cell for k, cell in enumerate(row) if k not in leave_out] for row in rows]
        table = words.table(kept, right=(3 - len([k for k in leave_out if k < 3]),))
        if max(map(len, table)) <= words.WIDTH:
            break
    if 5 in leave_out:
        ends = [f"{item.ref} {item.plus}" for item in items if item.polar]
        table += words.wrapped(f"+ faces: {', '.join(ends)}.", "  ", "    ").split("\n")
    return table


def effect_head(items: Sequence[Item]) -> str:
    """What `effect` gives for these."""
    effects = {item.effect for item in items} - {None}
    if effects == {Effect.RIPPLE}:
        return "ripple on it"
    return "own corner" if effects == {Effect.CORNER} else "what changes"


def _row(item: Item) -> tuple[str, ...]:
    assert item.order is not None
    return (
        item.ref,
        item.does,
        rated(item.farads, item.working),
        "-" if item.level is None else words.volts(item.level.volts),
        order_words(item.order),
        faces(item),
        effect(item),
    )


def rated(farads: float | None, volts: float | None) -> str:
    """A value as the sheet has it, as in `50 uF 6 V`."""
    return " ".join(([_farads(farads)] if farads else []) + ([f"{volts:g} V"] if volts else []))


def order_words(order: Order) -> str:
    """What to ask for at the counter, without its make."""
    value = _farads(order.farads)
    if order.beside is not None:
        value += f" + {_farads(order.beside)}"
    return value if order.volts is None else f"{value} {order.volts:g} V"


def faces(item: Item) -> str:
    """The node that its + faces; `either way` where it has none."""
    return item.plus if item.polar else "either way"


def effect(item: Item) -> str:
    """What the new value changes, as in `145 to 155 Hz`."""
    if item.before is None or item.after is None:
        return "-"
    unit = Unit.HERTZ if item.effect is Effect.CORNER else Unit.VOLT
    before, after = (engineering(v, unit) for v in (item.before, item.after))
    if abs(item.after - item.before) <= SAME * item.before or before == after:
        return before
    if before.split()[-1] == after.split()[-1]:
        before = before.split()[0]
    return f"{before} to {after}"


def _farads(value: float) -> str:
    return engineering(value, Unit.FARAD)


def _left(renewal: Renewal) -> Iterator[str]:
    kept = [i for i in renewal.left if i.advice is Advice.KEEP_VALUE]
    rest = [i for i in renewal.left if i.advice is Advice.LEAVE]
    if kept:
        named = ", ".join(f"{i.ref} {_farads(i.farads or 0.0)} ({i.does})" for i in kept)
        yield words.wrapped(
            f"Never another value: {named}. What shapes the response stays.", "  ", "    "
        )
    if rest:
        named = ", ".join(f"{i.ref}{f' {i.dielectric}' if i.dielectric else ''}" for i in rest)
        yield words.wrapped(
            f"Leave alone: {named}. What does not dry is renewed only if it leaks.", "  ", "    "
        )
    if renewal.germanium:
        yield words.wrapped(
            f"Leave alone: {words.listed(renewal.germanium)}, germanium. A sound one has no equal "
            "among new parts, and heat harms it: keep the iron away from its leads.",
            "  ",
            "    ",
        )


def _order(order: Sequence[Total], several: bool) -> Iterator[str]:
    cells = [
        (
            f"{total.count} x",
            _farads(total.farads),
            "? V" if total.volts is None else f"{total.volts:g} V",
            total.make,
        )
        for total in order
    ]
    heads = words.table(cells, right=(0, 1, 2))
    # Fixed columns, so that the list of places hangs under itself.
    width = max(map(len, heads)) + 2
    for head, total in zip(heads, order, strict=True):
        places = "; ".join(
            f"stage {place + 1}: {', '.join(refs)}" if several else ", ".join(refs)
            for place, refs in total.where
        )
        yield words.wrapped(places, head.ljust(width), " " * width)


def _steps(found: Sequence[Renewal]) -> Iterator[str]:
    yield "At the bench:"
    yield words.wrapped(f"1. {LIVE}", "  ", "     ")
    yield words.wrapped(f"2. {DISCHARGE}{_worst(found)}.", "  ", "     ")
    yield words.wrapped(f"3. {ONE_AT_A_TIME}", "  ", "     ")
    yield words.wrapped(f"4. {AFTERWARDS}", "  ", "     ")


def _worst(found: Sequence[Renewal]) -> str:
    """The capacitor that holds the most energy, by name."""
    held = [
        (0.5 * (item.farads or 0.0) * item.level.volts**2, place, item)
        for place, renewal in enumerate(found, 1)
        for item in renewal.items
        if item.level is not None
    ]
    if not held:
        return ""
    _, place, item = max(held, key=lambda one: one[0])
    assert item.level is not None
    name = f"{item.ref} of stage {place}" if len(found) > 1 else item.ref
    volts = words.volts(abs(item.level.volts))
    return f"; the most is in {name}, {_farads(item.farads or 0.0)} at {volts}"
