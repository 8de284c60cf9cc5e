"""A feed in words: `22 V x 47k / (220k + 47k)`, and what makes it up."""

from __future__ import annotations

from biaspredict.predict.hand.feed import Feed
from biaspredict.predict.hand.net import Arm
from biaspredict.predict.hand.records import Key, What
from biaspredict.predict.hand.sheet import a, ohms, v


def parts_of(feed: Feed) -> str:
    """What it is made of: `R1 and R2`."""
    if feed.star:
        names = [arm.words for arm in feed.star]
        words = f"{', '.join(names[:-1])} and {names[-1]}" if names[1:] else names[0]
        return words + (f", through {feed.through.words}" if feed.through else "")
    return "the resistors there" if feed.ohms else feed.node


def sum_of(feed: Feed) -> str:
    """The arithmetic that gives its volts."""
    if not feed.ohms:
        return v(feed.volts)
    star = feed.star
    if star is None:
        return _weighed(feed)
    ends = [(arm, feed.values[Key(What.VOLTS, arm.other(feed.hub))]) for arm in star]
    drawn = [(key, weight, feed.values[key]) for key, weight in feed.weights
             if key.what is not What.VOLTS and feed.values[key]]
    if len(ends) == 1:
        arm, end = ends[0]
        text = v(end)
        for _, weight, amps in drawn:
            text += f" {'-' if weight * amps < 0 else '+'} {a(abs(amps))} x {ohms(arm.ohms)}"
        return text
    if len(ends) == 2 and not drawn:
        return _divided(ends)
    return _weighed(feed)


def _divided(ends: list[tuple[Arm, float]]) -> str:
    """Of two resistances: the far volts, and the share of the difference."""
    (one, first), (two, second) = sorted(ends, key=lambda pair: -abs(pair[1]))
    whole = f"({ohms(one.ohms)} + {ohms(two.ohms)})"
    if second == 0.0:
        return f"{v(first)} x {ohms(two.ohms)} / {whole}"
    apart = f"({v(first)} - {v(second)})" if second >= 0.0 else f"({v(first)} + {v(-second)})"
    return f"{v(second)} + {apart} x {ohms(two.ohms)} / {whole}"


def _weighed(feed: Feed) -> str:
    """Of many: each volt by its share, each current by the ohms that it meets."""
    pieces = []
    for key, weight in feed.weights:
        value = feed.values[key]
        if not value:
            continue
        sign = "-" if weight * value < 0 else "+"
        if key.what is What.VOLTS:
            pieces.append((sign, f"{abs(weight):.3g} x {v(abs(value))}"))
        else:
            pieces.append((sign, f"{a(abs(value))} x {ohms(abs(weight))}"))
    if not pieces:
        return "0 V"
    head = ("- " if pieces[0][0] == "-" else "") + pieces[0][1]
    return head + "".join(f" {sign} {text}" for sign, text in pieces[1:])


def side_by_side(feed: Feed) -> str:
    """How its ohms come about: `220k beside 47k`."""
    if feed.star is None:
        return ohms(feed.ohms)
    words = " beside ".join(ohms(arm.ohms) for arm in feed.star)
    return f"{ohms(feed.through.ohms)} + ({words})" if feed.through else words


def difference(first: float, second: float) -> str:
    """`3.10 V - 650 mV`, a minus before a negative number turned into a plus."""
    if not second:
        return v(first)
    if not first:
        return v(-second)
    return f"{v(first)} {'-' if second > 0 else '+'} {v(abs(second))}"

