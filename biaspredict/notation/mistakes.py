"""What is said when a statement cannot be read, or a word is not known.

Each `Slip` couples a message with examples. These are parsed once, when the first mistake is met;
where the parser stops at them, their message belongs. Nothing the parser calls its own gets out.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from functools import cache
from typing import TYPE_CHECKING

from biaspredict.errors import InputError
from biaspredict.notation.lines import Line
from biaspredict.notation.slips import FIGURES, SLIPS, STATEMENT, STRANGE, Slip
from biaspredict.span import Span

if TYPE_CHECKING:
    from lark import Lark, UnexpectedInput

_EXPECTED = {
    "NODE": "a name or a word", "VALUE": "a value", "TOLERANCE": "a tolerance like 5%",
    "DASH": "wire, --", "EQUALS": "=", "COMMA": "a comma", "STRING": "text in quotes",
    "TO": "to", "ABOUT": "about", "OVER": "over", "KEY": "a word like at or via",
}  # fmt: skip


_HEADS = frozenset(
    {"stage", "note", "rail", "input", "output", "pin", "assume", "chart", "other", "set"}
    | {"readings", "for", "skip", "generator", "gain"}
)


def unexpected(parser: Lark, start: str, line: Line, problem: UnexpectedInput) -> InputError:
    """The error for a statement at which the parser stopped."""
    at = getattr(problem, "pos_in_stream", -1)
    at = at if isinstance(at, int) and at >= 0 else len(line.text)
    state, token, length = _stop(problem)
    if token == "$END":
        at, length = len(line.text), 1
    found = line.text[at : at + length].strip()
    span = line.span(at, at + length)
    if token in ("", "BANG") and found in STRANGE:
        fact, remedy = STRANGE[found]
        return InputError(fact, remedy=remedy, place=span)
    ways = ((head, kind) for kind in (token, "") for head in (_head(line.text), None))
    slips = (_stops(parser, head).get((start, state, kind)) for head, kind in ways)
    slip = next((found for found in slips if found is not None), None)
    if slip is not None:
        shown = f"'{found}'" if found else "nothing"
        return InputError(slip.fact.format(found=shown), remedy=slip.remedy, place=span)
    wanted = [text for name, text in _EXPECTED.items() if name in _accepts(problem)]
    remedy = f"Expected here: {', '.join(wanted[:-1])} or {wanted[-1]}." if wanted[1:] else ""
    fact = f"'{found}' does not fit here" if found else "the line ends too early"
    return InputError(fact, remedy=remedy, place=span)


def _head(text: str) -> str:
    """The keyword a statement begins with, "" for a path or a reading."""
    word = text.split(maxsplit=1)[0].casefold() if text.split() else ""
    return word if word in _HEADS else ""


def _accepts(problem: UnexpectedInput) -> set[str]:
    from lark import UnexpectedCharacters, UnexpectedToken

    if isinstance(problem, UnexpectedToken):
        return set(problem.expected)
    return set(problem.allowed) if isinstance(problem, UnexpectedCharacters) else set()


def _stop(problem: UnexpectedInput) -> tuple[int, str, int]:
    """Where the parser stood, the kind of what stopped it ("" for an unknown one), its length."""
    from lark import UnexpectedToken

    position = getattr(problem.state, "position", -1)
    if isinstance(problem, UnexpectedToken):
        return position, problem.token.type, max(len(problem.token), 1)
    return position, "", 1


@cache
def _stops(parser: Lark, head: str | None) -> dict[tuple[str, int, str], Slip]:
    """Where the examples with that keyword (None: all) stop: by start, parser's place, and kind
    of what stops it, which also stands as "", any, for the first example that stops there."""
    from lark import UnexpectedInput

    found: dict[tuple[str, int, str], Slip] = {}
    stage = "figures" in parser.options.start
    for slip in SLIPS:
        sources = [(STATEMENT, slip.stage), (FIGURES, slip.figures)]
        if not stage:
            sources = [(STATEMENT, slip.readings)]
        for start, texts in sources:
            for text in texts:
                if head is not None and _head(text) != head:
                    continue
                try:
                    parser.parse(text, start=start)
                except UnexpectedInput as problem:
                    state, token, _ = _stop(problem)
                    for kind in (token, ""):
                        found.setdefault((start, state, kind), slip)
    return found


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
