"""Reads a page back: a small tree of elements, strict about what is left open."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "br", "hr", "col", "img", "input", "link"}


@dataclass
class Element:
    """An element, its attributes, and what stands in it."""

    name: str
    attributes: dict[str, str]
    inside: list[Element | str] = field(default_factory=list)

    @property
    def text(self) -> str:
        """All text in it, blanks collapsed."""
        return " ".join(" ".join(self._texts()).split())

    def _texts(self) -> Iterator[str]:
        for piece in self.inside:
            if isinstance(piece, str):
                yield piece
            else:
                yield from piece._texts()

    def every(self, name: str, class_: str = "") -> list[Element]:
        """Elements of that name in it, in the order of the page."""
        found = []
        for piece in self.inside:
            if isinstance(piece, Element):
                classes = piece.attributes.get("class", "").split()
                if piece.name == name and (not class_ or class_ in classes):
                    found.append(piece)
                found += piece.every(name, class_)
        return found

    def section(self, title: str) -> Element:
        """The one section with that heading."""
        (found,) = [s for s in self.every("section") if s.every("h2")[0].text == title]
        return found

    def rows(self) -> list[dict[str, str]]:
        """A table's rows by the heads of its columns; unnamed columns are left out."""
        return [
            {c.attributes["data-label"]: c.text for c in row.every("td")
             if "data-label" in c.attributes}
            for body in self.every("tbody") for row in body.every("tr")
            if len(row.every("td")) > 1
        ]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.top = Element("document", {})
        self.open = [self.top]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), f"{tag} says {names} twice"
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].inside.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].name == tag, f"</{tag}> closes {self.open[-1].name}"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].inside.append(data)


def read(page: str) -> Element:
    """The page as a tree; AssertionError where elements do not nest."""
    assert page.startswith("<!DOCTYPE html>\n")
    reader = _Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == [reader.top], f"{reader.open[-1].name} is never closed"
    (html,) = [piece for piece in reader.top.inside if isinstance(piece, Element)]
    return html
