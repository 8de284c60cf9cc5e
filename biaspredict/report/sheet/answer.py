"""What the readings say: suspects, and the next reading with what each outcome means."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.infer.ranking import Suspect
from biaspredict.infer.splits import SOUND_LABEL, Outcome, Split
from biaspredict.infer.verdict import WORTH_A_LINE, Verdict
from biaspredict.infer.worksheet import Worksheet
from biaspredict.report import asides, words
from biaspredict.report.accusing import fuse_caution, repair
from biaspredict.report.sheet.markup import Html, join, table, tag
from biaspredict.report.sheet.pieces import box, caution, checks, reason, section, sentences, span

MOST_SUSPECTS = 8
MOST_OUTCOMES = 5


def answer(sheet: Worksheet) -> Html | None:
    """What the latest readings say; nothing where there are none."""
    work = sheet.work
    when = "after" if work.after is not None else "before"
    if work.latest is None:
        return None
    verdict = sheet.last if work.after is not None else sheet.first
    if verdict is None:
        why = sheet.withheld.get(when) or sheet.withheld.get("volts", "")
        return section("What the readings say", reason(f"Nothing could be inferred. {why}"))
    return section(
        "What the readings say" if when == "before" else "What the readings after the work say",
        [tag("p", line) for line in _lead(verdict)],
        _table(verdict),
        [
            tag("p", sentences(doubt.finding.fact, doubt.finding.remedy))
            for doubt in verdict.doubts
        ],
        [tag("p", line) for line in asides.meters(verdict.loading)],
        list(_next(verdict)),
        list(_untested(verdict)),
    )


def _lead(verdict: Verdict) -> Iterator[str]:
    ranking = verdict.ranking
    if not verdict.compared:
        yield "No reading that anything can be inferred from."
    elif not ranking.explained:
        worst = f" {verdict.worst.name} fits worst." if verdict.worst else ""
        yield ("No single or double fault of the catalogue explains these readings: the "
               f"transcription or a reading is suspect.{worst}")
    elif verdict.sound:
        yield f"Sound, as far as these readings tell ({words.percent(ranking.sound)})."
    else:
        first = [s for s in ranking.suspects if s.group == 1 and s.weight >= WORTH_A_LINE]
        yield ("Suspects that these readings cannot tell apart come first."
               if len(first) > 1 else "One suspect explains them best.")


def _table(verdict: Verdict) -> Html | None:
    if verdict.sound or not verdict.compared:
        return None
    shown = [s for s in verdict.ranking.suspects if s.weight >= WORTH_A_LINE][:MOST_SUSPECTS]
    if not shown:
        return None
    rows = [(box(), words.percent(s.weight), _suspect(verdict, s)) for s in shown]
    return table(("", "Belief", "Suspect"), rows, kinds=("tick", "figure", "strong"),
                 class_="low")


def _suspect(verdict: Verdict, suspect: Suspect) -> str:
    text = suspect.words
    degrees = [
        f"{words.severity(s.value, s.unit)} ({words.severity(s.low, s.unit)} to "
        f"{words.severity(s.high, s.unit)})" for s in suspect.severities if s is not None
    ]
    if degrees:
        text += ": " + "; ".join(degrees)
    leak = verdict.leaks.get(verdict.ranking.suspects.index(suspect))
    if leak is not None:
        text += f", {words.amps(leak.amps)} at {words.volts(leak.volts)}"
    return text


def _next(verdict: Verdict) -> Iterator[Html]:
    mind = fuse_caution(verdict)
    if mind is not None:
        yield caution(mind)
    if verdict.settled:
        yield tag("p", tag("strong", f"Stop measuring: {repair(verdict)} "
                                     "answers all that is left."))
    elif verdict.splits:
        yield from _split(verdict.splits[0], "Measure next")
    elif verdict.compared and not verdict.sound:
        yield tag("p", "No further reading within reach would tell more.")
    if verdict.testing is not None:
        yield from _split(verdict.testing, "The signal reading that tests most of what DC leaves")


def _split(split: Split, lead: str) -> Iterator[Html]:
    touch = split.touch
    outcomes = [
        (box(), span(o.low, o.high, touch.probe.quantity), _means(o))
        for o in split.outcomes[:MOST_OUTCOMES]
    ]
    yield tag(
        "div", tag("h3", f"{lead}: {touch.words}"),
        [caution(said) for said in touch.cautions],
        table(("", "If it reads", "then"), outcomes, kinds=("tick", "strong band", ""),
              class_="low"),
        class_="keep",
    )


def _means(outcome: Outcome) -> str:
    return words.listed([
        f"{'nothing wrong' if label == SOUND_LABEL else ' with '.join(label)} "
        f"({words.percent(share)})" for label, share in outcome.means
    ], "or")


def _untested(verdict: Verdict) -> Iterator[Html]:
    parts = list(dict.fromkeys(fault.part for fault in verdict.untested))
    if parts:
        yield join(
            tag("p", "DC does not test these for being dried out, open or resistive, nor noise, "
                     "oscillation and contacts that come and go:"),
            checks(parts, "checks inline"),
        )
