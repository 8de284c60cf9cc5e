"""A fault as a person says it, `R2 opens` or `C1 leaks 68K`, and what it does to the stage."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from biaspredict.engine.flatten import flatten
from biaspredict.engine.solver import Solver
from biaspredict.errors import InputError
from biaspredict.infer.altered import altered
from biaspredict.infer.faults import Fault, catalogue
from biaspredict.infer.priors import Priors
from biaspredict.model.circuit import SOUND, Variation
from biaspredict.model.devices import Bipolar, Fet
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.currents import Flows, currents
from biaspredict.predict.states import Region, State, transistor_state
from biaspredict.quantities import Unit, ValueReadError, parse_value

SAMPLE = '"R2 opens", "C1 leaks 68K" or "Q1 low gain 0.3"'
# How far beyond the catalogue's own range of a degree a supposition may go.
BEYOND = 100.0
# What people write for the words of the table of priors.
_WORDS = {
    "opens": "open", "opened": "open", "broken": "open", "breaks": "open", "burnt": "open",
    "blown": "open", "shorts": "short", "shorted": "short", "bridged": "short", "joined": "short",
    "leaks": "leak", "leaking": "leak", "leaky": "leak", "leakage": "leak",
    "drifts": "drift", "drifted": "drift", "rises": "up", "risen": "up", "higher": "up",
    "falls": "down", "fallen": "down", "lower": "down", "dries": "dry", "dried": "dry",
    "weak": "low", "lost": "low", "loses": "low", "reversed": "turned", "backwards": "turned",
    "round": "turned", "gone": "missing", "absent": "missing", "dead": "missing",
    "collector-emitter": "c-e", "collector-base": "c-b", "base-emitter": "b-e",
    "ce": "c-e", "cb": "c-b", "be": "b-e", "emitter-base": "b-e", "base-collector": "c-b",
    "noisy": "bad", "esr": "resistive",
}
_EMPTY = frozenset({"is", "has", "a", "the", "at", "to", "of", "by", "its", "an", "with", "out",
                    "goes", "becomes", "in", "and", "times", "too"})
_PAIRS = (("collector", "emitter", "c-e"), ("collector", "base", "c-b"), ("base", "emitter", "b-e"))


@dataclass(frozen=True, slots=True)
class Supposed:
    """A fault with its degree (1.0 where it has none). said: the person gave the degree."""

    fault: Fault
    severity: float
    said: bool = False

    @property
    def variation(self) -> Variation:
        return self.fault.act(self.severity)


@dataclass(frozen=True)
class Side:
    """volts: by node, ground included; flows: currents; states: by transistor."""

    volts: Mapping[str, float]
    flows: Flows
    states: Mapping[str, State]


@dataclass(frozen=True)
class Outcome:
    """The stage before and after. after: None where no operating point was found.

    moved: nodes whose volts change readably, the most first; regions: transistors that work
    otherwise than before.
    """

    stage: Stage
    supposed: Supposed
    before: Side
    after: Side | None
    moved: tuple[str, ...]
    regions: tuple[tuple[str, Region, Region], ...]


def suppose(stage: Stage, text: str, priors: Priors) -> Supposed:
    """The fault meant by a text. Raises InputError with the near miss."""
    return meant(stage, catalogue(stage, priors), text)


def meant(stage: Stage, faults: Sequence[Fault], text: str) -> Supposed:
    """The one of these faults that a text means. Raises InputError with the near miss."""
    words = text.replace(",", " ").split()
    if not words:
        raise InputError("nothing is supposed", remedy=f"Write it like {SAMPLE}.")
    own, rest = _of_part(stage, faults, words)
    said, degree = _read(rest)
    return _chosen(own, said, degree, text)


def _of_part(
    stage: Stage, faults: Sequence[Fault], words: Sequence[str]
) -> tuple[list[Fault], list[str]]:
    """Faults of the part, lead, rail or place named first, and the words behind it."""
    name = words[0].casefold()
    ref, _, leg = name.partition(".")
    own = [f for f in faults if f.part.casefold() in (name, ref)]
    if own:  # `Q1.base opens` is a fault of Q1
        return own, [*([leg] if leg else []), *words[1:]]
    if name == "board":
        end = 3 if len(words) > 2 and words[1].casefold() == "at" else 2
        place = " ".join(words[:end]).casefold()
        own = [f for f in faults if f.part.casefold() == place]
        if own:
            return own, list(words[end:])
    known = list(dict.fromkeys(f.part for f in faults))
    near = difflib.get_close_matches(words[0], known, 1, 0.5)
    remedy = f"Did you mean {near[0]}?" if near else (
        f"Parts that can fail: {', '.join(p.ref for p in stage.parts[:10])}.")
    raise InputError(f"no part is called {words[0]}", remedy=remedy)


def _read(words: Sequence[str]) -> tuple[list[str], str]:
    """Plain words of the mode, and the degree as written ("" where none is)."""
    said: list[str] = []
    degree = ""
    for word in words:
        bare = word.casefold().strip(".!?")
        if re.fullmatch(r"[0-9.,]+[0-9a-zA-Z%]*", bare) and re.match(r"[0-9.,]", bare):
            degree = word.strip("!?")
            continue
        if bare in ("%", "percent") and degree:
            degree += "%"
            continue
        if bare in ("ohm", "ohms", "times", "x") and degree:
            continue
        if bare not in _EMPTY:
            said.append(_WORDS.get(bare, bare))
    for first, second, pair in _PAIRS:
        if first in said and second in said:
            said = [pair, *(w for w in said if w not in (first, second))]
    if "ten" in said:  # `ten times too high`
        up = {"up", "high", "large", "big"} & set(said)
        said = ["wrong", "value", "up" if up else "down"]
    return said, degree


def _chosen(own: Sequence[Fault], said: Sequence[str], degree: str, text: str) -> Supposed:
    marks = {fault: _likeness(fault, said) for fault in own}
    best = max(marks.values())
    found = [fault for fault, mark in marks.items() if mark == best]
    ref = own[0].part
    if not ref.startswith("board "):
        ref = ref.partition(".")[0]
    if best <= 0.0 or not said:
        modes = list(dict.fromkeys(f.mode for f in own))
        near = difflib.get_close_matches(" ".join(said), modes, 1, 0.5) if said else []
        hint = f"Did you mean {ref} {near[0]}? " if near else ""
        raise InputError(
            f"{text.strip()}: no such fault of {ref} is known",
            remedy=f"{hint}{ref} can: {'; '.join(modes)}.",
        )
    if len(found) > 1:
        modes = [f"{fault.part} {fault.mode}" for fault in found]
        raise InputError(
            f"{text.strip()} may mean several faults", remedy=f"Write {' or '.join(modes)}."
        )
    return Supposed(found[0], _severity(found[0], degree, text), bool(degree))


def _likeness(fault: Fault, said: Sequence[str]) -> float:
    """How well the words fit: all of them must be words of this fault, more is better."""
    mode = [_WORDS.get(w, w) for w in fault.mode.casefold().replace(",", " ").split()]
    known = {*mode, *_ALSO.get(fault.mode, ())}
    if "." in fault.part:  # a joint at a lead
        known |= {fault.part.partition(".")[2].casefold(), "bad", "resistive", "cold"}
    if not said or any(word not in known for word in said):
        return 0.0
    share = len(set(said) & set(mode)) / len(set(mode))
    return share + 0.01 * len(set(said))


# Words that mean a fault, though the table does not have them.
_ALSO = {
    "drift up": ("high", "up", "value"),
    "drift down": ("low", "down", "value"),
    "low gain": ("gain", "low"),
    "icbo high": ("icbo", "leak", "high", "up"),
    "low idss": ("idss", "low"),
    "low": ("down",),
    "high": ("up",),
    "dry": ("value", "low"),
    "all joined": ("throughout", "short", "all"),
    "all open": ("throughout", "all"),
    "off volts": ("off", "volts"),
    "wiper open": ("wiper",),
    "turned round": ("turned", "wrong", "way"),
    "c and e swapped": ("c-e", "swapped"),
    "c and b swapped": ("c-b", "swapped"),
    "off": ("wrong",),
}


def _severity(fault: Fault, degree: str, text: str) -> float:
    if fault.least is None or fault.most is None:
        if degree:
            raise InputError(
                f"{text.strip()}: this fault has no degree",
                remedy=f"Write {fault.part} {fault.mode} by itself.",
            )
        return 1.0
    if not degree:
        return float((fault.least * fault.most) ** 0.5)
    ohms = fault.unit == "ohm"
    try:
        value = parse_value(degree, Unit.OHM if ohms else Unit.RATIO)
    except ValueReadError as problem:
        raise InputError(
            f"{text.strip()}: {problem}",
            remedy="A leak is given in ohms, like 68K; a drift or gain in times, like 1.5 or 0.3.",
        ) from None
    if degree.endswith("%") and not ohms:
        value = {"drift up": 1.0 + value, "high": 1.0 + value, "drift down": 1.0 - value,
                 "low": 1.0 - value}.get(fault.mode, value)
    if not fault.least / BEYOND <= value <= fault.most * BEYOND or value <= 0.0:
        unit = "ohm" if ohms else "times"
        raise InputError(
            f"{text.strip()}: {degree} is no degree of that fault",
            remedy=f"It is met from {fault.least:.3g} to {fault.most:.3g} {unit}.",
        )
    return value


IMPOSSIBLE = 1e3  # amperes that no transistor carries: its law was asked outside its range
MOVES, MOVES_VOLTS = 0.01, 0.02  # share of its volts, and volts, by which a node moves readably


def outcome(stage: Stage, supposed: Supposed, referee: Solver) -> Outcome:
    """Solve the stage with and without. after is None where no point was found."""
    circuit = flatten(stage)
    found = referee.solve(circuit, [SOUND, supposed.variation])
    leads = [f"{lead} (lead)" for lead, _ in supposed.variation.lifts]
    sides: list[Side | None] = []
    faulty = altered(stage, supposed.variation)
    for of, row, solved in zip((stage, faulty), found.volts, found.solved, strict=True):
        volts = {GROUND: 0.0} | dict(zip((*circuit.nodes, *leads), map(float, row), strict=False))
        sides.append(side(of, volts) if solved else None)
    before, after = sides
    if before is None:
        raise InputError(
            "the stage as it is has no operating point, so nothing can be said of a fault",
            remedy="Run `biaspredict proof` on it first.",
        )
    moved: list[str] = []
    regions: list[tuple[str, Region, Region]] = []
    if after is not None:
        change = {
            node: abs(after.volts[node] - before.volts[node]) for node in stage.nodes
            if node in before.volts
        }
        moved = [
            node for node, by in change.items()
            if by > max(MOVES * abs(before.volts[node]), MOVES_VOLTS)
        ]
        moved.sort(key=lambda node: -change[node])
        regions = [
            (ref, state.region, after.states[ref].region)
            for ref, state in before.states.items()
            if ref in after.states and after.states[ref].region is not state.region
        ]
    return Outcome(stage, supposed, before, after, tuple(moved), tuple(regions))


def side(stage: Stage, volts: Mapping[str, float]) -> Side:
    """Currents and states that node volts tell."""
    flows = currents(stage, volts)
    states = {
        part.ref: state for part in stage.parts
        if isinstance(part.device, Bipolar | Fet)
        and (state := transistor_state(stage, part, volts, flows)) is not None
        and abs(state.ic or 0.0) < IMPOSSIBLE
    }
    return Side(volts, flows, states)
