"""The grammars at work: one statement's text in, its clauses out.

lark and the grammars are loaded when the first statement is read, so that help is instant.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from biaspredict.errors import InputError
from biaspredict.notation import mistakes
from biaspredict.notation.clauses import (
    Adjusted,
    Alias,
    Amount,
    Assume,
    ChartHead,
    Clause,
    Conditions,
    Doing,
    Entries,
    Entry,
    Figure,
    Form,
    ForStage,
    Generator,
    Item,
    Mark,
    Note,
    Other,
    Outside,
    Path,
    ReadingsStatement,
    Skip,
    StageStatement,
    Title,
)
from biaspredict.notation.lines import Line
from biaspredict.notation.tables import tables

if TYPE_CHECKING:
    from lark import Token, Tree

    Node = Tree[Token] | Token


def stage_statement(line: Line) -> StageStatement:
    """What a line of a stage file says; InputError where it cannot be read."""
    tree = _tree("stage", line, "statement")
    read = _Reader(line)
    match tree.data:
        case "title":
            return Title(read.string(tree.children[1]))
        case "note":
            return Note(read.string(tree.children[1]).text)
        case "alias":
            return read.alias(tree)
        case "outside":
            what, name = tree.children[:2]
            return Outside(str(what).casefold(), read.mark(name), read.clauses(tree.children[2:]))
        case "assume":
            return Assume(tuple(read.groups(tree.children[1:])))
        case "chart":
            return ChartHead(read.clauses(tree.children[1:]))
        case "setting":
            return read.adjusted(tree)
        case "other":
            subs = [_sub(child) for child in tree.children if _is_tree(child)]
            if subs and subs[0].data == "named":
                return Other((), read.clause(subs[0]))
            return Other(tuple(read.alias(sub) for sub in subs), None)
    return Path(tuple(read.item(_sub(c)) for c in tree.children if _is_tree(c)))


def chart_figures(line: Line) -> tuple[Figure, ...]:
    """The figures on one line under a chart; InputError where it cannot be read."""
    tree = _tree("stage", line, "figures")
    read = _Reader(line)
    return tuple(read.figure(_sub(c)) for c in tree.children if _is_tree(c))


def readings_statement(line: Line) -> ReadingsStatement:
    """What a line of a readings file says; InputError where it cannot be read."""
    tree = _tree("readings", line, "statement")
    read = _Reader(line)
    children = tree.children
    match tree.data:
        case "title":
            day = read.mark(children[2]) if len(children) > 2 else None
            return Title(read.string(children[1]), day)
        case "stage":
            return ForStage(read.string(children[1]))
        case "conditions":
            return Conditions(read.clauses(children))
        case "skip":
            return Skip(tuple(read.point(_sub(c)) for c in children if _is_tree(c)))
        case "generator":
            source = read.clause(_sub(children[2])) if _is_tree(children[2]) else None
            return Generator(
                read.amount(_sub(children[1])),
                source,
                str(children[-2]).casefold(),
                read.mark(children[-1]),
                line.span(),
            )
        case "gain":
            return Entries("gain", (read.gain(tree),))
    quantity = str(children[0]).casefold() if _kind(children[0]) == "QUANTITY" else ""
    return Entries(quantity, tuple(read.entry(_sub(c)) for c in children if _is_tree(c)))


def _tree(name: str, line: Line, start: str) -> Tree[Token]:
    from lark import Tree, UnexpectedInput

    try:
        tree = tables(name).parser.parse(line.text, start=start)
    except UnexpectedInput as problem:
        raise mistakes.unexpected(tables(name).stops, start, line, problem) from None
    assert isinstance(tree, Tree)
    return tree


def _is_tree(node: Node) -> bool:
    return not isinstance(node, str)


def _is_doing(node: Node) -> bool:
    return not isinstance(node, str) and node.data == "doing"


def _sub(node: Node) -> Tree[Token]:
    assert not isinstance(node, str)
    return node


def _kind(node: Node) -> str:
    """Name of a token, "" for a tree."""
    return node.type if isinstance(node, str) else ""


class _Reader:
    """Turns what the grammar found in one line into records that know their places."""

    def __init__(self, line: Line) -> None:
        self.line = line

    def mark(self, node: Node) -> Mark:
        return self.stretch(*_ends(node))

    def stretch(self, start: int, end: int) -> Mark:
        """The text between two places, runs of blanks as one."""
        return Mark(" ".join(self.line.text[start:end].split()), self.line.span(start, end))

    def string(self, node: Node) -> Mark:
        mark = self.mark(node)
        start, end = _ends(node)
        raw = self.line.text[start:end]
        if _kind(node) == "STRING":
            raw = raw[1:-1].replace('""', '"')
        return Mark(raw.strip(), mark.place)

    def amount(self, tree: Tree[Token]) -> Amount:
        sure = _kind(tree.children[-1]) == "BANG"
        start, end = _ends(tree.children[0])[0], _ends(tree.children[-2 if sure else -1])[1]
        value = self.stretch(start, end)
        return Amount(value.text, value.place, sure)

    def clauses(self, nodes: list[Node]) -> tuple[Clause, ...]:
        return tuple(self.clause(_sub(node)) for node in nodes if _is_tree(node))

    def groups(self, nodes: list[Node]) -> Iterator[tuple[Clause, ...]]:
        """Clauses between commas."""
        group: list[Node] = []
        for node in nodes:
            if _kind(node) == "COMMA":
                yield self.clauses(group)
                group = []
            else:
                group.append(node)
        yield self.clauses(group)

    def clause(self, tree: Tree[Token]) -> Clause:
        """A property, or a keyword with what stands behind it."""
        place = self.mark(tree).place
        key = ""
        inner: Node | None = tree.children[0]
        if tree.data == "property" and _is_tree(tree.children[0]):
            tree = _sub(tree.children[0])
            inner = tree
        if tree.data in ("named", "clause"):
            key = " ".join(str(tree.children[0]).casefold().split())
            inner = tree.children[1] if len(tree.children) > 1 else None
        if inner is None:
            return Clause(key, Form.BARE, place, text=key)
        if not isinstance(inner, str):
            sub = _sub(inner)
            if sub.data == "amount":
                return Clause(key, Form.AMOUNT, place, (self.amount(sub),))
            two = tuple(self.amount(_sub(c)) for c in sub.children if _is_tree(c))
            return Clause(key, Form.SPAN, place, two)
        form = Form.WORD if inner.type == "NODE" else Form[inner.type]
        return Clause(key, form, place, text=self.mark(inner).text)

    def item(self, tree: Tree[Token]) -> Item:
        before = after = ""
        clauses: list[Clause] = []
        name = self.mark(next(c for c in tree.children if _kind(c) == "NODE"))
        for child in tree.children:
            if _is_tree(child):
                sub = _sub(child)
                if sub.data == "before":
                    before = str(sub.children[0])
                elif sub.data == "after":
                    after = str(sub.children[0])
                else:
                    clauses.append(self.clause(sub))
        return Item(name, before, after, tuple(clauses), self.mark(tree).place)

    def alias(self, tree: Tree[Token]) -> Alias:
        return Alias(self.mark(tree.children[0]), self.mark(tree.children[2]))

    def adjusted(self, tree: Tree[Token]) -> Adjusted:
        ref, name, *minus = [self.mark(c) for c in tree.children if _kind(c) == "NODE"]
        amount = next(_sub(c) for c in tree.children if _is_tree(c))
        across = any(_kind(c) == "ACROSS" for c in tree.children)
        key = next((self.mark(c) for c in tree.children if _kind(c) == "KEY"), None)
        if key is not None and key.text.casefold() != "at":
            raise InputError(
                f"'{key.text}' does not say where the volts are read",
                remedy="Write across and a part, or at and a node: set RV1 for 13.5 V at OUT.",
                place=key.place,
            )
        return Adjusted(
            ref, self.amount(amount), across, name, minus[0] if minus else None,
            self.mark(tree).place,
        )

    def figure(self, tree: Tree[Token]) -> Figure:
        names = [self.mark(c) for c in tree.children if _kind(c) == "NODE"]
        amounts = [self.amount(_sub(c)) for c in tree.children if _is_tree(c)]
        tokens = {_kind(c) for c in tree.children}
        return Figure(
            names[0],
            names[1] if len(names) > 1 else None,
            "ABOUT" in tokens,
            "OVER" in tokens,
            amounts[0] if amounts else None,
            self.mark(tree).place,
        )

    def entry(self, tree: Tree[Token], before: tuple[Clause, ...] = ()) -> Entry:
        names = [self.mark(c) for c in tree.children if _kind(c) in ("NODE", "VALUE")]
        figure = _sub(tree.children[-1])
        tokens = {_kind(c) for c in figure.children}
        remark = next((self.string(c).text for c in figure.children if _kind(c) == "STRING"), "")
        return Entry(
            names[0],
            names[1] if len(names) > 1 else None,
            any(_kind(c) == "ACROSS" for c in tree.children),
            "ABOUT" in tokens,
            "OVER" in tokens,
            before + self.clauses([c for c in figure.children if not _is_doing(c)]),
            remark,
            self.mark(tree).place,
            tuple(self.doing(_sub(c)) for c in figure.children if _is_doing(c)),
        )

    def point(self, tree: Tree[Token]) -> tuple[str, Entry]:
        """A reading without its figure."""
        names = [self.mark(c) for c in tree.children if _kind(c) in ("NODE", "VALUE")]
        word = next((str(c) for c in tree.children if _kind(c) in ("QUANTITY", "GAIN")), "")
        trees = [_sub(c) for c in tree.children if _is_tree(c)]
        return word.casefold(), Entry(
            names[0],
            names[1] if len(names) > 1 else None,
            any(_kind(c) == "ACROSS" for c in tree.children),
            False,
            False,
            self.clauses([c for c in trees if not _is_doing(c)]),
            "",
            self.mark(tree).place,
            tuple(self.doing(c) for c in trees if _is_doing(c)),
        )

    def doing(self, tree: Tree[Token]) -> Doing:
        what, word = tree.children[1:]
        place = self.mark(tree).place
        if _is_tree(what):
            return Doing("across", None, self.amount(_sub(what)), place)
        return Doing(str(word).casefold(), self.mark(what), None, place)

    def gain(self, tree: Tree[Token]) -> Entry:
        at = [_sub(c) for c in tree.children if _is_tree(c) and _sub(c).data == "clause"]
        return self.entry(tree, self.clauses(list(at)))


def _ends(node: Node) -> tuple[int, int]:
    """Where a token or a tree begins and ends in its line."""
    if isinstance(node, str):
        start, end = node.start_pos, node.end_pos
        assert start is not None
        assert end is not None
        return start, end
    places = [_ends(child) for child in node.children if isinstance(child, str) or child.children]
    # Only an entry without a figure, which is refused later, holds nothing.
    return (places[0][0], places[-1][1]) if places else (0, 0)
