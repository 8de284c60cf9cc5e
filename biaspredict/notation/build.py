"""From the text of a stage file to the stage."""

from __future__ import annotations

import re
from collections.abc import Iterable

from biaspredict.errors import InputError, Mistakes
from biaspredict.model.parts import TERMINALS, Part
from biaspredict.model.stage import (
    GROUND,
    Pin,
    Port,
    Rail,
    Stage,
    Twin,
)
from biaspredict.notation import names, outside, settings
from biaspredict.notation.charts import at_nodes, printed
from biaspredict.notation.clauses import (
    Adjusted,
    Alias,
    Assume,
    Mark,
    Note,
    Other,
    Outside,
    Path,
    Title,
)
from biaspredict.notation.describe import Draft
from biaspredict.notation.naming import Labels, Named, name_nodes
from biaspredict.notation.place import Board
from biaspredict.notation.statements import Statements, fail, stage_statements, start_of
from biaspredict.notation.wiring import Point
from biaspredict.span import Span

_REFERENCE = re.compile(r"([A-Za-z]+)([0-9]+)([A-Za-z]?)")


def read_stage(text: str, file: str = "stage") -> Stage:
    """Read a stage file's text; `file` is its name in messages.

    Raises Mistakes with every mistake of the file, each with its place and remedy.
    """
    said = stage_statements(text, file)
    _refuse_others(said, text, file)
    return _Stage(said, text, file).build()


def _refuse_others(said: Statements, text: str, file: str) -> None:
    """A file that is no stage at all gets one message, not one for each line."""
    if not said.lines and not said.wrong:
        raise Mistakes(
            [
                InputError(
                    "the file says nothing",
                    remedy='A stage begins with stage "its name"; see grammar/README.md.',
                    place=start_of(text, file),
                )
            ]
        )
    first = said.lines[0].text.split(maxsplit=1)[0].casefold() if said.lines else ""
    if first == "readings":
        raise Mistakes(
            [
                InputError(
                    "this is a file of readings, not a stage",
                    remedy="Name the stage file first, then the readings.",
                    place=said.lines[0].span(),
                )
            ]
        )


