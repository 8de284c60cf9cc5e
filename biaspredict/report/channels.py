"""Both channels side by side, and what the other channel added to the answer."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from biaspredict.infer.beside import Beside, Channels, Sharpness
from biaspredict.infer.splits import SOUND_LABEL, Label
from biaspredict.model.readings import Reading
from biaspredict.report import words

NAME = 21  # columns of a name
FAR = 2.0  # times its own band at which a difference is marked twice


def page(found: Channels) -> str:
    """The table of both channels, what the other one is worth, and what it changed."""
    blocks = ["\n".join(_table(found)), "\n".join(_worth(found))]
    charts = "\n".join(_charts(found))
    return "\n\n".join(block for block in (*blocks, charts) if block)


def _table(found: Channels) -> Iterator[str]:
    rows = [("at", "this", "other", "by", "sound pairs by", "")]
    for row in found.rows:
        reading = row.mine or row.theirs
        assert reading is not None
        known = not math.isnan(row.low)
        rows.append((
            _short(_name(reading)),
            words.measured(row.mine.value, row.mine.quantity) if row.mine else "-",
            words.measured(row.theirs.value, row.theirs.quantity) if row.theirs else "-",
            _signed(row.difference) if known else "-",
            f"{_signed(row.low)} to {_signed(row.high)}" if known else "",
            mark(row),
        ))
    yield "This channel beside the other:"
    yield from words.table(rows, right=(1, 2, 3), gap=1 if _wide(rows) else 2)


def _short(name: str) -> str:
    return name if len(name) <= NAME else name[: NAME - 3] + "..."


def _wide(rows: Sequence[tuple[str, ...]]) -> bool:
    """Whether the columns need the room between them."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return sum(widths) + 2 * len(widths) > words.WIDTH


def mark(row: Beside) -> str:
    """What a difference amounts to: a sign and a word."""
    if row.mine is None or row.theirs is None:
        return "one only"
    if math.isnan(row.low):
        return ""
    if row.alike:
        return "=  alike"
    high = row.difference > row.high
    sign = (">" if high else "<") * (2 if _far(row) else 1)
    return f"{sign:<2} {'HIGHER' if high else 'LOWER'}"


def _far(row: Beside) -> bool:
    half = 0.5 * (row.high - row.low)
    return abs(row.difference - 0.5 * (row.high + row.low)) > FAR * half


def _name(reading: Reading) -> str:
    if reading.minus_name is None:
        return reading.name
    return f"{reading.name} to {reading.minus_name}"


def _signed(value: float) -> str:
    text = words.volts(value)
    return text if text.startswith("-") else f"+{text}"


def _worth(found: Channels) -> Iterator[str]:
    if not found.used:
        text = (
            "The other channel is not taken as evidence: its own readings do not speak for a "
            f"sound one ({words.percent(found.sound_there)})."
        )
        if found.doubt is not None:
            text += f" Look there first at {_name(found.doubt)}."
        yield words.wrapped(text)
        return
    yield words.wrapped(
        f"The other channel reads sound ({words.percent(found.sound_there)}) and is taken as "
        "evidence on rail, junctions, temperature, meter and model; its parts are of one batch "
        "with these, not the same."
    )
    rows = [("", "told apart no further", "the best of them", "left open")]
    rows += [
        ("without it", *_sharp(found.before)),
        ("with it", *_sharp(found.after)),
    ]
    yield from words.table(rows)


def _sharp(sharp: Sharpness) -> tuple[str, str, str]:
    count = len(sharp.parts)
    shown = words.listed(sharp.parts[:4]) if count <= 4 else f"{', '.join(sharp.parts[:3])} ..."
    return (
        f"{count} {'part' if count == 1 else 'parts'}: {shown}",
        f"{_label(sharp.best)} {words.percent(sharp.weight)}",
        f"{sharp.bits:.1f} bits",
    )


def _label(label: Label) -> str:
    return "nothing" if not label or label == SOUND_LABEL else " with ".join(label)


def _charts(found: Channels) -> Iterator[str]:
    """Figures of the chart that the good channel does not keep to either."""
    for told in found.charts if found.used else ():
        if not told.inside:
            yield words.wrapped(
                f"The chart means {words.volts(told.means)} at {told.entry.name} today "
                f"({words.span(told.low, told.high)}); the other channel, which is sound, reads "
                f"{words.volts(told.reading.value)} there. Go by the channel, not by the chart.",
                "  ", "  ")
