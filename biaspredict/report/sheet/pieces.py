"""What every part of a sheet is made of: boxes to tick, room to write, cautions, figures."""

from __future__ import annotations

from collections.abc import Sequence

from biaspredict.infer.verdict import Compared
from biaspredict.model.readings import Quantity, Reading
from biaspredict.report import words
from biaspredict.report.sheet.markup import Html, join, tag

_TICK = Html('<svg viewBox="0 0 10 10" aria-hidden="true"><path d="M1.5 5.5L4 8.5L8.5 1"'
             ' fill="none" stroke="#000" stroke-width="1.6"/></svg>')


def box(done: bool = False) -> Html:
    """A box to tick, ticked where the thing is done."""
    return tag("span", _TICK if done else None, class_="box", role="img",
               aria_label="done" if done else "to tick")


def checks(items: Sequence[object | tuple[bool, object]], class_: str = "checks") -> Html:
    """A list with a box before each item; (True, item) is done."""
    found = []
    for item in items:
        done, said = item if isinstance(item, tuple) else (False, item)
        found.append(tag("li", box(bool(done)), said))
    return tag("ul", found, class_=class_)


def caution(said: str) -> Html:
    return tag("p", tag("strong", "Caution: "), said, class_="caution")


def reason(said: str) -> Html:
    """Why something is not on the sheet."""
    return tag("p", said, class_="reason")


def blank(label: str, value: str = "", unit: str = "") -> Html:
    """A label with its value, or with room to write it."""
    said: object = tag("strong", value) if value else tag("span", class_="blank")
    return tag("span", f"{label} ", said, f" {unit}" if unit and not value else None)


def fields(*items: Html) -> Html:
    return tag("div", items, class_="fields")


def section(title: str, *inside: object, class_: str = "step") -> Html:
    return tag("section", tag("h2", title), inside, class_=class_)


def full_row(said: str, columns: int) -> Html:
    """A row of one cell across a table."""
    return Html(f'<tr><td class="whole" colspan="{columns}">{join(said)}</td></tr>')


def sentences(*said: str) -> str:
    """Pieces of text as sentences, each with its stop."""
    found = []
    for piece in said:
        clean = " ".join(piece.split())
        if clean:
            found.append(clean if clean[-1] in ".!?" else f"{clean}.")
    return " ".join(found)


def verdict_word(found: Compared) -> str:
    """ok, HIGH or LOW, as everywhere."""
    return "ok" if found.inside else ("HIGH" if found.off > 0 else "LOW")


def told(readings: Sequence[Reading]) -> str:
    """Every reading of one point."""
    return words.listed([_told(reading) for reading in readings])


def _told(reading: Reading) -> str:
    before = "about " if reading.about else "over " if reading.over else ""
    remark = f" ({reading.remark})" if reading.remark else ""
    return before + words.measured(reading.value, reading.quantity) + remark


def span(low: float, high: float, quantity: Quantity = Quantity.VOLTS) -> str:
    """`16.2 to 18.8 V`: the unit once where both have the same."""
    first, last = words.measured(low, quantity), words.measured(high, quantity)
    value, _, unit = first.rpartition(" ")
    return f"{value} to {last}" if value and last.endswith(f" {unit}") else f"{first} to {last}"