class _Stage:
    """The stage while it is put together; mistakes pile up in `wrong`."""

    def __init__(self, said: Statements, text: str, file: str) -> None:
        self.said = said
        self.text, self.file = text, file
        self.wrong = said.wrong
        self.board = Board(self.wrong, blurred=said.blurred)
        self.rails: list[Rail] = []
        self.pins: list[Pin] = []
        self.ports: list[tuple[str, Port, Mark]] = []
        self.aliases: dict[str, Mark] = {}

    def build(self) -> Stage:
        title = self._title()
        assumed = outside.assumptions(
            [(a, line.span()) for line, a in self.said.read if isinstance(a, Assume)], self.wrong
        )
        self.board.bare = assumed.bare_capacitors
        for _, what in self.said.read:
            if isinstance(what, Outside):
                self._outside(what)
        paths = [what for _, what in self.said.read if isinstance(what, Path)]
        self.board.describe_all(paths)
        for path in paths:
            self.board.connect(path)
        self._aliases([what for _, what in self.said.read if isinstance(what, Alias)])

        charts = printed(self.said.charts, self.board)
        adjusted = settings.adjusted(
            (what for _, what in self.said.read if isinstance(what, Adjusted)), self.board
        )
        ports = [(what, port, self._point(mark)) for what, port, mark in self.ports]
        others = [what for _, what in self.said.read if isinstance(what, Other)]
        twins = self._twins(others)
        self.board.finish()
        self._single_ports(ports)
        groups = self._substantial()
        if not self.board.drafts and not self.wrong:
            self._say(
                "no part is described",
                "Write paths like B+ -- R1 100K -- Q1.base.",
                start_of(self.text, self.file),
            )
        fail(self.wrong)

        drafts = list(self.board.drafts.values())
        named = name_nodes(groups, [(d.ref, d.kind) for d in drafts], self._labels())
        return Stage(
            title=title,
            parts=tuple(_part(draft, named) for draft in drafts),
            rails=tuple(self.rails),
            nodes=named.nodes,
            names=dict(named.names),
            pins=tuple(_pinned(pin, named) for pin in self.pins),
            inputs=_ported("input", ports, named),
            outputs=_ported("output", ports, named),
            points=named.points,
            charts=tuple(at_nodes(chart, named) for chart in charts),
            assumptions=assumed,
            notes=tuple(what.text for _, what in self.said.read if isinstance(what, Note)),
            twins=twins,
            settings=tuple(settings.at_nodes(one, named) for one in adjusted),
            file=self.file,
        )

    def _say(self, fact: str, remedy: str, place: Span | None) -> None:
        self.wrong.append(InputError(fact, remedy=remedy, place=place))

    # --- statements --------------------------------------------------------------------------

    def _title(self) -> str:
        titles = [(line, what) for line, what in self.said.read if isinstance(what, Title)]
        first = self.said.lines[0].text.casefold() if self.said.lines else ""
        if not titles and not first.startswith("stage"):
            self._say(
                "the file does not begin with the name of the stage",
                'Write stage "line amplifier" in its first line.',
                start_of(self.text, self.file),
            )
        for line, _ in titles[1:]:
            self._say("a second stage begins here", "Give it a file of its own.", line.span())
        if titles and not titles[0][1].text.text:
            self._say("the stage has no name", "Write one in the quotes.", titles[0][0].span())
        return titles[0][1].text.text if titles else ""

    def _outside(self, said: Outside) -> None:
        name = said.name
        try:
            if said.what in ("input", "output"):
                self.ports.append((said.what, outside.port(said), name))
                return
            self._new_name(name, said.what)
            self.board.outside[names.key(name.text)] = name.text
            point = ("word", names.key(name.text))
            if said.what == "rail":
                self.board.wiring.fixed[point] = name.text
                self.rails.append(outside.rail(said))
            else:
                self.pins.append(outside.pin(said))
            self.board.wiring.add(point)
        except InputError as problem:
            self.wrong.append(problem)

    def _new_name(self, name: Mark, what: str) -> None:
        """InputError unless a rail, pin or alias may be called so."""
        key = names.key(name.text)
        fact, remedy = "", "Give it another name."
        if key in self.board.outside or key in self.aliases:
            fact = f"{name.text} is given a second time"
            remedy = "Keep one. A rail behind a resistor of the sheet is a node like any other."
        elif key == GROUND:
            fact, remedy = f"{name.text} is ground itself", f"Ground is no {what}."
        elif key in names.RESERVED:
            fact = f"'{name.text}' is a word of this notation and cannot name a {what}"
        elif what != "pin" and ("." in name.text or names.family(name.text) is not None):
            fact = f"{name.text} is spelt like a part or its leg and cannot name a {what}"
        elif names.joint(name.text, self.board.refs):
            fact = f"{name.text} already means the node where these parts meet"
        if fact:
            raise InputError(fact, remedy=remedy, place=name.place)

    def _aliases(self, aliases: Iterable[Alias]) -> None:
        good = []
        for alias in aliases:
            try:
                self._new_name(alias.name, "node")
            except InputError as problem:
                self.wrong.append(problem)
                continue
            self.aliases[names.key(alias.name.text)] = alias.name
            good.append(alias)
        for key, mark in self.aliases.items():
            self.board.words.setdefault(key, mark)
        for alias in good:
            of = self._point(alias.of)
            point = ("word", names.key(alias.name.text))
            if of == point:
                self._say("a name for itself", "Write the node behind =.", alias.of.place)
            elif of is not None:
                self.board.join(of, point, alias.name.place)

    def _point(self, mark: Mark) -> Point | None:
        return self.board.point(mark, new=False)

    def _single_ports(self, ports: list[tuple[str, Port, Point | None]]) -> None:
        """One source and one load at a node: of two, one is a slip."""
        seen: set[tuple[str, Point]] = set()
        for what, port, point in ports:
            if point is None:
                continue
            where = what, self.board.wiring.root(point)
            if where in seen and port.origin is not None:
                self._say(f"{port.node} has two {what}s", "Keep one of them.", port.origin)
            seen.add(where)

    def _twins(self, others: Iterable[Other]) -> tuple[Twin, ...]:
        found: dict[str, str] = {}
        offsets: list[int] = []
        for other in others:
            if other.offset is not None:
                offsets.append(self._offset(other))
            for pair in other.pairs:
                mine = self._mine(pair.name)
                if mine in found or pair.of.text in found.values():
                    self._say("this is paired twice", "Keep one.", pair.name.place)
                elif mine:
                    found[mine] = pair.of.text
        for offset in offsets[:1]:
            for draft in self.board.drafts.values():
                match = _REFERENCE.fullmatch(draft.ref)
                if match and draft.ref not in found and int(match[2]) + offset > 0:
                    found[draft.ref] = f"{match[1]}{int(match[2]) + offset}{match[3]}"
        return tuple(Twin(mine, other) for mine, other in found.items())

    def _offset(self, other: Other) -> int:
        assert other.offset is not None
        clause = other.offset
        text = clause.amounts[0].text if clause.amounts and clause.key == "offset" else ""
        if not re.fullmatch(r"[+-]?\d{1,6}", text):
            self._say(
                "an offset is a whole number",
                "Write other channel offset 100.",
                clause.place,
            )
            return 0
        return int(text)

    def _mine(self, mark: Mark) -> str:
        """The reference or node of this stage that a pair begins with."""
        key = names.key(mark.text)
        if key in self.board.refs:
            return self.board.refs[key]
        point = self._point(mark)
        return self.board.spelling(point) if point else ""

    # --- nodes -------------------------------------------------------------------------------

    def _substantial(self) -> list[tuple[Point, ...]]:
        """The nodes that something stands at; the others are mistakes."""
        good = []
        for group in self.board.wiring.groups():
            words = [key for kind, key in group if kind == "word"]
            legs = any(kind == "leg" for kind, _ in group)
            if legs or GROUND in words or any(key in self.board.outside for key in words):
                good.append(group)
            elif not self.wrong and words:
                mark = self.board.words[words[0]]
                self._say(
                    f"no part meets {mark.text}",
                    "Check the path it stands in.",
                    mark.place,
                )
        for key, mark in self.board.words.items():
            if ("word", key) not in self.board.wiring and not self.wrong:
                self._say(f"no path meets {mark.text}", "Check its spelling.", mark.place)
        return good

    def _labels(self) -> Labels:
        board = self.board
        points = {
            key: label
            for key, mark in board.words.items()
            if (label := names.point_label(mark.text)) is not None
        }
        words = {
            key: mark.text
            for key, mark in board.words.items()
            if key not in self.aliases and key not in points
        }
        aliases = {k: m.text for k, m in self.aliases.items() if k not in points}
        return Labels(
            words,
            {names.key(rail.name): rail.name for rail in self.rails},
            {names.key(pin.name): pin.name for pin in self.pins},
            points,
            aliases,
        )


def _part(draft: Draft, named: Named) -> Part:
    nodes = tuple(named.of["leg", f"{draft.ref}.{leg}"] for leg in TERMINALS[draft.kind])
    return Part(draft.ref, draft.kind, nodes, origin=draft.place, **draft.fields)


def _pinned(pin: Pin, named: Named) -> Pin:
    node = named.of["word", names.key(pin.name)]
    return Pin(pin.name, node, pin.volts, pin.ohms, pin.amps, pin.origin)


def _ported(
    what: str, ports: list[tuple[str, Port, Point | None]], named: Named
) -> tuple[Port, ...]:
    return tuple(
        Port(named.of[point], port.ohms, port.blocked, port.origin)
        for which, port, point in ports
        if which == what and point is not None
    )
