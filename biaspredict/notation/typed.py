"""A place or a meter as typed behind a command, by the rules of a readings file."""

from __future__ import annotations

from biaspredict.errors import InputError
from biaspredict.model.readings import Reading
from biaspredict.model.stage import Meter, Stage
from biaspredict.notation import outside, syntax
from biaspredict.notation.clauses import Conditions
from biaspredict.notation.entries import parse_entry
from biaspredict.notation.lines import cut

HOW_PLACE = "Write it like Q1.base, Q1.base to Q1.emitter, or across R3."


def read_place(text: str, stage: Stage) -> Reading:
    """Where the leads go: "Q1.base", "Q1.base to Q1.emitter", "across R3". Raises InputError.

    The reading's value means nothing.
    """
    try:
        return parse_entry(f"ohms {text} 1", stage)
    except InputError as problem:
        remedy = problem.remedy or HOW_PLACE
        raise InputError(f"'{text}': {problem.fact}", remedy=remedy) from None


def read_meter(text: str) -> Meter:
    """The meter of "20 kohm/V battery 1.5 V mid-scale 20", or of "10 MEG test 0.4 V".

    Raises InputError.
    """
    how = f"Write {outside.HOW_METER.replace('meter ', '')}."
    lines, wrong = cut(f"meter {text}", "meter")
    try:
        if wrong or len(lines) != 1:
            raise InputError("a meter is said in one line")
        said = syntax.readings_statement(lines[0])
        if not isinstance(said, Conditions):
            raise InputError("this is no meter")
        return outside.meter(said.clauses, Meter())
    except InputError as problem:
        raise InputError(
            f"the meter '{text}': {problem.fact}", remedy=problem.remedy or how
        ) from None
