"""The whole document: one sheet, or a front page and a sheet for each stage."""

from __future__ import annotations

from collections.abc import Sequence

from biaspredict.infer.worksheet import Worksheet
from biaspredict.report.sheet.figure import Figure
from biaspredict.report.sheet.front import front
from biaspredict.report.sheet.markup import Html, tag
from biaspredict.report.sheet.page import page, title
from biaspredict.report.sheet.style import SHEET, pages

MADE_BY = "biaspredict sheet"  # tells our own files from others
# Nothing is fetched and nothing runs, whatever stands in a title.
POLICY = "default-src 'none'; style-src 'unsafe-inline'"


def document(
    sheets: Sequence[Worksheet], figures: Sequence[Figure], heading: str = ""
) -> str:
    """An HTML document that needs no other file."""
    several = len(sheets) > 1
    name = heading or (f"Bench sheets of {len(sheets)} stages" if several else title(sheets[0]))
    body = [
        page(sheet, picture, place + several)
        for place, (sheet, picture) in enumerate(zip(sheets, figures, strict=True))
    ]
    if several:
        body.insert(0, front(name, sheets))
    style = SHEET + pages([*([name] if several else []), *(title(sheet) for sheet in sheets)])
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", http_equiv="Content-Security-Policy", content=POLICY),
        tag("meta", name="generator", content=MADE_BY),
        tag("title", name),
        tag("style", Html(style)),
    )
    return f"<!DOCTYPE html>\n{tag('html', head, tag('body', body), lang='en')}\n"
