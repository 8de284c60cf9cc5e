"""Parts and paths of a stage: which parts there are, and which of their legs meet."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from biaspredict.errors import InputError
from biaspredict.model.parts import CAPACITORS, TERMINALS, Kind
from biaspredict.model.stage import GROUND
from biaspredict.notation import names
from biaspredict.notation.clauses import Item, Mark, Path
from biaspredict.notation.describe import Draft, describe, kind_of
from biaspredict.notation.mistakes import near
from biaspredict.notation.vocabulary import NON_POLAR, POLAR, UNMARKED
from biaspredict.notation.wiring import EARTH, Point, Wiring
from biaspredict.span import Span

_ARROWED = frozenset({Kind.DIODE, Kind.ZENER})


@dataclass(slots=True)
class Board:
    """Everything found so far. Mistakes go to `wrong`, and the work goes on.

    words: spelling of each plain word met in a path, in order of appearance, with its place.
    outside: keys of rails and pins. blurred: keys met in statements that could not be read,
    about which nothing more is said.
    """

    wrong: list[InputError]
    outside: dict[str, str] = field(default_factory=dict)
    blurred: frozenset[str] = frozenset()
    bare: float | None = None
    drafts: dict[str, Draft] = field(default_factory=dict)
    refs: dict[str, str] = field(default_factory=dict)
    paths: dict[str, Span] = field(default_factory=dict)
    lettered: set[str] = field(default_factory=set)
    words: dict[str, Mark] = field(default_factory=dict)
    pending: dict[str, Mark] = field(default_factory=dict)
    wiring: Wiring = field(default_factory=Wiring)

    # --- descriptions ------------------------------------------------------------------------

    def describe_all(self, paths: Iterable[Path]) -> None:
        """Find every part that is described, wherever that is."""
        items = [item for path in paths for item in path.items]
        described = {names.key(_bare(item.name.text)) for item in items if item.clauses}
        polar = {names.key(ref) for i in items if _plus(i) and (ref := self._ref(i, described))}
        for item in items:
            ref = _bare(item.name.text)
            # An arrow alone makes a diode, the generic one.
            arrow = item.before == "<" or item.after == ">"
            known = names.key(ref) in described or names.key(ref) in self.drafts
            if item.clauses or (arrow and not known and names.family(ref) in _ARROWED):
                self._describe(item, ref, polar)

    def _describe(self, item: Item, ref: str, polar: set[str]) -> None:
        key = names.key(ref)
        if not self._may_be_part(item, ref):
            return
        kind = kind_of(item.clauses) or names.family(ref)
        if kind is None:
            self.say(
                f"what kind of part is {ref}?",
                f"Write the kind behind it, like {ref} resistor 100K or {ref} npn.",
                item.name.place,
            )
            self.blurred |= {key}
            return
        words = {clause.word for clause in item.clauses}
        if kind is Kind.CAPACITOR and (key in polar or (words & POLAR and not words & NON_POLAR)):
            kind = Kind.ELECTROLYTIC
        if key in self.drafts:
            self.say(
                f"{ref} is described a second time (first in line {self.drafts[key].place.line})",
                "Describe each part once; elsewhere write its bare reference.",
                item.place,
            )
            return
        self.refs[key] = ref
        try:
            self.drafts[key] = describe(ref, kind, item.clauses, item.place, self.bare)
        except InputError as problem:
            self.wrong.append(problem)
            self.drafts[key] = Draft(ref, kind, item.place)

    def _may_be_part(self, item: Item, ref: str) -> bool:
        key, whole = names.key(ref), names.key(item.name.text)
        if "." in ref or "/" in ref or " " in ref:
            self.say(
                f"{ref} is a node, and a node has no value",
                "Write the wire -- behind it, or the reference of the part before the value.",
                item.place,
            )
        elif {key, whole} & {*self.outside, GROUND}:
            self.say(
                f"{item.name.text} is a node, and a node has no value",
                "Rails get theirs in a line like rail B+ 22 V.",
                item.place,
            )
        elif key in names.RESERVED:
            self.say(
                f"'{ref}' is a word of this notation and cannot name a part",
                near(ref, ("rail", "chart", "assume", "input", "output")) or "Rename it.",
                item.name.place,
            )
        else:
            return True
        return False

    # --- paths -------------------------------------------------------------------------------

    def connect(self, path: Path) -> None:
        """Join what a path joins."""
        items = path.items
        if len(items) == 1:
            if not items[0].clauses and names.key(_bare(items[0].name.text)) not in self.drafts:
                self._lone(items[0])
            return
        ends = [self._ends(item) for item in items]
        for end, item, where in ((ends[0], items[0], "begins"), (ends[-1], items[-1], "ends")):
            if end is not None and end[0] != end[1]:
                leg = f"{_bare(item.name.text)}.{1 if where == 'begins' else 2}"
                self.say(
                    f"the path {where} in a part, {_bare(item.name.text)}",
                    f"Write the node on its other side too; if nothing is there: {leg}.",
                    item.place,
                )
        for left, right, item in zip(ends, ends[1:], items[1:], strict=False):
            if left is not None and right is not None:
                self.join(left[1], right[0], item.place)

    def _lone(self, item: Item) -> None:
        name = item.name.text
        known = ("stage", "note", "rail", "assume", "input", "output", "pin", "chart", "other")
        if names.key(name) in self.blurred:
            return
        self.say(
            f"'{name}' says nothing by itself",
            near(name, known) or f"Describe a part, like {name} 100K, or write a path with --.",
            item.place,
        )

    def join(self, one: Point, other: Point, place: Span) -> None:
        """Wire between two points, unless it would short two rails."""
        try:
            self.wiring.join(one, other, place)
        except InputError as problem:
            self.wrong.append(problem)

    def _ends(self, item: Item) -> tuple[Point, Point] | None:
        """The points at which a path enters and leaves an item; None after a mistake."""
        ref = self._ref(item, self.drafts.keys())
        key = names.key(ref) if ref else ""
        if key in self.drafts:
            return self._through(item, self.drafts[key])
        if item.clauses or key in self.blurred:
            return None
        if ref is not None:
            self.say(
                f"nothing is said of {ref}",
                f"Write its value behind it, here or on a line of its own: {ref} ...",
                item.place,
            )
            return None
        point = self.point(item.name)
        return (point, point) if point else None

    def _ref(self, item: Item, described: Iterable[str]) -> str | None:
        """The reference an item shows, without its marks; None for a node."""
        name = item.name.text
        described = frozenset(described)
        bare = _bare(name)
        if names.key(name) in self.outside or names.key(bare) in self.outside:
            return None
        if item.clauses or item.before or item.after or names.key(bare) in described:
            return bare
        return bare if bare != name and names.family(bare) in CAPACITORS else None

    def _through(self, item: Item, draft: Draft) -> tuple[Point, Point] | None:
        ref, kind = draft.ref, draft.kind
        if item.clauses and item.place != draft.place:
            return None  # a second description, refused as such
        if kind in names.LEGS:
            legs = ", ".join(f"{ref}.{leg}" for leg in TERMINALS[kind])
            self.say(f"{ref} has three legs", f"Write the one meant: {legs}.", item.place)
            return None
        if first := self.paths.get(ref):
            self.say(
                f"{ref} stands in a path a second time (first in line {first.line})",
                "Two parts with one reference? A wire to it begins at one of its ends: "
                + " or ".join(f"{ref}.{leg}" for leg in TERMINALS[kind])
                + ".",
                item.place,
            )
            return None
        self.paths[ref] = item.place
        backward = self._backward(item, draft)
        one, two = (("leg", f"{ref}.{leg}") for leg in TERMINALS[kind])
        for point in (one, two):
            self.wiring.add(point)
        return (two, one) if backward else (one, two)

    def _backward(self, item: Item, draft: Draft) -> bool:
        """Whether the part's second terminal faces what comes before it."""
        ref, kind = draft.ref, draft.kind
        arrow = item.before == "<", item.after == ">"
        plus = item.before == "+", _plus_behind(item)
        fact = remedy = ""
        if kind in _ARROWED:
            if any(plus):
                fact = f"{ref} is a {kind.value}: it has an arrow, not a plus"
            elif sum(arrow) != 1:
                fact = f"which way does {ref} point?"
            remedy = f"Write {ref}> with the anode before it, or <{ref} with the cathode before it."
        elif any(arrow):
            fact, remedy = f"an arrow belongs to a diode, and {ref} is none", "Take it off."
        elif kind is Kind.ELECTROLYTIC:
            remedy = f"Write +{ref} if the plus faces what stands before it, else {ref}+."
            if all(plus):
                fact = f"{ref} has a plus on both sides"
            elif not any(plus):
                fact = f"which side of {ref} is the plus?"
            if "film" in str(draft.fields.get("dielectric", "")):
                fact, remedy = f"{ref} is film and has no polarity", "Take off the plus."
            if "non-polar" in str(draft.fields.get("dielectric", "")):
                fact, remedy = f"{ref} is non-polar and has no plus", "Take off the plus."
        elif any(plus):
            fact, remedy = f"a plus belongs to an electrolytic, and {ref} is none", "Take it off."
        elif kind is Kind.CAPACITOR:
            self._marked(draft, item)
        if fact:
            self.say(fact, remedy, item.place)
        return arrow[0] if kind in _ARROWED else plus[1]

    def _marked(self, draft: Draft, item: Item) -> None:
        farads = draft.fields.get("printed", 0.0)
        if farads >= UNMARKED and not draft.fields.get("dielectric") and not draft.sure:
            self.say(
                f"{draft.ref} has 1 uF or more and shows no plus",
                f"Write +{draft.ref} or {draft.ref}+ for an electrolytic; else name what it is "
                "made of (film, paper, non-polar), or confirm the value with !",
                item.place,
            )

    # --- points ------------------------------------------------------------------------------

    def point(self, mark: Mark, *, new: bool = True) -> Point | None:
        """The point that a name in a path means; None after a mistake. new: words are made."""
        name, key = mark.text, names.key(mark.text)
        if key in self.outside or key == GROUND:
            return "word", key
        if "." in name:
            return self._leg(mark)
        if key in self.blurred:
            return None
        if refs := names.joint(name, self.refs):
            point = ("joint", "/".join(refs))
            self.pending.setdefault(point[1], mark)
            return point
        if key in self.drafts:
            ends = ", ".join(f"{self.refs[key]}.{leg}" for leg in TERMINALS[self.drafts[key].kind])
            self.say(f"{name} is a part, not a node", f"Its ends: {ends}.", mark.place)
        elif key in names.RESERVED:
            self.say(
                f"'{name}' is a word of this notation and cannot name a node",
                "Call the node something else, like IN or OUT.",
                mark.place,
            )
        elif names.family(name) is not None and names.point_label(name) is None:
            self.say(
                f"nothing is said of {name}",
                f"Write its value behind it, here or on a line of its own: {name} ...",
                mark.place,
            )
        elif key in self.words or new:
            self.words.setdefault(key, mark)
            return "word", key
        else:
            self.say(f"no node is called '{name}'", self._near_node(name), mark.place)
        return None

    def _near_node(self, name: str) -> str:
        known = [mark.text for mark in self.words.values()] + list(self.outside.values())
        legs = [f"{d.ref}.{leg}" for d in self.drafts.values() for leg in TERMINALS[d.kind]]
        return near(name, [GROUND, *known, *legs]) or (
            f"Write it into the path that meets it; the paths know {', '.join(known[:8])}."
            if known
            else "Write it into the path that meets it."
        )

    def spelling(self, point: Point) -> str:
        """A point's name as the stage spells it."""
        kind, name = point
        if kind != "word" or name == GROUND:
            return name
        if name in self.outside:
            return self.outside[name]
        text = self.words[name].text
        label = names.point_label(text)
        return text if label is None else f"TP{label}"

    def _leg(self, mark: Mark) -> Point | None:
        ref, _, leg = mark.text.partition(".")
        key = names.key(ref)
        draft = self.drafts.get(key)
        if draft is None:
            if key not in self.blurred:
                legs = [f"{d.ref}.{t}" for d in self.drafts.values() for t in TERMINALS[d.kind]]
                self.say(
                    f"no part is called {ref}",
                    f"Of a box not worth opening write what the pin does: pin {mark.text} "
                    "holds 3.2 V via 10K."
                    if leg.isdecimal()
                    else near(mark.text, legs)
                    or f"Describe it on a line of its own: {ref} npn ...",
                    mark.place,
                )
            return None
        full = names.terminal(draft.kind, leg)
        if full is None:
            legs = [f"{draft.ref}.{name}" for name in TERMINALS[draft.kind]]
            self.say(
                f"{draft.ref} has no leg '{leg}'",
                near(mark.text, legs) or f"Its legs: {', '.join(legs)}.",
                mark.place,
            )
            return None
        self.lettered.add(draft.ref)
        point = ("leg", f"{draft.ref}.{full}")
        self.wiring.add(point)
        return point

    def finish(self) -> None:
        """What can only be seen once every path is known."""
        for key, draft in self.drafts.items():
            leg = TERMINALS[draft.kind][0]
            for each in TERMINALS[draft.kind]:
                self.wiring.add(("leg", f"{draft.ref}.{each}"))
            if draft.ref not in self.paths and draft.ref not in self.lettered:
                self.say(
                    f"{draft.ref} is described, but no path meets it",
                    f"Write what it is wired to, like B+ -- {self.refs[key]}"
                    + (f".{leg}." if draft.kind in names.LEGS else " -- ground."),
                    draft.place,
                )
        self.wiring.add(EARTH)
        for joint, mark in self.pending.items():
            self._meet(joint, mark)

    def _meet(self, joint: str, mark: Mark) -> None:
        """Join "R1/R2" to the node where these parts meet."""
        refs = joint.split("/")
        own = self.wiring.root(("joint", joint))
        meets = [
            group[0]
            for group in self.wiring.groups()
            if set(refs) <= {name.partition(".")[0] for kind, name in group if kind == "leg"}
        ]
        if any(self.wiring.root(root) == own for root in meets):
            return
        if len(meets) == 1:
            self.join(meets[0], own, mark.place)
        else:
            apart = "do not meet" if not meets else "meet at more than one node"
            self.say(
                f"{' and '.join(refs)} {apart}",
                "Write a leg instead, like " + f"{refs[0]}.{TERMINALS[self._kind(refs[0])][0]}.",
                mark.place,
            )

    def _kind(self, ref: str) -> Kind:
        return self.drafts[names.key(ref)].kind

    def say(self, fact: str, remedy: str, place: Span) -> None:
        """Note a mistake."""
        self.wrong.append(InputError(fact, remedy=remedy, place=place))


def _bare(name: str) -> str:
    return name.removesuffix("+")


def _plus_behind(item: Item) -> bool:
    return item.after == "+" or item.name.text.endswith("+")


def _plus(item: Item) -> bool:
    return item.before == "+" or _plus_behind(item)
