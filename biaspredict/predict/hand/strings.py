"""Strings of resistors and conducting diodes between two known nodes: one current through all."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.predict.hand.net import Arm, Fall
from biaspredict.predict.hand.records import Key, Step, Values, What, volts
from biaspredict.predict.hand.sheet import Sheet, ohms, v

Link = Arm | Fall


def string_current(sheet: Sheet) -> Iterator[Step]:
    """The current of the first string with a diode in it, base currents left out."""
    for start in list(sheet.volts):
        for first in _links(sheet, start):
            links, end = _follow(sheet, start, first)
            falls = [link for link in links if isinstance(link, Fall)]
            arms = [link for link in links if isinstance(link, Arm)]
            if not end or not falls or not arms:
                continue
            found = _current(sheet, start, end, links)
            if found is not None:
                yield found
                return


def _links(sheet: Sheet, node: str) -> list[Link]:
    falls = [f for f in sheet.net.falls if node in (f.high, f.low)]
    return [*sheet.net.arms_at.get(node, ()), *falls]


def _far(link: Link, node: str) -> str:
    if isinstance(link, Arm):
        return link.other(node)
    return link.low if node == link.high else link.high


def _follow(sheet: Sheet, start: str, first: Link) -> tuple[list[Link], str]:
    """The links from `start` on, and the known node at which they end ("" where they branch)."""
    links, node = [first], _far(first, start)
    while node not in sheet.volts:
        ways = [link for link in _links(sheet, node) if link is not links[-1]]
        drawing = [
            key for key, _ in sheet.net.leads_at.get(node, ())
            if key.what not in (What.BASE, What.THROUGH) and sheet.amps.get(key) != 0.0
        ]
        if len(ways) != 1 or drawing:
            return links, ""
        links.append(ways[0])
        node = _far(ways[0], node)
    return links, node


def _current(sheet: Sheet, start: str, end: str, links: list[Link]) -> Step | None:
    arms = [link for link in links if isinstance(link, Arm)]
    falls = [link for link in links if isinstance(link, Fall)]
    if any(arm.key in sheet.amps or arm.key is None for arm in arms):
        return None
    first = arms[0]
    assert first.key is not None
    # All diodes of a string point one way, or it carries nothing.
    node, ways = start, []
    for link in links:
        if isinstance(link, Fall):
            ways.append(1.0 if node == link.high else -1.0)
        node = _far(link, node)
    if len(set(ways)) != 1:
        return None
    way = ways[0]
    total = sum(arm.ohms for arm in arms)
    node = start
    for link in links:
        if link is first:
            break
        node = _far(link, node)
    along = way * (1.0 if first.a == node else -1.0)
    one, other = volts(start), volts(end)
    drops = [(Key(What.DROP, fall.ref), fall.volts) for fall in falls]
    bases = tuple((key, 0.0) for key in sheet.bases())

    def work(values: Values) -> float:
        left = way * (values[one] - values[other]) - sum(values[key] for key, _ in drops)
        return along * left / total

    inputs = ((one, sheet.volts[start]), (other, sheet.volts[end]), *drops)
    high, low = (start, end) if way > 0 else (end, start)
    apart = v(sheet.volts[high]) if sheet.volts[high] else ""
    if sheet.volts[low]:
        below = sheet.volts[low]
        apart += f" {'-' if below > 0 else '+'} {v(abs(below))}" if apart else v(-below)
    text = f"({apart}{''.join(f' - {v(fall.volts)}' for fall in falls)})"
    names = " + ".join(ohms(arm.ohms) for arm in arms)
    whole = f"({names})" if arms[1:] else names
    return Step(
        first.other(start) if start in (first.a, first.b) else start,
        f"one current through {', '.join(_name(link) for link in links)}",
        f"{text} / {whole}", first.key, work(dict(inputs)), inputs, work,
        notes=("base currents are left out",) if bases else (),
    )


def _name(link: Link) -> str:
    return link.words if isinstance(link, Arm) else link.ref
