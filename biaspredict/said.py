"""What stops the work, told in the width of a terminal."""

from __future__ import annotations

import textwrap

from biaspredict.errors import BiaspredictError, Mistakes

WIDTH = 79
HELD = "\0"  # for a blank at which no line is broken


def said(problem: BiaspredictError) -> str:
    """As `str(problem)`, long sentences broken; lines of a file and marks under them are not."""
    if isinstance(problem, Mistakes):
        return "\n".join(said(mistake) for mistake in problem.mistakes)
    place = problem.place
    where = "" if place is None else place.place().replace(" ", HELD) + ": "
    lines = [line.replace(HELD, " ") for line in _wrapped(where + problem.fact)]
    if place is not None and place.text:
        lines.append(place.caret())
    return "\n".join([*lines, *_wrapped(problem.remedy, "  ")])


def in_a_sentence(problem: BiaspredictError) -> str:
    """What is wrong, where, and the remedy, without the lines of the file."""
    if isinstance(problem, Mistakes):
        return " ".join(map(in_a_sentence, problem.mistakes))
    where = "" if problem.place is None else f"{problem.place.place()}: "
    fact = problem.fact if problem.fact.endswith(".") else f"{problem.fact}."
    return " ".join(f"{where}{fact} {problem.remedy}".split())


def _wrapped(text: str, indent: str = "") -> list[str]:
    found = []
    for line in text.splitlines():
        bare = line.lstrip()
        first = indent + line[: len(line) - len(bare)]
        found += textwrap.wrap(
            bare, WIDTH, initial_indent=first, subsequent_indent=f"{first}  ",
            break_long_words=False, break_on_hyphens=False,
        )
    return found
