"""What stops the work: one root, each with the place and the remedy."""

from __future__ import annotations

from collections.abc import Iterable

from biaspredict.span import Span


class BiaspredictError(Exception):
    """Root of every error this package raises on purpose.

    `fact` says what is wrong, `remedy` what to do about it, `place` where it was read.
    """

    def __init__(self, fact: str, *, remedy: str = "", place: Span | None = None) -> None:
        super().__init__(fact)
        self.fact = fact
        self.remedy = remedy
        self.place = place

    def __str__(self) -> str:
        lines = [self.fact if self.place is None else f"{self.place.place()}: {self.fact}"]
        if self.place is not None and self.place.text:
            lines.append(self.place.caret())
        if self.remedy:
            lines.append(f"  {self.remedy}")
        return "\n".join(lines)


class InputError(BiaspredictError):
    """A file or an argument that cannot be used as it stands (exit code 2)."""


class Mistakes(InputError):
    """All mistakes of one file together, so that one reading mends them all."""

    def __init__(self, mistakes: Iterable[InputError]) -> None:
        self.mistakes = tuple(mistakes)
        super().__init__("\n".join(str(m) for m in self.mistakes))


class EngineMissing(BiaspredictError):
    """ngspice is not installed, or cannot be loaded (exit code 2)."""


# What helps where a whole stage has no operating point.
TO_PROOF = "Run `biaspredict proof` on it: a missed joint or a slipped decimal is likely."


class Unsolved(BiaspredictError):
    """An operating point that did not verifiably converge; no number may be printed from it."""


class WorkersLost(BiaspredictError):
    """The processes that share the work stopped; what they were to find is not known."""
