"""The page of `suspect`: readings, what they say by themselves, suspects, the next reading."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.infer.ledger import Ledger
from biaspredict.infer.ranking import Suspect
from biaspredict.infer.splits import SOUND_LABEL, Outcome, Split
from biaspredict.infer.verdict import WORTH_A_LINE, Verdict
from biaspredict.model.readings import Quantity, Readings
from biaspredict.model.stage import Stage
from biaspredict.predict.meters import top_ohms
from biaspredict.report import asides, standing, words
from biaspredict.report.measuring import reach

SHOWN_GROUPS = 3
SHOWN_SPLITS = 3
METER = " (your meter takes the point down: see below)"


def page(stage: Stage, readings: Readings, verdict: Verdict, *, everything: bool = False) -> str:
    """The whole answer within 80 columns."""
    day = f", {readings.day.isoformat()}" if readings.day else ""
    blocks = [words.wrapped(f"{stage.title}: {readings.title}{day}")]
    if verdict.compared or verdict.doubts:
        blocks.append("\n".join(_readings(verdict)))
    drawn = {one.reading.node for one in verdict.loading}
    loaded = frozenset(part.ref for part in stage.parts if drawn.intersection(part.nodes))
    told = "\n".join(_ledger(verdict.ledger, loaded))
    if told:
        blocks.append("From the readings alone, by Ohm's law:\n" + told)
    blocks.extend("\n".join(said) for said in (
        asides.doubts(verdict.doubts), asides.meters(verdict.loading),
        asides.charts(verdict.charts),
    ))
    blocks.append("\n".join(standing.of_the_sound(verdict.states)))
    blocks.append("\n".join(_answer(verdict, everything)))
    blocks.append("\n".join(asides.unknowns(verdict.unknowns)))
    blocks.append("\n".join(_next(verdict)))
    after = "\n".join(_afterwards(verdict))
    if after:
        blocks.append(after)
    blocks.append("\n".join(_untested(verdict, stage)))
    return "\n\n".join(block for block in blocks if block)


def _readings(verdict: Verdict) -> Iterator[str]:
    rows = [("reading", "value", "sound: 95 % between", "")]
    for entry in verdict.compared:
        reading = entry.reading
        mark = "ok" if entry.inside else ("HIGH" if entry.off > 0 else "LOW")
        rows.append((
            asides.name_of(reading), asides.value_of(reading),
            words.span(entry.low, entry.high, reading.quantity), mark,
        ))
    for doubt in verdict.doubts:
        rows += [(asides.name_of(r), asides.value_of(r), "", "set aside") for r in doubt.aside]
    if len(rows) > 1:
        yield from words.table(rows, right=(1,))


def _ledger(found: Ledger, loaded: frozenset[str]) -> Iterator[str]:
    if found.currents:
        text = ", ".join(f"{c.part} {words.amps(abs(c.amps))}" for c in found.currents)
        yield words.wrapped(f"currents: {text}", "  ", "    ")
    for junction in found.junctions:
        note = "" if junction.usual else (
            f": outside {words.span(junction.low, junction.high)}, where a conducting "
            "junction of this kind stands" + (
                METER if junction.part in loaded else ""))
        yield words.wrapped(f"{junction.part} V_BE {words.volts(junction.volts)}{note}",
                            "  ", "    ")
    for balance in found.balances:
        note = METER if balance.leg.split(".")[0] in loaded else ""
        yield words.wrapped(asides.balance(balance) + note, "  ", "    ")
    for clash in found.clashes:
        yield words.wrapped(
            f"two readings of one node: {clash.first.name} {words.volts(clash.first.value)}, "
            f"{clash.second.name} {words.volts(clash.second.value)}: suspect the joint between",
            "  ", "    ")


def _answer(verdict: Verdict, everything: bool) -> Iterator[str]:
    ranking = verdict.ranking
    if not verdict.compared:
        yield "No readings yet."
        return
    if not ranking.explained:
        worst = verdict.worst
        yield words.wrapped(
            "No single or double fault of the catalogue explains these readings; the "
            "transcription or a reading is suspect."
            + (f" {worst.name} fits worst." if worst else ""))
        yield "Nearest, though they do not fit:"
    elif verdict.sound:
        yield words.wrapped(
            f"Sound, as far as these readings tell ({words.percent(ranking.sound)}).")
    shown = [s for s in ranking.suspects if everything or s.weight >= WORTH_A_LINE]
    groups: dict[int, list[tuple[int, Suspect]]] = {}
    for suspect in shown:
        groups.setdefault(suspect.group, []).append((ranking.suspects.index(suspect), suspect))
    for place, (group, members) in enumerate(sorted(groups.items())):
        if place == SHOWN_GROUPS and not everything:
            break
        yield _heading(place, len(members), verdict.sound)
        for index, suspect in members[:8]:
            share, text = _line(verdict, index, suspect)
            yield words.wrapped(text, f"{share:>11}  ", " " * 15)
            elsewhere = verdict.elsewhere.get(index, ())
            yield from standing.of_a_suspect(suspect.words, elsewhere)
        if len(members) > 8:
            rest = sum(s.weight for _, s in members[8:])
            yield f"  and {len(members) - 8} fainter ones, {words.percent(rest)} together"
        del group


def _heading(place: int, count: int, sound: bool) -> str:
    if place == 0:
        if sound:
            return "If not sound:"
        return ("Suspects that these readings cannot tell apart:" if count > 1
                else "The suspect:")
    return "Explain the readings less well:"


def _line(verdict: Verdict, index: int, suspect: Suspect) -> tuple[str, str]:
    text = suspect.words
    degrees = [
        f"{words.severity(s.value, s.unit)} ({words.severity_span(s.low, s.high, s.unit)})"
        for s in suspect.severities if s is not None
    ]
    if degrees:
        text += ": " + "; ".join(degrees)
    leak = verdict.leaks.get(index)
    if leak is not None:
        text += f", {words.amps(leak.amps)} at {words.volts(leak.volts)}"
    return words.percent(suspect.weight), text


def repair(verdict: Verdict) -> str:
    """What is to be done where nothing is left to tell apart: "renewing C2"."""
    parts = [name for name in verdict.settled if name not in verdict.fed]
    told = [f"renewing {words.listed(parts)}"] if parts else []
    told += [f"putting right what feeds {words.listed(verdict.fed)}"] if verdict.fed else []
    return " and ".join(told)


def fuse_caution(verdict: Verdict) -> str | None:
    """What to mind before a fuse is renewed; None where none is suspected."""
    if not verdict.fuses:
        return None
    return (
        f"{words.listed(verdict.fuses)}: a fuse seldom blows by itself. Before a new one is "
        "fitted measure the ohms of what it feeds, power off and discharged, and never fit a "
        "higher rating."
    )


def _next(verdict: Verdict) -> Iterator[str]:
    mind = fuse_caution(verdict)
    if mind is not None:
        yield words.wrapped(f"Caution: {mind}")
    if verdict.settled:
        yield words.wrapped(f"Stop measuring: {repair(verdict)} answers all that is left.")
        return
    if not verdict.splits:
        if verdict.compared:
            yield words.wrapped("No further reading within reach would tell more.")
        return
    yield "Measure next:"
    shown = verdict.splits[:SHOWN_SPLITS]
    for split in shown:
        yield from _split(split)
    for caution in dict.fromkeys(c for split in shown for c in split.touch.cautions):
        yield words.wrapped(f"Caution: {caution}", "  ", "    ")


def _split(split: Split) -> Iterator[str]:
    touch = split.touch
    yield words.wrapped(f"{touch.words} (costs {touch.cost:g})", "  ", "    ")
    for outcome in split.outcomes[:5]:
        yield outcome_line(split, outcome)


def outcome_line(split: Split, outcome: Outcome) -> str:
    """What it would mean if the reading fell there, within 80 columns."""
    touch = split.touch
    where = words.span(outcome.low, outcome.high, touch.probe.quantity)
    if touch.probe.quantity is Quantity.OHMS:
        where = reach(outcome.low, outcome.high, top_ohms(touch.meter))
    means = words.listed([
        f"{'nothing wrong' if label == SOUND_LABEL else ' with '.join(label)} "
        f"({words.percent(share)})" for label, share in outcome.means
    ], "or")
    return words.wrapped(f"{where}: {means}", "    ", "        ")


def _afterwards(verdict: Verdict) -> Iterator[str]:
    if verdict.sound or not verdict.afterwards or not verdict.ranking.explained:
        return
    best = verdict.ranking.suspects[0]
    yield words.wrapped(
        f"After {words.listed(best.parts)} is put right, expect:")
    rows = [
        (a.probe.name or a.probe.node, words.measured(a.value, a.probe.quantity),
         f"({words.span(a.low, a.high, a.probe.quantity)})")
        for a in verdict.afterwards
    ]
    yield from words.table(rows, right=(1,))


def _untested(verdict: Verdict, stage: Stage) -> Iterator[str]:
    by_part: dict[str, list[str]] = {}
    for fault in verdict.untested:
        by_part.setdefault(fault.part, []).append(fault.mode)
    if by_part:
        yield words.wrapped(
            f"Untested by DC: {', '.join(by_part)} dried out, open or resistive; also noise, "
            "oscillation, and contacts that come and go.")
        if not stage.inputs:
            yield words.wrapped(
                "No signal reading can be advised: the stage file does not say where the signal "
                "comes in. Write a line such as: input IN from 600.")
    if verdict.testing is not None:
        yield "The DC agrees. One signal reading tests the most of these:"
        yield from _split(verdict.testing)
    if verdict.ranking.unsolved:
        faults = ", ".join(f"{f.part} {f.mode}" for f in verdict.ranking.unsolved)
        yield words.wrapped(f"Not solved, so not judged: {faults}.")
