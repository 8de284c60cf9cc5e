"""The records behind `log --json` and the lines of `bench --json`."""

from __future__ import annotations

from typing import Protocol

from biaspredict.infer.progress import Progress
from biaspredict.infer.splits import label_of
from biaspredict.infer.verdict import Verdict
from biaspredict.model.log import Entry, Log
from biaspredict.model.stage import Stage
from biaspredict.report.data import VERSION, Record, head


class _Point(Protocol):
    @property
    def begin(self) -> str: ...
    @property
    def words(self) -> str: ...
    @property
    def powered(self) -> bool: ...
    @property
    def cautions(self) -> tuple[str, ...]: ...


def log_record(log: Log, stages: tuple[Progress, ...], following: str) -> Record:
    """The log of a set: its stages in order, what comes next, every entry, and any damage."""
    damage = log.damage
    standing = set(log.standing)
    return {
        "record": "biaspredict log", "version": VERSION, "title": log.title,
        "begun": log.begun.date().isoformat() if log.begun else None,
        "stages": [_stage(p) for p in stages],
        "next": following,
        "entries": [_entry(e, e in standing) for e in log.entries],
        "cut_off_lines": [place.line for place in log.cut],
        "damage": None if damage is None else {
            "line": damage.place.line, "fact": damage.fact, "remedy": damage.remedy,
            "unread_lines": damage.unread,
        },
    }


def _stage(found: Progress) -> Record:
    return {
        "stage": found.chapter.title, "file": found.chapter.file, "state": found.state.value,
        "ohms": found.ohms_done, "rails": found.rails_done, "fitted": list(found.fitted),
        "owed": found.owed.body if found.owed else None, "answer": found.last,
    }


def _entry(entry: Entry, standing: bool) -> Record:
    return {
        "line": entry.line, "when": entry.when.isoformat(sep=" "), "what": entry.verb.value,
        "body": entry.body, "standing": standing, "checked": entry.checked,
    }


def step_record(
    stage: Stage, said: tuple[str, ...], asked: _Point | None, verdict: Verdict | None, *,
    state: str, over: bool,
) -> Record:
    """One step of a sitting: what is said, the point asked for, the answer as it stands."""
    return head("bench", stage) | {
        "said": list(said), "state": state, "over": over,
        "asked": None if asked is None else {
            "begin": asked.begin, "words": asked.words, "powered": asked.powered,
            "cautions": list(asked.cautions),
        },
        "answer": None if verdict is None else {
            "sound": verdict.ranking.sound,
            "explained": verdict.ranking.explained,
            "settled": list(verdict.settled),
            "suspects": [
                {"parts": list(label_of(s.parts)), "words": s.words, "weight": s.weight,
                 "group": s.group}
                for s in verdict.ranking.suspects[:8]
            ],
        },
    }
