"""What is said at the terminal once a sheet is written."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from biaspredict.findings import Gravity
from biaspredict.infer.worksheet import Worksheet, rechecks
from biaspredict.report import words
from biaspredict.report.sheet.figure import Figure
from biaspredict.report.sheet.page import next_of, title

PARTS = {
    "volts": "no volts", "order": "no order of the points", "ohms": "no ohms",
    "renewal": "no renewal list", "before": "no answer to the readings before",
    "after": "no answer to the readings after",
}


def lines(sheets: Sequence[Worksheet], figures: Sequence[Figure], written: str) -> Iterator[str]:
    """One paragraph a stage: its state, what comes next, what is missing and why."""
    for sheet, figure in zip(sheets, figures, strict=True):
        yield words.wrapped(f"{title(sheet)}: {sheet.progress.state.value}; next: "
                            f"{next_of(sheet)}", "", "  ")
        for what, why in sheet.withheld.items():
            yield words.wrapped(f"{PARTS[what]}: {why}", "  ", "    ")
        if not figure.svg:
            yield words.wrapped(f"not drawn: {figure.reason}", "  ", "    ")
        for finding in sheet.findings:
            if finding.gravity is not Gravity.NOTE:
                yield words.wrapped(f"{finding.gravity.value}: {finding.fact}", "  ", "    ")
    yield f"Written: {written}"


def noteworthy(sheet: Worksheet, figure: Figure) -> bool:
    """Whether anything is amiss with the stage, or missing from its sheet."""
    verdict = sheet.verdict
    suspected = verdict is not None and not (verdict.sound and verdict.ranking.explained)
    return (
        bool(sheet.withheld) or not figure.svg or suspected
        or any(finding.gravity is not Gravity.NOTE for finding in sheet.findings)
        or any(check.slips or check.off for check in sheet.charts)
        or any(one.inside is False for one in rechecks(sheet))
    )
