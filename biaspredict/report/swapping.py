"""The page of `swap`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from biaspredict.model.parts import CAPACITORS
from biaspredict.model.stage import GROUND
from biaspredict.predict.swap import CURVE, MARKS, Side, Swap, changed_value
from biaspredict.predict.verdict_of_swap import verdict
from biaspredict.quantities import Unit, engineering, value_text
from biaspredict.report import words
from biaspredict.report.capacitors import decibel, hertz, seconds
from biaspredict.report.curve import AFTER, BEFORE, plot

MOVES = 0.01  # share, or volts, from which a node's volts count as moved
SLOWER = 0.1  # share from which a settling time counts as changed
WARMER = 0.05  # share and watts from which heat counts as changed
WARMTH = 1e-3
ALIKE = 0.25  # decibels within which two curves are one
CORNER = 0.01  # share from which an own corner counts as changed


def page(swap: Swap, everything: bool = False) -> str:
    """Before and after; with `everything`, what does not change too."""
    before, after = swap.before, swap.after
    lines = [words.wrapped(before.stage.title), "", *_parts(swap), ""]
    lines += [words.wrapped(verdict(swap)), ""]
    if response := list(_response(before, after, everything)):
        lines += [*response, ""]
    lines += _nodes(before, after, everything)
    lines += _ripple(before, after)
    lines += _turn_on(before, after)
    lines += _heat(before, after, everything)
    lines += _working_volts(swap, everything)
    return "\n".join(lines)


def _response(before: Side, after: Side, everything: bool) -> Iterator[str]:
    rows = list(_sound(before, after, everything))
    if rows:
        yield from words.table([("", "before", "after", ""), *rows], right=(1, 2))
    if after.withheld and not (before.withheld and before.ripple):
        yield words.wrapped(f"No gain and no corner: {after.withheld}.", "  ")
    if before.curve is None or after.curve is None:
        return
    yield ""
    if not everything and float(abs(after.curve - before.curve).max()) < ALIKE:
        yield words.wrapped("From 5 Hz to 50 kHz the two response curves cover each other.", "  ")
        return
    yield f"Gain from the source ({BEFORE} before, {AFTER} after)"
    yield from plot(CURVE.tolist(), before.curve.tolist(), after.curve.tolist())


def _parts(swap: Swap) -> Iterator[str]:
    rows = []
    for before, after in swap.parts:
        rows.append((before.ref, changed_value(before), "->", changed_value(after)))
    yield from words.table(rows)
    for found in swap.matched:
        asked, taken = (value_text(v, found.unit) for v in (found.asked, found.taken))
        yield words.wrapped(
            f"{found.ref}: {asked} is not sold; taken as {taken}, the nearest of {found.series} "
            f"(IEC 60063). {found.ref}={asked.replace(' ', '')}! keeps {asked}.", "  ",
        )
    for before, after in swap.parts:
        if after.ref in swap.buy:
            volts = f"{swap.buy[after.ref]:g} V"
            yield words.wrapped(f"Ask for {value_text(after.now or 0.0, Unit.FARAD)}, {volts} or "
                                f"more{_original(before.volts, after.volts)}.", "  ")


def _original(before: float | None, after: float | None) -> str:
    if before is not None and after is not None and after < before:
        return f": never less than the original's {before:g} V"
    return ""


Row = tuple[str, str, str, str]


def _sound(before: Side, after: Side, everything: bool) -> Iterator[Row]:
    if before.gains is not None and after.gains is not None:
        for mark, old, new in zip(MARKS, before.gains, after.gains, strict=True):
            yield f"gain at {hertz(mark)}", f"{old:.1f} dB", f"{new:.1f} dB", decibel(new - old)
    if before.corners is None or after.corners is None:
        return
    one, two = before.corners.figures, after.corners.figures
    yield "3 dB down", hertz(one.exact_hertz), hertz(two.exact_hertz), ""
    yield "sum of own corners", hertz(one.sum_hertz), hertz(two.sum_hertz), ""
    new_ones = {corner.ref: corner for corner in after.corners.corners}
    for corner in before.corners.corners:
        then = new_ones.get(corner.ref)
        if then is None or (corner.hertz is None and then.hertz is None):
            continue
        same = corner.hertz and then.hertz and abs(then.hertz / corner.hertz - 1.0) < CORNER
        if everything or not same:
            word = "" if then.bass else "treble"
            yield f"own corner of {corner.ref}", hertz(corner.hertz), hertz(then.hertz), word


def _nodes(before: Side, after: Side, everything: bool) -> Iterator[str]:
    times = [_seconds(before), _seconds(after)]
    settle = all(times)
    head = ["node", "before", "after", *(["ready in", "after"] if settle else [])]
    rows: list[Sequence[str]] = []
    nodes = [node for node in before.stage.nodes if node in before.volts and node != GROUND]
    for node in nodes:
        old, new = before.volts[node], after.volts[node]
        one, two = (found.get(node) for found in times)
        if everything or abs(new - old) > max(MOVES * abs(old), MOVES) or _differ(one, two):
            row = [node, words.volts(old), words.volts(new)]
            rows.append([*row, _time(one), _time(two)] if settle else row)
    if rows:
        yield from words.table([head, *rows], right=range(1, len(head)))
    if len(rows) < len(nodes):
        which = "the other nodes" if rows else "every node"
        also = ", and so does the time until it may be read" if settle else ""
        yield words.wrapped(f"The DC of {which} stays{also}.", "  ")


def _seconds(side: Side) -> Mapping[str, float | None]:
    return side.turn_on.seconds if side.turn_on is not None else {}


def _differ(old: float | None, new: float | None) -> bool:
    if old is None or new is None:
        return old is not new
    return abs(new - old) > max(SLOWER * old, 0.05)


def _time(value: float | None) -> str:
    return "-" if value is None else seconds(value) if value >= 0.05 else "at once"


def _ripple(before: Side, after: Side) -> Iterator[str]:
    if before.ripple:
        rows = [
            (node, words.volts(old), words.volts(after.ripple.get(node, 0.0)))
            for node, old in before.ripple.items()
        ]
        yield ""
        yield from words.table([("ripple, peak to peak", "before", "after"), *rows], right=(1, 2))


def _turn_on(before: Side, after: Side) -> Iterator[str]:
    one, two = before.turn_on, after.turn_on
    if one is None or two is None:
        yield ""
        yield words.wrapped(f"No turn-on: {before.no_turn_on or after.no_turn_on}.")
        return
    rows: list[Sequence[str]] = []
    for node, peak in one.thumps.items():
        new = two.thumps.get(node, 0.0)
        if peak or new:
            rows.append((f"thump at {node}, peak", words.volts(peak), words.volts(new)))
    if one.slowest and two.slowest:
        rows.append(("last node settled", _time(one.slowest[1]), _time(two.slowest[1])))
    if rows:
        yield ""
        yield from words.table([("after switch-on", "before", "after"), *rows], right=(1, 2))


def _heat(before: Side, after: Side, everything: bool) -> Iterator[str]:
    rows = []
    for ref, old in before.watts.items():
        new = after.watts.get(ref)
        if new is None:
            continue
        changed = abs(new - old) > max(WARMER * old, WARMTH)
        if changed or (everything and max(old, new) > WARMTH):
            rated = after.stage.part(ref).watts
            limit = "" if rated is None else f"of {engineering(rated, Unit.WATT)}"
            rows.append((ref, engineering(old, Unit.WATT), engineering(new, Unit.WATT), limit))
    if rows:
        yield ""
        yield from words.table([("heat", "before", "after", ""), *rows], right=(1, 2))


def _working_volts(swap: Swap, everything: bool) -> Iterator[str]:
    rows = []
    changed = {after.ref for _, after in swap.parts}
    for part in swap.after.stage.parts:
        if part.kind not in CAPACITORS:
            continue
        old, new = swap.before.across[part.ref], swap.after.across[part.ref]
        moved = abs(new - old) > max(MOVES * abs(old), MOVES)
        if part.ref in changed or moved or everything:
            rated = "not said" if part.volts is None else f"{part.volts:g} V"
            rows.append((part.ref, words.volts(old), words.volts(new), rated))
    if rows:
        yield ""
        yield from words.table(
            [("working volts", "across before", "after", "rated"), *rows], right=(1, 2, 3)
        )
