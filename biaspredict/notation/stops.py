"""Where the parser stops at the examples of the known slips.

Worked out once for each grammar and kept with its tables: parsing them all takes half as long as
building the tables, and a person with a slip of the pen waits for the answer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from biaspredict.notation.slips import FIGURES, SLIPS, STATEMENT, Slip

if TYPE_CHECKING:
    from lark import Lark, UnexpectedInput

# By keyword (None: any), start, the parser's place, and the kind of what stops it ("": any).
Stops = dict[tuple[str | None, str, int, str], int]

_HEADS = frozenset(
    {"stage", "note", "rail", "input", "output", "pin", "assume", "chart", "other", "set"}
    | {"readings", "for", "skip", "generator", "gain"}
)


def stops_of(parser: Lark) -> Stops:
    """Where its examples stop a parser; of several that stop in one place the first counts."""
    from lark import UnexpectedInput

    found: Stops = {}
    stage = "figures" in parser.options.start
    for number, slip in enumerate(SLIPS):
        sources = [(STATEMENT, slip.stage), (FIGURES, slip.figures)]
        if not stage:
            sources = [(STATEMENT, slip.readings)]
        for start, texts in sources:
            for text in texts:
                try:
                    parser.parse(text, start=start)
                except UnexpectedInput as problem:
                    state, token, _ = stop(problem)
                    for head in (_head(text), None):
                        for kind in (token, ""):
                            found.setdefault((head, start, state, kind), number)
    return found


def slip_at(stops: Stops, start: str, text: str, problem: UnexpectedInput) -> Slip | None:
    """The known slip that stops a parser where a text stopped it; None where no example does.

    What stopped it counts before where, an example with the text's keyword before any other.
    """
    state, token, _ = stop(problem)
    for kind in (token, ""):
        for head in (_head(text), None):
            number = stops.get((head, start, state, kind))
            if number is not None:
                return SLIPS[number]
    return None


def stop(problem: UnexpectedInput) -> tuple[int, str, int]:
    """Where the parser stood, the kind of what stopped it ("" for an unknown one), its length."""
    from lark import UnexpectedToken

    position = getattr(problem.state, "position", -1)
    if isinstance(problem, UnexpectedToken):
        return position, problem.token.type, max(len(problem.token), 1)
    return position, "", 1


def _head(text: str) -> str:
    """The keyword a statement begins with, "" for a path or a reading."""
    word = text.split(maxsplit=1)[0].casefold() if text.split() else ""
    return word if word in _HEADS else ""
