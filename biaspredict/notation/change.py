"""A change of one part as typed at the bench: `C3=47uF`, `R4=1.2K`, `Q1=npn gain 200..400`."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

from biaspredict.errors import InputError
from biaspredict.model.devices import Bipolar, Diode, Fet
from biaspredict.model.parts import CAPACITORS, Kind, Part
from biaspredict.model.stage import Stage
from biaspredict.notation.clauses import Clause, Form, Path
from biaspredict.notation.describe import describe, kind_of
from biaspredict.notation.devices import DEVICE_WORDS, role
from biaspredict.notation.lines import Line, cut
from biaspredict.notation.reason import written
from biaspredict.notation.syntax import stage_statement
from biaspredict.notation.vocabulary import AMOUNTS, DIELECTRICS, POLAR
from biaspredict.quantities import Unit, ValueReadError, parse_value

_SIGN = "="
_SAMPLE = 'C3=47uF, R4=1.2K or Q1="npn silicon gain 200..400"'


@dataclass(frozen=True, slots=True)
class Change:
    """A part before and after; sure: its value was confirmed with !, whatever is on the shelf."""

    before: Part
    after: Part
    sure: bool


def read_change(stage: Stage, text: str) -> Change:
    """Read one change of a part of the stage.

    The new value is the fitted one, as if `fitted` and it were written into the stage file, and
    what was measured is gone with the old part. What is not said stays as it was. Raises
    InputError with the remedy.
    """
    name, sign, said = text.partition(_SIGN)
    if not sign or not name.strip():
        raise InputError(f"{text!r} is no change of a part", remedy=f"Write it like {_SAMPLE}.")
    part = _part(stage, name.strip())
    if not said.strip():
        raise InputError(
            f"{part.ref}= what?", remedy=f"Write the new value behind it, like {_SAMPLE}."
        )
    if _SIGN in said:
        raise InputError(
            f"{text}: two changes in one", remedy="Keep them apart: R4=1.2K R5=3.3K, no quotes."
        )
    try:
        return _changed(stage, part, said.strip())
    except InputError as problem:
        raise InputError(f"{text}: {problem.fact}", remedy=problem.remedy) from None


def read_changes(stage: Stage, texts: Sequence[str]) -> tuple[Change, ...]:
    """Read several changes; InputError where one part is changed twice."""
    found: dict[str, Change] = {}
    for text in texts:
        change = read_change(stage, text)
        if change.before.ref in found:
            raise InputError(f"{change.before.ref} is changed twice", remedy="Keep one of the two.")
        found[change.before.ref] = change
    return tuple(found.values())


def _part(stage: Stage, name: str) -> Part:
    for part in stage.parts:
        if part.ref.casefold() == name.casefold():
            return part
    close = difflib.get_close_matches(name, [part.ref for part in stage.parts], 1, 0.3)
    rails = {rail.name for rail in stage.rails}
    remedy = f"Did you mean {close[0]}?" if close else "See the stage file for its references."
    if name in rails:
        remedy = "A rail is changed in the stage file."
    raise InputError(f"no part is called {name}", remedy=remedy)


def _changed(stage: Stage, part: Part, said: str) -> Change:
    line = _line(f"{part.ref} {said}")
    clauses = _clauses(line, part)
    kind = kind_of(clauses) or part.kind
    if kind is not part.kind and not {kind, part.kind} <= CAPACITORS:
        raise InputError(
            f"{part.ref} is {_a(part.kind)}, and {_a(kind)} cannot stand in its place",
            remedy="Another kind of part is another stage: change the stage file.",
        )
    if kind in CAPACITORS:
        kind = _capacitor(part, clauses)
    missing, kept = _missing(part, clauses)
    if missing:
        line = _line(f"{part.ref} {missing} {said}")
        clauses = _clauses(line, part)
    draft = describe(part.ref, kind, clauses, line.span(), stage.assumptions.bare_capacitors)
    new = dict(draft.fields)
    value = new.pop("printed", None)
    if value is not None and not kept:
        new |= {"fitted": value, "measured": None}
    if new.get("device") is None:
        new.pop("device", None)
    known = {field.name for field in fields(Part)}
    after = replace(part, kind=kind, **{k: v for k, v in new.items() if k in known})
    return Change(part, after, draft.sure)


def _line(text: str) -> Line:
    lines, wrong = cut(text, "change")
    if wrong:
        raise wrong[0]
    if len(lines) != 1:
        raise InputError("one part, one value", remedy=f"Write it like {_SAMPLE}.")
    return lines[0]


def _clauses(line: Line, part: Part) -> tuple[Clause, ...]:
    found = stage_statement(line)
    if not isinstance(found, Path) or len(found.items) != 1 or found.items[0].before:
        raise InputError("this is no value of a part", remedy=f"Write it like {_SAMPLE}.")
    item = found.items[0]
    if item.after or item.name.text.casefold() != part.ref.casefold():
        raise InputError("this is no value of a part", remedy=f"Write it like {_SAMPLE}.")
    return item.clauses


def _capacitor(part: Part, clauses: tuple[Clause, ...]) -> Kind:
    """A film capacitor may take the place of an electrolytic; the other way its plus is missing."""
    said = kind_of(clauses)
    words = {clause.word for clause in clauses} & set(DIELECTRICS)
    if part.kind is Kind.CAPACITOR and said is Kind.ELECTROLYTIC:
        raise InputError(
            f"{part.ref} has no plus, so where would that of an electrolytic go?",
            remedy="Say non-polar, or mark its plus in the stage file.",
        )
    if part.kind is Kind.ELECTROLYTIC and words and not words & POLAR:
        return Kind.CAPACITOR
    return said or part.kind


def _missing(part: Part, clauses: tuple[Clause, ...]) -> tuple[str, bool]:
    """What the old part still says of the new one, and whether that is its very value."""
    device = part.device
    if isinstance(device, Bipolar | Fet | Diode):
        roles = {role(clause.word) for clause in clauses if clause.word in DEVICE_WORDS}
        known = {}
        if isinstance(device, Bipolar):
            known = {
                "polarity": device.polarity.value,
                "material": device.material.value,
                "size": device.size.value,
            }
        elif isinstance(device, Fet):
            known = {"polarity": device.channel.value}
        else:
            known = {"material": device.material.value, "size": device.size.value}
        return " ".join(word for what, word in known.items() if what not in roles), False
    why = dict(AMOUNTS.get(part.kind, ())).get("printed")
    link = any(clause.word == "link" for clause in clauses)
    if part.now is None or why is None or link:
        return "", False
    bare = [c.amounts[0].text for c in clauses if c.form is Form.AMOUNT and not c.key]
    others = [other for name, other in AMOUNTS[part.kind] if name != "printed"]
    if all(any(_reads(text, other.unit) for other in others) for text in bare):
        return written(part.now, why), True
    return "", False


def _reads(text: str, unit: Unit) -> bool:
    """Whether a value is one of this unit by its own mark; a number alone is not."""
    try:
        parse_value(text, unit)
    except ValueReadError:
        return False
    return not text.strip("+-.,").replace(".", "").replace(",", "").isdecimal()


def _a(kind: Kind) -> str:
    return f"a{'n' if kind.value[0] in 'aeiou' else ''} {kind.value}"
