"""The page of `log`: the stages of a set with their state, what comes next, the entries."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from biaspredict.infer.progress import Progress
from biaspredict.model.log import Log
from biaspredict.report import words

LATEST = 8  # entries shown unless all are asked for


def page(
    log: Log, stages: Sequence[Progress], following: str, *, everything: bool = False
) -> str:
    """The whole log within 80 columns."""
    begun = f", begun {log.begun:%Y-%m-%d}" if log.begun else ""
    blocks = [
        words.wrapped(f"{log.title}{begun}"),
        "\n".join(_stages(stages)),
        words.wrapped(f"Next: {following}"),
        "\n".join(_entries(log, everything)),
        "\n".join(damage_lines(log)),
    ]
    return "\n\n".join(block for block in blocks if block)


def _stages(stages: Sequence[Progress]) -> Iterator[str]:
    if not stages:
        yield "No stage is named yet."
        return
    rows = [("stage", "state", "ohms", "rails", "fitted")]
    rows += [
        (
            _short(found.chapter.title, 34), found.state.value,
            "yes" if found.ohms_done else "-", "yes" if found.rails_done else "-",
            _short(", ".join(found.fitted), 16) or "-",
        )
        for found in stages
    ]
    yield from words.table(rows)
    for found in stages:
        if found.last:
            yield words.wrapped(f"{found.chapter.title}: {found.last}", "  ", "    ")
        if found.owed is not None:
            yield words.wrapped(
                f"{found.chapter.title}: recheck owed, {found.owed.body}", "  ", "    ")


def _short(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 3] + "..."


def _entries(log: Log, everything: bool) -> Iterator[str]:
    standing = set(log.standing)
    shown = log.entries if everything else log.entries[-LATEST:]
    if not shown:
        return
    if len(shown) < len(log.entries):
        yield f"The latest of {len(log.entries)} entries:"
    for entry in shown:
        back = "" if entry in standing or entry.verb.value == "undo" else "  (taken back)"
        hand = "" if entry.checked else "  (by hand)"
        yield words.wrapped(
            f"{entry.line:4}  {entry.when.isoformat(' ', 'minutes')}  {entry.verb.value} "
            f"{entry.body}{back}{hand}", "", " " * 24)


def damage_lines(log: Log) -> Iterator[str]:
    """What of the file could not be read, and where."""
    for place in log.cut:
        yield words.wrapped(
            f"Line {place.line} was cut off while it was being written and is not used: "
            f"{_short(place.text.strip(), 60)}")
    if log.damage is not None:
        damage = log.damage
        yield f"{damage.place.place()}: {damage.fact}"
        yield damage.place.caret()
        yield words.wrapped(
            f"The log is read up to there; {damage.unread} lines after it are not. "
            f"{damage.remedy}")
