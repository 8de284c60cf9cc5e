"""Names of nodes and parts: how they are spelt, found, and which one the report uses."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from biaspredict.errors import InputError
from biaspredict.model.parts import POTS, TERMINALS, Kind
from biaspredict.model.stage import GROUND, Stage
from biaspredict.notation.clauses import Mark
from biaspredict.notation.mistakes import near
from biaspredict.span import Span

GROUNDS = frozenset({"ground", "gnd", "0v"})
# What begins a statement or means something within one cannot name a node.
RESERVED = frozenset(
    {"stage", "note", "rail", "input", "output", "pin", "assume", "chart", "other", "readings"}
    | {"set"}
    | {"for", "skip", "generator", "gain", "volts", "ohms", "drop", "level", "ripple", "across"}
    | {"over", "about", "to", "fitted", "measured", "at", "can", "vbe", "icbo", "early", "slope"}
    | {
        "junctions",
        "idss",
        "beta",
        "regulation",
        "reverse",
        "via",
        "off",
        "from",
        "into",
        "holds",
        "takes",
    }
    | {"gives", "age", "offset", "meter", "range", "battery", "test", "line", "temperature"}
    | {"after", "with", "lifted", "warm", "cool"}
)
# By the letters of its reference a part is of a kind; "" where a word must say which.
FAMILIES: Mapping[str, Kind | None] = {
    "R": Kind.RESISTOR, "C": Kind.CAPACITOR, "L": Kind.COIL, "T": Kind.WINDING,
    "D": Kind.DIODE, "CR": Kind.DIODE, "Z": Kind.ZENER, "ZD": Kind.ZENER,
    "Q": Kind.TRANSISTOR, "TR": Kind.TRANSISTOR, "VR": Kind.POT, "RV": Kind.POT,
    "LA": Kind.LAMP, "LP": Kind.LAMP, "F": Kind.FUSE, "S": Kind.SWITCH, "SW": Kind.SWITCH,
    "J": Kind.CONTACT, "P": Kind.CONTACT, "PL": Kind.CONTACT, "SK": Kind.CONTACT,
    "TH": Kind.THERMISTOR,
}  # fmt: skip
# Legs in the order in which they lend their name to a node.
LEGS: Mapping[Kind, tuple[str, ...]] = {
    Kind.TRANSISTOR: ("base", "emitter", "collector"),
    Kind.FET: ("gate", "source", "drain"),
    Kind.POT: ("wiper", "top", "bottom"),
    Kind.TRIMMER: ("wiper", "top", "bottom"),
}
_TERMINAL_LETTERS = {"k": "cathode", "+": "plus", "-": "minus"}
_REFERENCE = re.compile(r"([A-Za-z]+)([0-9]+)([A-Za-z]?)")
_POINT = re.compile(r"(?:test point |tp)(\w+)")


def family(name: str) -> Kind | None:
    """The kind that a reference such as R7 or C4A tells, None where it tells none."""
    match = _REFERENCE.fullmatch(name)
    return FAMILIES.get(match[1].upper()) if match else None


def key(name: str) -> str:
    """What a name is compared by: capitals, blanks and spellings of one name fall together."""
    folded = " ".join(name.casefold().split())
    if folded in GROUNDS:
        return GROUND
    if folded.startswith("test point "):
        return "tp" + folded.removeprefix("test point ").removeprefix("tp")
    return folded.removeprefix("wire ")


def point_label(name: str) -> str | None:
    """The label of a test point: 3 of "test point 3" and of "TP3"; None for other names.

    TP without the words needs a digit behind it, so that a node may be called tpx.
    """
    match = _POINT.fullmatch(" ".join(name.casefold().split()))
    if match is None:
        return None
    label = name.split()[-1] if " " in name.strip() else name.strip()[2:]
    if len(label) > 2 and label[:2].casefold() == "tp":
        label = label[2:]
    return label if " " in name.strip() or label[:1].isdigit() else None


def order(ref: str) -> tuple[str, int, str]:
    """Sorts references as people do: R2 before R10."""
    match = _REFERENCE.fullmatch(ref)
    return (match[1].upper(), int(match[2]), match[3]) if match else (ref, -1, "")


def terminal(kind: Kind, text: str) -> str | None:
    """The terminal that a word or its beginning means, None where none or several."""
    folded = _TERMINAL_LETTERS.get(text.casefold(), text.casefold())
    found = [name for name in TERMINALS[kind] if name.startswith(folded)]
    return found[0] if folded and len(found) == 1 else None


def joint(name: str, refs: Mapping[str, str]) -> tuple[str, ...] | None:
    """The references in "R1/R2" where all are known (`refs`: key to reference), else None."""
    if "/" not in name:
        return None
    found = [refs.get(key(piece)) for piece in name.split("/")]
    known = tuple(ref for ref in found if ref is not None)
    return tuple(sorted(set(known), key=order)) if len(known) == len(found) > 1 else None


class Index:
    """Finds the nodes of a finished stage by any of their names, however written."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.refs = {key(part.ref): part.ref for part in stage.parts}
        self.known: dict[str, tuple[str, str]] = {}
        for name in stage.nodes:
            self.known[key(name)] = (name, name)
        for name, node in stage.names.items():
            self.known.setdefault(key(name), (name, node))

    def find(self, text: str) -> tuple[str, str] | None:
        """(the name as the stage spells it, the canonical node), None where there is none."""
        if found := self.known.get(key(text)):
            # "wire yellow" and "yellow", "TP3" and "test point 3" are one name in two spellings.
            return found
        ref, _, leg = text.partition(".")
        if leg and (proper := self.refs.get(key(ref))):
            part = self.stage.part(proper)
            full = terminal(part.kind, leg)
            return None if full is None else (f"{proper}.{full}", part.node(full))
        if refs := joint(text, self.refs):
            nodes = [n for n in self.stage.nodes if self._meet(refs, n)]
            return ("/".join(refs), nodes[0]) if len(nodes) == 1 else None
        return None

    def _meet(self, refs: tuple[str, ...], node: str) -> bool:
        return all(node in self.stage.part(ref).nodes for ref in refs)

    def node(self, mark: Mark) -> tuple[str, str]:
        """As `find`; InputError with the near miss where there is none."""
        found = self.find(mark.text)
        if found is None:
            raise no_node(mark, self)
        return found

    def names(self) -> Iterator[str]:
        yield from self.stage.nodes
        yield from self.stage.names


