"""What the bench entry says: the point asked for, and how an answer changed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from biaspredict.infer.ranking import Suspect
from biaspredict.infer.splits import SOUND_LABEL, Label, Split, believed
from biaspredict.infer.verdict import WORTH_A_LINE, Compared, Verdict
from biaspredict.model.readings import Quantity, Reading
from biaspredict.report import words
from biaspredict.report.accusing import fuse_caution, outcome_line, repair

MOST = 4  # suspects shown after a reading
STANDS_OUT = 0.05  # belief that is worth a word at first sight
OPENING = (
    "On opening: fuse holder, switch and the transformer's primary stay live with the switch "
    "off; pull the plug. A set without a mains transformer: stop, and hand it to someone "
    "qualified. Local rules and licensed practice come first."
)
FITTING = (
    "Power off and discharged. Capacitors: mind the plus, working volts at least those of the "
    "old one. Resistors and heatsinks may be hot."
)


def compared_lines(found: Compared) -> Iterator[str]:
    """One reading beside what sound sets read."""
    reading = found.reading
    mark = "ok" if found.inside else ("HIGH" if found.off > 0 else "LOW")
    yield words.wrapped(
        f"{named(reading)} {words.measured(reading.value, reading.quantity)}: {mark}, sound sets "
        f"{words.span(found.low, found.high, reading.quantity)}", "  ", "    ")


def named(reading: Reading) -> str:
    """A reading's place in a line about it."""
    to = "over" if reading.quantity is Quantity.GAIN else "to"
    name = reading.name if reading.minus_name is None else (
        f"{reading.name} {to} {reading.minus_name}")
    return " ".join((name, *(deed.text for deed in reading.meanwhile)))


def answer_lines(verdict: Verdict, before: Verdict | None) -> Iterator[str]:
    """The answer in a few lines, each with what it was before the last reading."""
    ranking = verdict.ranking
    was = None
    if before is not None:
        was = {_key(s): s.weight for s in before.ranking.suspects}
    shown = [s for s in ranking.suspects[:MOST] if s.weight >= WORTH_A_LINE]
    rows = [
        (s.weight, _told(s), _was(None if was is None else was.get(_key(s), 0.0))) for s in shown
    ]
    if ranking.sound >= WORTH_A_LINE:
        change = _was(before.ranking.sound if before is not None else None)
        rows.append((ranking.sound, "nothing wrong", change))
    rows.sort(key=lambda row: -row[0])
    yield from words.table(
        ((words.percent(weight), text, change) for weight, text, change in rows), right=(0,)
    )
    rest = sum(s.weight for s in ranking.suspects) - sum(s.weight for s in shown)
    if rest >= 0.05:
        yield f"  and {words.percent(rest)} on fainter ones"
    if not ranking.explained and verdict.compared:
        worst = f": look again at {verdict.worst.name}" if verdict.worst else ""
        yield words.wrapped(f"Nothing in the catalogue explains all of this{worst}.", "  ", "  ")
    mind = fuse_caution(verdict)
    if mind is not None:
        yield words.wrapped(f"Caution: {mind}", "  ", "  ")
    if verdict.settled:
        parts = [name for name in verdict.settled if name not in verdict.fed]
        then = f"type: done {parts[0]} with its new value" if parts else (
            f"read {words.listed(verdict.fed)} again")
        yield words.wrapped(
            f"Stop measuring: {repair(verdict)} answers all that is left. Then {then}", "  ", "  ")


def _key(suspect: Suspect) -> tuple[tuple[str, str], ...]:
    return tuple(fault.key for fault in suspect.faults)


def _was(share: float | None) -> str:
    return "" if share is None else f"was {words.percent(share)}"


def _told(suspect: Suspect) -> str:
    text = suspect.words
    degree = suspect.severities[0] if len(suspect.faults) == 1 else None
    if degree is not None:
        text += f": {words.severity(degree.value, degree.unit)}"
    return text if len(text) <= 52 else text[:49] + "..."


def short_answer(verdict: Verdict) -> str:
    """The answer as the log keeps it: "sound 74 %" or "suspect: C2 60 %, R7 28 %"."""
    ranking = verdict.ranking
    if verdict.sound and ranking.explained:
        return f"sound {words.percent(ranking.sound)}"
    if not ranking.explained:
        return "suspect: nothing explains these readings"
    best = sorted(believed(ranking).items(), key=lambda item: -item[1])[:3]
    told = [f"{' with '.join(label)} {words.percent(share)}" for label, share in best]
    return f"suspect: {', '.join(told)}"


def first_sight(shares: Sequence[tuple[Label, float]]) -> str:
    """What a reading says before the answer is worked out, "" where nothing stands out."""
    told = [
        f"{'nothing wrong' if label == SOUND_LABEL else ' with '.join(label)} "
        f"{words.percent(share)}" for label, share in shares[:3] if share >= STANDS_OUT
    ]
    return f"at first sight {', '.join(told)}" if told else ""


def asked_lines(
    what: str, why: str, cautions: Sequence[str], split: Split | None
) -> Iterator[str]:
    """What is asked for, what each outcome would mean, and the cautions of this step."""
    yield words.wrapped(f"Next: {what}" + (f". {why}" if why else ""))
    if split is not None:
        for outcome in split.outcomes[:4]:
            yield outcome_line(split, outcome)
    for caution in cautions:
        yield words.wrapped(f"Caution: {caution}", "  ", "  ")
