"""Names of the other channel: a reading under one stands at its fellow in this channel."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from biaspredict.errors import InputError
from biaspredict.model.readings import Reading
from biaspredict.model.stage import Stage
from biaspredict.notation.clauses import Entry, Mark
from biaspredict.notation.figures import Bench, reading
from biaspredict.notation.names import key


def either(entry: Entry, quantity: str, bench: Bench) -> tuple[Reading, bool]:
    """The reading that an entry states, and whether it is one of the other channel.

    A name that this channel has means this channel. Raises InputError, as `reading` does.
    """
    names = [entry.name] if entry.minus is None else [entry.name, entry.minus]
    theirs = {mark.text: other for mark in names if (other := _fellow(entry, mark, bench))}
    if not theirs:
        return reading(entry, quantity, bench), False
    for mark in names:
        if mark.text not in theirs and _own(bench, mark.text):
            raise InputError(
                "one lead is in this channel, the other lead in the other channel",
                remedy="Read each to ground: their difference is shown.",
                place=entry.place,
            )
    if entry.doings:
        raise InputError(
            "the other channel is read as it stands",
            remedy="Lift, warm and bridge in the channel that is at fault.",
            place=entry.doings[0].place,
        )
    moved = [mark._replace(text=theirs.get(mark.text, mark.text)) for mark in names]
    here = entry._replace(name=moved[0], minus=moved[1] if len(moved) > 1 else None)
    found = reading(here, quantity, bench)
    minus = None if found.minus_name is None else named_there(bench.stage, found.minus_name)
    return replace(found, name=named_there(bench.stage, found.name), minus_name=minus), True


def named_there(stage: Stage, name: str) -> str:
    """What a node or leg of this channel is called in the other; common ones keep their name."""
    there = {twin.mine: twin.other for twin in stage.twins}
    return _translated(name, there.get) or name


def _own(bench: Bench, text: str) -> bool:
    """Whether a name is this channel's alone, not a rail or ground that feeds both."""
    found = bench.index.find(text)
    common = {rail.name for rail in bench.stage.rails} | {bench.stage.nodes[0]}
    return found is not None and found[1] not in common


def _fellow(entry: Entry, mark: Mark, bench: Bench) -> str | None:
    """This channel's name for one of the other's; None where it is this channel's or nobody's."""
    if entry.across:
        known = key(mark.text) in bench.index.refs
    else:
        known = bench.index.find(mark.text) is not None
    if known:
        return None
    here = {key(twin.other): twin.mine for twin in bench.stage.twins}
    return _translated(mark.text, lambda text: here.get(key(text)))


def _translated(name: str, look: Callable[[str], str | None]) -> str | None:
    """A name, the part before its leg, or every reference of a joint "R1/R2", looked up."""
    if found := look(name):
        return found
    ref, dot, leg = name.partition(".")
    if dot and (found := look(ref)):
        return f"{found}.{leg}"
    pieces = [look(piece) for piece in name.split("/")]
    known = [piece for piece in pieces if piece is not None]
    return "/".join(known) if len(known) == len(pieces) > 1 else None
