"""The one place where the proving ground meets the tool: its answer, in the ground's own words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from biaspredict.model.readings import Quantity
from biaspredict.model.stage import GROUND, Stage

if TYPE_CHECKING:
    from biaspredict.infer import ranking, splits
    from biaspredict.predict.probe import Probe

FAINT = 1e-4  # weights below are left out


@dataclass(frozen=True, slots=True)
class Suspect:
    """One suspect as the tool lists it, or a pair of them.

    faults: (part, mode) for each member, in the words of the table of priors: part "R3", "Q1",
    "B+" or "board NODE"; a bad joint at a leg is ("Q1", "base joint"), an open one "base open".
    low, high: the reported 90 % range of the severity, unit "ohm" or "times"; None where fixed.
    """

    faults: tuple[tuple[str, str], ...]
    weight: float
    group: int
    low: float | None = None
    high: float | None = None
    unit: str = ""

    @property
    def parts(self) -> frozenset[str]:
        return frozenset(part for part, _ in self.faults)


@dataclass(frozen=True, slots=True)
class Advice:
    """A reading the tool asks for next; `minus` is the other lead."""

    volts: bool
    node: str
    minus: str = GROUND


@dataclass(frozen=True, slots=True)
class Answer:
    """sound: weight of "nothing is wrong". suspects: heaviest first, groups numbered.

    explained: False where the tool says that nothing explains the readings. splits: the tool's
    own advice. shares: belief in each part to be renewed.
    """

    sound: float
    suspects: tuple[Suspect, ...]
    advice: tuple[Advice, ...] = ()
    unsolved: int = 0
    explained: bool = True
    splits: tuple[splits.Split, ...] = ()
    shares: Mapping[splits.Label, float] = field(default_factory=dict)

    @property
    def first_group(self) -> tuple[Suspect, ...]:
        return self.groups(1)

    def groups(self, count: int) -> tuple[Suspect, ...]:
        """Suspects of the first so many groups."""
        first = sorted({s.group for s in self.suspects})[:count]
        return tuple(s for s in self.suspects if s.group in first)


def load(path: Path) -> Stage:
    """A stage from its file, by the tool's notation."""
    from biaspredict.notation import load_stage

    return load_stage(path)


def parse(text: str) -> Stage:
    """A stage from its text."""
    from biaspredict.notation import read_stage

    return read_stage(text, "generated.stage")


def answer(stage: Stage, text: str, other: str = "") -> Answer:
    """What the tool says of a readings file, given as the person wrote it.

    other: the readings file of the other channel, which the person knows to be good.
    """
    from biaspredict.notation import read_readings
    from biaspredict.pipeline import suspect

    mine = read_readings(text, "drawn.readings", stage)
    theirs = read_readings(other, "other.readings", stage) if other else None
    verdict = suspect(stage, mine, others=theirs)
    found = verdict.ranking
    return Answer(
        found.sound,
        tuple(_suspect(s) for s in found.suspects if s.weight > FAINT),
        tuple(_advice(split.touch.probe) for split in verdict.splits),
        len(found.unsolved),
        found.explained,
        verdict.splits,
        _shares(found),
    )


def at_first_sight(before: Answer, stage: Stage, text: str) -> Mapping[splits.Label, float]:
    """What the tool says of the last reading of a file before it weighs all of them again."""
    from biaspredict.infer.first_sight import at_first_sight
    from biaspredict.notation import read_readings

    mine = read_readings(text, "drawn.readings", stage)
    return dict(at_first_sight(before.splits, stage, mine, mine.entries[-1]))


def _shares(found: ranking.Ranking) -> Mapping[splits.Label, float]:
    from biaspredict.infer.splits import SOUND_LABEL, believed

    return {SOUND_LABEL: found.sound} | believed(found)


def _suspect(found: ranking.Suspect) -> Suspect:
    degree = found.severities[0] if len(found.faults) == 1 else None
    return Suspect(
        tuple(_key(fault.part, fault.mode) for fault in found.faults),
        found.weight,
        found.group,
        degree.low if degree else None,
        degree.high if degree else None,
        degree.unit if degree else "",
    )


def _key(part: str, mode: str) -> tuple[str, str]:
    if part.startswith("board at "):
        return part.replace("board at ", "board ", 1), mode
    ref, _, terminal = part.partition(".")
    if mode == "joint" and terminal:
        return ref, f"{terminal} joint"
    return part, mode


def _advice(probe: Probe) -> Advice:
    plain = probe.quantity is Quantity.VOLTS and not probe.doing
    return Advice(plain, probe.node, probe.minus or GROUND)
