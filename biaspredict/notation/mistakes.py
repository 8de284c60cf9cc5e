"""What is said when a statement cannot be read, or a word is not known.

Each `Slip` couples a message with examples: where the parser stops at them, their message belongs.
Nothing the parser calls its own gets out.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import TYPE_CHECKING

from biaspredict.errors import InputError
from biaspredict.notation.lines import Line
from biaspredict.notation.slips import STRANGE
from biaspredict.notation.stops import Stops, slip_at, stop
from biaspredict.span import Span

if TYPE_CHECKING:
    from lark import UnexpectedInput

_EXPECTED = {
    "NODE": "a name or a word", "VALUE": "a value", "TOLERANCE": "a tolerance like 5%",
    "DASH": "wire, --", "EQUALS": "=", "COMMA": "a comma", "STRING": "text in quotes",
    "TO": "to", "ABOUT": "about", "OVER": "over", "KEY": "a word like at or via",
}  # fmt: skip


def unexpected(stops: Stops, start: str, line: Line, problem: UnexpectedInput) -> InputError:
    """The error for a statement at which the parser stopped."""
    at = getattr(problem, "pos_in_stream", -1)
    at = at if isinstance(at, int) and at >= 0 else len(line.text)
    _, token, length = stop(problem)
    if token == "$END":
        at, length = len(line.text), 1
    found = line.text[at : at + length].strip()
    span = line.span(at, at + length)
    if token in ("", "BANG") and found in STRANGE:
        fact, remedy = STRANGE[found]
        return InputError(fact, remedy=remedy, place=span)
    slip = slip_at(stops, start, line.text, problem)
    if slip is not None:
        shown = f"'{found}'" if found else "nothing"
        return InputError(slip.fact.format(found=shown), remedy=slip.remedy, place=span)
    wanted = [text for name, text in _EXPECTED.items() if name in _accepts(problem)]
    remedy = f"Expected here: {', '.join(wanted[:-1])} or {wanted[-1]}." if wanted[1:] else ""
    fact = f"'{found}' does not fit here" if found else "the line ends too early"
    return InputError(fact, remedy=remedy, place=span)


def _accepts(problem: UnexpectedInput) -> set[str]:
    from lark import UnexpectedCharacters, UnexpectedToken

    if isinstance(problem, UnexpectedToken):
        return set(problem.expected)
    return set(problem.allowed) if isinstance(problem, UnexpectedCharacters) else set()


def near(word: str, known: Iterable[str]) -> str:
    """The remedy that offers what is spelt most like `word`, "" where nothing is."""
    folded: dict[str, str] = {}
    for name in known:
        folded.setdefault(name.casefold(), name)
    close = difflib.get_close_matches(word.casefold(), folded, n=1, cutoff=0.6)
    return f"Did you mean {folded[close[0]]}?" if close else ""


def unknown(what: str, word: str, place: Span, known: Iterable[str], otherwise: str) -> InputError:
    """`word` is no `what`; with the near miss, or `otherwise` where there is none."""
    return InputError(f"{what} '{word}'", remedy=near(word, known) or otherwise, place=place)
