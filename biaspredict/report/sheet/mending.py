"""The part of a sheet for the repair: what to renew, before and after, and the hand-back."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.infer.progress import State
from biaspredict.infer.worksheet import Recheck, Worksheet, rechecks
from biaspredict.model.log import Entry, Verb
from biaspredict.model.parts import Kind
from biaspredict.predict.renew import Advice, Item, Renewal
from biaspredict.report import words
from biaspredict.report.asides import name_of
from biaspredict.report.entering import FITTING
from biaspredict.report.renewing import (
    ONE_AT_A_TIME,
    effect,
    effect_head,
    faces,
    order_words,
    rated,
)
from biaspredict.report.sheet.markup import Html, join, table, tag
from biaspredict.report.sheet.pieces import (
    blank,
    box,
    caution,
    checks,
    reason,
    section,
    span,
    told,
)

SETTING = (
    "Bias trimmer to its minimum before the power is on; warm; then up slowly with the meter "
    "across the emitter resistor. If the millivolts climb by themselves, switch off."
)
OLD_PARTS = (
    "Some ceramic insulators hold beryllia: never file, break or sand one. Gloves for old oil and "
    "wax parts."
)
LAST = (
    "Insulation and touch current are measured by someone competent, by the local rules, before "
    "the set goes back to anyone."
)
ENTRY_WORDS = {
    Verb.FITTED: "fitted", Verb.DID: "done", Verb.PROMISED: "promised", Verb.KEPT: "as promised",
    Verb.MISSED: "not as promised", Verb.NOTE: "note",
}


def renewing(sheet: Worksheet) -> Html | None:
    """The renewal list, with a box for each part."""
    found = sheet.renewal
    if found is None:
        why = sheet.withheld.get("renewal", "")
        return section("Renew", reason(f"No list. {why}")) if why else None
    if not found.items:
        return None
    rows = [
        (
            box(item.ref in sheet.fitted), tag("strong", item.ref),
            rated(item.farads, item.working),
            "" if item.level is None else words.volts(item.level.volts),
            tag("strong", order_words(item.order)) if item.order is not None else "",
            faces(item), effect(item),
        )
        for item in found.renewed
    ]
    listed = table(
        ("", "Part", "Sheet", "DC on it", "Fit", "+ faces",
         effect_head(found.renewed).capitalize()), rows,
        kinds=("tick", "", "", "figure", "", "", ""), class_="wide",
    ) if rows else tag("p", "No capacitor here dries out or leaks with age.")
    return section(
        "Renew", caution(f"{FITTING} {OLD_PARTS}") if rows else None, listed,
        tag("p", ONE_AT_A_TIME, class_="small") if rows else None,
        [reason(why) for why in found.withheld],
        [tag("p", line, class_="small") for line in _remarks(found)],
    )


def _remarks(found: Renewal) -> Iterator[str]:
    for item in found.items:
        if item.warnings:
            yield f"Check {item.ref} first: {' '.join(item.warnings)}"
    for item in found.renewed:
        said = [f"The same for {item.fellow}."] if item.fellow else []
        if said or item.remarks:
            yield f"{item.ref}: {' '.join((*said, *item.remarks))}"
    yield from found.remarks
    kept = [i for i in found.left if i.advice is Advice.KEEP_VALUE]
    rest = [i for i in found.left if i.advice is Advice.LEAVE]
    if kept:
        yield f"Never another value: {', '.join(_with_value(i) for i in kept)}."
    if rest or found.germanium:
        yield f"Leave alone: {words.listed([*(i.ref for i in rest), *found.germanium])}."


def _with_value(item: Item) -> str:
    return f"{item.ref} {rated(item.farads, None)} ({item.does})"


def record(sheet: Worksheet) -> Html | None:
    """Before and after the work, with what was done between; nothing where nothing was read."""
    found = rechecks(sheet)
    done = sheet.work.entries
    if not found and not done:
        return None
    return section("Before and after", _done(done), _rechecks(sheet, found))


def _done(entries: tuple[Entry, ...]) -> Html | None:
    if not entries:
        return None
    return table(
        ("Day and time", "", "What"),
        [(e.when.isoformat(" ", "minutes"), ENTRY_WORDS.get(e.verb, e.verb.value), e.body)
         for e in entries],
        kinds=("", "strong", ""), class_="low",
    )


def _rechecks(sheet: Worksheet, found: tuple[Recheck, ...]) -> Html | None:
    if not found:
        return None
    first = sheet.first
    repaired = first is not None and not first.sound and first.ranking.explained
    head = "Expect once right"
    lead = None
    if repaired and first is not None and first.ranking.suspects:
        parts = words.listed(first.ranking.suspects[0].parts)
        lead = tag("p", f"Expected once {parts} is put right, on this very specimen:")
    rows = []
    for one in found:
        quantity = one.name.quantity
        expected = limits = ""
        if one.expected is not None and one.low is not None and one.high is not None:
            expected = words.measured(one.expected, quantity)
            limits = span(one.low, one.high, quantity)
        inside = one.inside
        rows.append((
            box(inside is True), tag("strong", name_of(one.name)), told(one.before), expected,
            limits, told(one.after), "" if inside is None else "as expected" if inside else
            tag("strong", "NOT as expected"),
        ))
    return join(lead, table(
        ("", "Point", "Before", head, "95 % between", "After", ""), rows,
        kinds=("tick", "name", "figure", "figure", "band", "write strong", ""), class_="wide",
    ))


def handing_back(sheet: Worksheet) -> Html:
    """What is left once the stage is right."""
    rechecked = sheet.progress.state is State.RECHECKED
    items: list[object] = [
        (rechecked, "Every point that was off is read again, as expected"),
    ]
    warning = None
    if any(part.kind is Kind.TRIMMER for part in sheet.stage.parts):
        warning = caution(SETTING)
        items += [
            join(f"{one.ref} set warm and without the lamp, for {words.volts(one.volts)} "
                 f"{one.place}: ", blank("", unit="V"))
            for one in sheet.stage.settings
        ] or [
            join("Set warm and without the lamp: ", blank("", unit="mV"), " across ",
                 blank("", unit="ohm"))
        ]
    items += [
        join("No DC on the output: ", blank("", unit="mV")),
        join("Soaked for ", blank("", unit="hours"), ", then listened to, both channels"),
        "Screws, covers and insulators are back; no lead is pinched",
        LAST,
    ]
    return section("Hand back", warning, checks(items),
                   tag("div", blank("Day"), blank("Signed"), class_="fields"), class_="step keep")
