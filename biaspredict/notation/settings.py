"""What trimmers were set for: first as read, then at their nodes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import NamedTuple

from biaspredict.errors import InputError
from biaspredict.model.parts import POTS, TERMINALS
from biaspredict.model.stage import Setting
from biaspredict.notation import names, reason
from biaspredict.notation.clauses import Adjusted, Mark
from biaspredict.notation.naming import Named
from biaspredict.notation.place import Board
from biaspredict.notation.wiring import Point


class Placed(NamedTuple):
    """A setting whose nodes are not named yet, with its points."""

    setting: Setting
    point: Point
    minus: Point | None


def adjusted(said: Iterable[Adjusted], board: Board) -> tuple[Placed, ...]:
    """The settings of a file; mistakes go to `board.wrong`."""
    found: dict[str, Placed] = {}
    for one in said:
        ref = _trimmer(one.ref, board)
        if ref in found:
            board.say(f"{ref} is set twice", "Keep the one of the manual.", one.place)
        placed = _placed(one, ref, board)
        if placed is not None and ref:
            found.setdefault(ref, placed)
    return tuple(found.values())


def at_nodes(placed: Placed, named: Named) -> Setting:
    """The setting with the canonical nodes."""
    minus = None if placed.minus is None else named.of[placed.minus]
    return replace(placed.setting, node=named.of[placed.point], minus=minus)


def _trimmer(mark: Mark, board: Board) -> str:
    """The reference as the stage spells it, "" after a mistake."""
    draft = board.drafts.get(names.key(mark.text))
    if draft is None:
        if names.key(mark.text) not in board.blurred:
            board.say(
                f"nothing is said of {mark.text}",
                f"Describe it on a line of its own: {mark.text} trimmer 1K",
                mark.place,
            )
        return ""
    if draft.kind not in POTS:
        board.say(f"{draft.ref} is no trimmer", "Name the trimmer that is set.", mark.place)
        return ""
    if draft.fields.get("turn") is not None:
        board.say(
            f"where {draft.ref} stands is said already",
            "Keep one: the position behind at, or what it is set for.",
            mark.place,
        )
    return draft.ref


def _placed(said: Adjusted, ref: str, board: Board) -> Placed | None:
    volts = 0.0
    try:
        volts = reason.value(said.amount, reason.VOLTS)
        if said.across and volts <= 0.0:
            raise InputError(
                "no volts to set a trimmer for",
                remedy="Write the size of the drop, as in set RV1 for 10 mV across R20.",
                place=said.amount.place,
            )
    except InputError as problem:
        board.wrong.append(problem)
    if said.across:
        part = board.drafts.get(names.key(said.name.text))
        if part is None or len(TERMINALS[part.kind]) != 2:
            if names.key(said.name.text) not in board.blurred:
                board.say(
                    f"{said.name.text} is no part with two ends",
                    "Name a resistor of the stage, or two nodes: set RV1 for 10 mV at A to B.",
                    said.name.place,
                )
            return None
        first, second = (("leg", f"{part.ref}.{leg}") for leg in TERMINALS[part.kind])
        setting = Setting(ref, volts, part.ref, "", across=True, origin=said.place)
        return Placed(setting, first, second)
    point = board.point(said.name, new=False)
    minus = None if said.minus is None else board.point(said.minus, new=False)
    if point is None or (said.minus is not None and minus is None):
        return None
    other = None if minus is None else board.spelling(minus)
    setting = Setting(ref, volts, board.spelling(point), "", other, origin=said.place)
    return Placed(setting, point, minus)
