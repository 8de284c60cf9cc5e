"""What was done to the stage for one reading: with C1 lifted, with Q1 warm, with 100 ohm across."""

from __future__ import annotations

from collections.abc import Sequence

from biaspredict.errors import InputError
from biaspredict.model.parts import Kind, Part
from biaspredict.model.readings import Deed, Meanwhile
from biaspredict.notation import names, reason
from biaspredict.notation.clauses import Doing, Mark
from biaspredict.notation.mistakes import near
from biaspredict.notation.names import Index

_WORDS = {"warmed": Deed.WARM, "cooled": Deed.COOL, **{deed.value: deed for deed in Deed}}
DONE = frozenset(_WORDS)
HOW_DONE = "Write what was done like with C1 lifted or with Q1 warm; put a remark in quotes."
WARMED = (Kind.TRANSISTOR, Kind.DIODE)


def meanwhile(said: Sequence[Doing], index: Index) -> tuple[Meanwhile, ...]:
    """What the clauses behind a reading say was done. Raises InputError."""
    found: list[Meanwhile] = []
    for one in said:
        deed = _one(one, index)
        if any((deed.deed is other.deed is Deed.ACROSS) or deed.ref == other.ref
               for other in found):
            raise InputError("this is said twice", remedy="Keep one.", place=one.place)
        found.append(deed)
    return tuple(found)


def _one(said: Doing, index: Index) -> Meanwhile:
    deed = _WORDS[said.word]
    if said.amount is not None:
        return Meanwhile(deed, ohms=reason.value(said.amount, reason.RESISTOR))
    assert said.name is not None
    part, leg = _part(said.name, index)
    if deed is Deed.LIFTED:
        if not leg and len(part.terminals) > 2:
            legs = ", ".join(f"{part.ref}.{name}" for name in part.terminals)
            raise InputError(
                f"which leg of {part.ref} is lifted?", remedy=f"Its legs: {legs}.",
                place=said.name.place,
            )
        return Meanwhile(deed, f"{part.ref}.{leg}" if leg else part.ref)
    if leg or part.kind not in WARMED:
        raise InputError(
            f"what {said.word} does to {said.name.text} is not known here",
            remedy="It is followed in transistors and diodes: with Q1 warm. For the whole set "
            "write the temperature: Q1.base 3.1 temperature 45 C.",
            place=said.name.place,
        )
    return Meanwhile(deed, part.ref)


def _part(mark: Mark, index: Index) -> tuple[Part, str]:
    """The part, and its leg where one is named."""
    text, _, leg = mark.text.partition(".")
    ref = index.refs.get(names.key(text))
    if ref is None:
        raise InputError(
            f"no part is called {text}",
            remedy=near(text, index.refs.values())
            or "A part is lifted or warmed: with C1 lifted, with Q1 warm.",
            place=mark.place,
        )
    part = index.stage.part(ref)
    if not leg:
        return part, ""
    full = names.terminal(part.kind, leg)
    if full is None:
        raise names.no_node(mark, index)
    return part, full