def no_node(mark: Mark, index: Index) -> InputError:
    ref, _, leg = mark.text.partition(".")
    proper = index.refs.get(key(ref))
    if proper is not None and leg:
        legs = [f"{proper}.{name}" for name in TERMINALS[index.stage.part(proper).kind]]
        remedy = near(mark.text, legs) or f"Its legs: {', '.join(legs)}."
        return InputError(f"{proper} has no leg '{leg}'", remedy=remedy, place=mark.place)
    if proper is not None:
        part = index.stage.part(proper)
        legs = [f"{proper}.{name}" for name in TERMINALS[part.kind]]
        remedy = f"{proper} is a part. Its legs: {', '.join(legs)}."
        if part.kind not in LEGS and part.kind not in POTS:
            remedy += f" Across it: across {proper}."
        return InputError(f"no node is called '{mark.text}'", remedy=remedy, place=mark.place)
    return InputError(
        f"no node is called '{mark.text}'",
        remedy=near(mark.text, index.names())
        or f"Nodes of this stage: {', '.join(index.stage.nodes[:8])}.",
        place=mark.place,
    )


def find_node(stage: Stage, text: str) -> tuple[str, str]:
    """(name as the stage spells it, canonical node) of any name of a node, capitals aside.

    Knows abbreviated legs ("q1.b") and joints ("R1/R2"). InputError with the near miss.
    """
    index = Index(stage)
    found = index.find(text)
    if found is None:
        problem = no_node(Mark(text, Span("", 1, 1, 2)), index)
        raise InputError(problem.fact, remedy=problem.remedy)
    return found
