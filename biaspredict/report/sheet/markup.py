"""Markup that cannot be broken by what stands in it: all text is escaped on its way in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from biaspredict.report.drawing.svg import clean

_EMPTY = frozenset({"br", "hr", "meta", "col"})


class Html(str):
    """Text that is markup already."""

    __slots__ = ()


def text(said: str) -> Html:
    """Text as markup: escaped, and without characters that no page may hold."""
    return said if isinstance(said, Html) else Html(escape(clean(said), quote=True))


def join(*inside: object) -> Html:
    """Pieces after each other; None is left out, lists are taken apart."""
    found: list[str] = []
    for piece in inside:
        if piece is None:
            continue
        if isinstance(piece, str):
            found.append(text(piece))
        elif isinstance(piece, Iterable):
            found.append(join(*piece))
        else:
            raise TypeError(f"{type(piece).__name__} is no text")
    return Html("".join(found))


def tag(name: str, /, *inside: object, **attributes: str | None) -> Html:
    """An element. Attributes: `class_` stands for class, other underscores for hyphens."""
    head = name
    for key, value in attributes.items():
        if value is not None:
            head += f' {key.rstrip("_").replace("_", "-")}="{text(value)}"'
    if name in _EMPTY:
        return Html(f"<{head}>")
    return Html(f"<{head}>{join(*inside)}</{name}>")


def table(
    heads: Sequence[str], rows: Iterable[Sequence[object] | Html], *,
    kinds: Sequence[str] = (), class_: str = "",
) -> Html:
    """A table whose cells carry their column's head, for screens too narrow for columns.

    kinds: class of each column, such as "figure" or "write". An empty head stands for a column of
    boxes or numbers. A row of markup is taken as it is.
    """
    kinds = [*kinds, *[""] * (len(heads) - len(kinds))]
    top = tag("tr", [
        tag("th", head, scope="col", class_=kind or None)
        for head, kind in zip(heads, kinds, strict=True)
    ])
    body = [
        row if isinstance(row, Html) else tag("tr", [
            tag("td", cell, class_=kind or None, data_label=head or None)
            for cell, head, kind in zip(row, heads, kinds, strict=True)
        ])
        for row in rows
    ]
    return tag("table", tag("thead", top), tag("tbody", body), class_=class_ or None)


def css_string(said: str) -> str:
    """Text as a string of a style sheet, every character but plain letters as its number."""
    return '"' + "".join(
        # a blank too: behind a number it would be taken for its end
        char if char.isascii() and char.isalnum() else f"\\{ord(char):06x}"
        for char in clean(said)
    ) + '"'
