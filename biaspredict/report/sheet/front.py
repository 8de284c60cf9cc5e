"""The front page of a set: what is done, what is next, what to order."""

from __future__ import annotations

from collections.abc import Sequence

from biaspredict.infer.progress import State, next_step
from biaspredict.infer.worksheet import Worksheet
from biaspredict.predict.renew import totals
from biaspredict.quantities import Unit, engineering
from biaspredict.report.entering import OPENING
from biaspredict.report.sheet.markup import Html, table, tag
from biaspredict.report.sheet.page import next_of, title
from biaspredict.report.sheet.pieces import blank, box, caution, fields, section

DONE = frozenset({State.SOUND, State.RECHECKED})


def front(heading: str, sheets: Sequence[Worksheet]) -> Html:
    """The stages with their states, the next step of the set, and the order for all of it."""
    done = sum(sheet.progress.state in DONE for sheet in sheets)
    return tag(
        "article",
        tag("h1", heading),
        fields(blank("Set"), blank("Number"), blank("Owner"), blank("Came in")),
        tag("p", tag("strong", f"{done} of {len(sheets)} stages are done. Next: "),
            next_step([sheet.progress for sheet in sheets])),
        section("The stages", table(
            ("", "", "Stage", "State", "Done so far", "Next"),
            [_row(number, sheet) for number, sheet in enumerate(sheets, start=1)],
            kinds=("count", "tick", "strong", "mark", "", ""), class_="wide low",
        )),
        section(
            "The order of the work", caution(OPENING),
            tag("p", "Ohms before power, rails before stages, one board at a time. Finish the "
                     "readings with the power on before it goes off again. One change at a time, "
                     "with the reading it should give said before it."),
        ),
        _order(sheets),
        class_="sheet front", id="sheet0",
    )


def _row(number: int, sheet: Worksheet) -> list[object]:
    so_far = sheet.progress
    return [
        str(number), box(so_far.state in DONE),
        tag("a", title(sheet), href=f"#sheet{number}"), so_far.state.value, done_words(sheet),
        next_of(sheet),
    ]


def done_words(sheet: Worksheet) -> str:
    """What lies behind this stage."""
    so_far, work = sheet.progress, sheet.work
    told = []
    if so_far.ohms_done:
        told.append("ohms")
    if so_far.rails_done:
        told.append("rails")
    for when, readings in (("before", work.before), ("after", work.after)):
        if readings is not None and readings.entries:
            count = len(readings.entries)
            told.append(f"{count} reading{'s' if count > 1 else ''} {when}")
    if so_far.fitted:
        told.append(f"fitted {', '.join(so_far.fitted)}")
    return "; ".join(told) or "nothing yet"


def _order(sheets: Sequence[Worksheet]) -> Html | None:
    lists = [found for sheet in sheets if (found := sheet.to_order) is not None]
    if len(lists) < len(sheets):
        return None  # places are counted over all stages
    order = totals(lists)
    if not order:
        return None
    rows = [
        (
            box(), f"{total.count} x", engineering(total.farads, Unit.FARAD),
            "? V" if total.volts is None else f"{total.volts:g} V", total.make,
            "; ".join(f"{place + 1}: {', '.join(refs)}" for place, refs in total.where),
        )
        for total in order
    ]
    parts = sum(total.count for total in order)
    return section(
        f"To order for all: {parts} part{'s' if parts > 1 else ''}",
        table(("", "How many", "Value", "Stands", "Make", "Stage: parts"), rows,
              kinds=("tick", "figure", "figure strong", "figure strong", "", ""),
              class_="wide low"),
    )
