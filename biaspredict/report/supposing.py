"""The page of `lesson --if`: the reason first, then the figures."""

from __future__ import annotations

import math
from collections.abc import Iterator

from biaspredict.graph.signal import signal_path
from biaspredict.infer.supposition import Outcome, Side
from biaspredict.model.parts import CAPACITORS, Kind, Part
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.purposes import purposes
from biaspredict.predict.states import Region, State
from biaspredict.report import words

CHANGES = 0.05  # share of a current from which a change of it is told
STOPS = 0.005  # share of its current below which a transistor is said to carry none
MOST_NODES = 12

REGIONS = {
    Region.ACTIVE: "works as it should",
    Region.SATURATED: "is saturated",
    Region.CUT_OFF: "is cut off",
    Region.REVERSED: "stands the wrong way round",
    Region.GATE_OPEN: "draws gate current",
}


def page(found: Outcome) -> str:
    """Reason, consequences, figures."""
    fault = found.supposed.fault
    head = f"{found.stage.title}: what if {fault.words}"
    if fault.graded:
        head += f", {words.severity(found.supposed.severity, fault.unit)}"
        if not found.supposed.said:
            head += " (a middling degree, for none was given)"
    blocks = [words.wrapped(f"{head}?")]
    blocks.append("\n".join(words.wrapped(text) for text in _reasons(found)))
    if found.after is None:
        blocks.append(words.wrapped(
            "With it no operating point was found, so no figure is given: the stage may latch "
            "or oscillate."))
        return "\n\n".join(blocks)
    blocks.append("\n".join(_figures(found, found.after)))
    return "\n\n".join(block for block in blocks if block)


def _reasons(found: Outcome) -> Iterator[str]:
    """Why: what the part was there for, what the fault does to that, and what follows."""
    yield from _at_the_part(found)
    after = found.after
    if after is None:
        return
    if not found.moved:
        fault = found.supposed.fault
        if fault.silent:
            yield ("No direct current ever passed there, so no DC volts move: only the signal "
                   "tells of it. `biaspredict corners` says what it costs.")
        else:
            yield "Every node keeps its volts: DC readings do not show this fault."
        return
    for ref in _in_order(found):
        text = _of_transistor(found.stage, ref, found.before, after)
        if text:
            yield text


def _at_the_part(found: Outcome) -> Iterator[str]:
    stage, fault = found.stage, found.supposed.fault
    ref = fault.part.split(".")[0]
    part = next((p for p in stage.parts if p.ref == ref), None)
    if part is None:
        yield _of_a_rail(found)
        return
    every = purposes(stage, found.before.volts, found.before.flows.leads)
    yield f"Sound, {ref} {_verbal(next(p.words for p in every if p.ref == ref))}."
    told = _doing(found, part)
    if told:
        yield told


def _verbal(text: str) -> str:
    """A purpose as the rest of a sentence that begins with the part."""
    first = text.split()[0]
    if first in ("collector", "emitter", "source", "drain", "part"):
        return f"is the {text}" if first != "part" else f"is {text}"
    return f"stands {text}" if first == "in" else text


def _doing(found: Outcome, part: Part) -> str:
    """What the fault does at the part itself."""
    fault, after = found.supposed.fault, found.after
    if fault.blown:
        many = "" if len(fault.blown) == 1 else "s"
        return (f"It draws more than the fuse{many} {words.listed(fault.blown)} can carry: what "
                f"follows is with the fuse{many} melted.")
    before = found.before
    carried = abs(before.flows.leads.get(f"{part.ref}.{part.terminals[0]}", 0.0))
    ends = part.nodes
    mode = fault.mode
    leak = _leaking(found)
    if part.kind in CAPACITORS:
        return leak
    if len(ends) == 2:
        high, low = sorted(ends, key=lambda n: -before.volts.get(n, 0.0))
        if mode == "open":
            return (f"Open, the {words.amps(carried)} that it carried from {high} to {low} "
                    f"{_where(found, high, low)}.")
        if mode in ("short", "does not open"):
            drop = before.volts[high] - before.volts[low]
            return (f"Shorted, it no longer drops its {words.volts(drop)}: {high} and {low} "
                    "become one node.")
        if mode.startswith(("drift", "wrong")):
            ratio = found.supposed.severity
            if mode.startswith("wrong"):
                ratio = 10.0 if mode.endswith("up") else 0.1
            if ratio > 1.0:
                return (f"For {words.ratio(ratio)} times the ohms the same current would need "
                        f"{words.ratio(ratio)} times the drop, so less flows and more is dropped.")
            return (f"With {words.ratio(ratio)} times its ohms it lets more current through, or "
                    "drops less.")
    if leak and part.kind is Kind.TRANSISTOR:
        return f"{leak[:-1]}, whatever the base says."
    if leak:
        return leak
    if part.kind in (Kind.TRANSISTOR, Kind.FET):
        return _inside(found, part)
    if after is not None and "wiper" in mode:
        return "The wiper no longer holds what hangs on it."
    return f"That is: {fault.words}."


def _where(found: Outcome, high: str, low: str) -> str:
    after = found.after
    if after is None:
        return "have no way to go"
    rise = after.volts[high] - found.before.volts[high]
    fall = after.volts[low] - found.before.volts[low]
    if high == GROUND or abs(fall) > abs(rise):
        way = "no longer arrive there" if fall < 0 else "are missing there"
        return f"{way}: {low} goes from {_from_to(found, low)}"
    return f"are no longer taken away there: {high} goes from {_from_to(found, high)}"


def _from_to(found: Outcome, node: str) -> str:
    assert found.after is not None
    return f"{words.volts(found.before.volts[node])} to {words.volts(found.after.volts[node])}"


def _leaking(found: Outcome) -> str:
    """A leak or short across something: what it passes."""
    fault, after = found.supposed.fault, found.after
    ref = fault.part
    flow = after.flows.parts.get(f"{ref} (leak)") if after else None
    if flow is None:
        flow = after.flows.parts.get("bridge 1") if after else None
    if flow is None or after is None:
        return ""
    across = fault.across or _shorted(found.stage, fault.part, fault.mode)
    amps = words.amps(abs(flow.amps[0]))
    if across is None:
        return f"It now passes {amps} that it should not."
    a, b = across
    high, low = (a, b) if flow.amps[0] > 0 else (b, a)
    apart = words.volts(abs(after.volts[a] - after.volts[b]))
    return (f"Now {amps} pass from {high} to {low} ({apart} apart), where none should.")


def _shorted(stage: Stage, ref: str, mode: str) -> tuple[str, str] | None:
    """The leads that a short inside a transistor joins, as nodes."""
    part = next((p for p in stage.parts if p.ref == ref), None)
    if part is None:
        return None
    if len(part.nodes) == 2:
        return part.nodes[0], part.nodes[1]
    legs = {leg[0]: node for leg, node in zip(part.terminals, part.nodes, strict=True)}
    pair = mode.split()[0].split("-")
    return (legs[pair[0]], legs[pair[1]]) if len(pair) == 2 and pair[1] in legs else None


def _inside(found: Outcome, part: Part) -> str:
    mode = found.supposed.fault.mode
    legs = part.terminals
    if mode == "low gain":
        share = found.supposed.severity
        return (f"Its base takes {words.ratio(1.0 / share)} times the current for the same "
                "collector current, and what feeds the base has to give it.")
    if mode == "icbo high":
        return ("Its leakage flows from collector to base as if it were fed into the base, and "
                "the gain multiplies it.")
    if mode.endswith(" open"):
        leg = mode.removesuffix(" open")
        if leg == "base":
            return "Without base current there is no collector current: both other leads go idle."
        if leg == "all":
            return "It is as if it were taken out: what hung on it is held by resistors alone."
        if leg == legs[2]:
            return f"No current can leave by the {leg}, so none comes in by the {legs[0]}."
        return (f"The {leg} brings nothing: what current the {legs[2]} still passes comes by the "
                f"{legs[1]} alone, as through a diode.")
    if "swapped" in mode:
        return "It still works a little the other way round, with hardly any gain."
    if mode == "wrong polarity":
        return "For this supply its junctions face the wrong way, so nothing conducts as meant."
    if mode == "all joined":
        return "Its three leads are one node."
    return f"That is: {found.supposed.fault.words}."


def _of_a_rail(found: Outcome) -> str:
    fault = found.supposed.fault
    rail = next((r for r in found.stage.rails if r.name == fault.part), None)
    if rail is None:
        leak = _leaking(found)
        return leak or f"That is: {fault.words}."
    if fault.mode == "missing":
        return f"Without {rail.name} nothing flows anywhere that it feeds."
    return (f"{rail.name} is {words.ratio(found.supposed.severity)} times what it should be, and "
            "all that hangs on it follows.")


def _in_order(found: Outcome) -> list[str]:
    refs = [ref for ref in signal_path(found.stage).order if ref in found.before.states]
    return refs + [ref for ref in found.before.states if ref not in refs]


def _of_transistor(stage: Stage, ref: str, before: Side, after: Side) -> str:
    """What becomes of one transistor, and of the volts at its collector."""
    old, new = before.states.get(ref), after.states.get(ref)
    if old is None:
        return ""
    part = stage.part(ref)
    if new is None:
        return f"{ref} no longer takes part."
    text = []
    base = part.nodes[1]
    moved = after.volts[base] - before.volts[base]
    if abs(moved) > max(0.02 * abs(before.volts[base]), 0.02):
        text.append(f"its {part.terminals[1]} goes from {words.volts(before.volts[base])} to "
                    f"{words.volts(after.volts[base])}")
    current = _current(old, new)
    if current:
        text.append(current)
    if new.region is not old.region:
        text.append(f"it {REGIONS[new.region]}, V_CE {words.volts(_vce(part, after))}")
    if not text:
        return ""
    collector = _collector(part, before, after)
    return f"{ref}: {', '.join(text)}{collector}."


def _vce(part: Part, side: Side) -> float:
    """V_CE as a meter finds it at the joints on the board."""
    return side.volts[part.nodes[0]] - side.volts[part.nodes[2]]


def _current(old: State, new: State) -> str:
    if old.ic is None or new.ic is None:
        return ""
    if abs(old.ic) < 1e-9 and abs(new.ic) < 1e-9:
        return ""
    if abs(old.ic) > 1e-9 and abs(new.ic / old.ic - 1.0) < CHANGES:
        return ""
    if abs(new.ic) < max(1e-8, STOPS * abs(old.ic)):
        return f"its {words.amps(old.ic)} stop"
    return f"it carries {words.amps(new.ic)} instead of {words.amps(old.ic)}"


def _collector(part: Part, before: Side, after: Side) -> str:
    """Why the collector moves: what the parts at it now drop."""
    node = part.nodes[0]
    moved = after.volts[node] - before.volts[node]
    if not math.isfinite(moved) or abs(moved) < max(0.02 * abs(before.volts[node]), 0.02):
        return ""
    return (f"; so {node} goes from {words.volts(before.volts[node])} to "
            f"{words.volts(after.volts[node])}")


def _figures(found: Outcome, after: Side) -> Iterator[str]:
    if found.moved:
        rows = [
            (node, words.volts(found.before.volts[node]), words.volts(after.volts[node]))
            for node in found.moved[:MOST_NODES]
        ]
        yield from words.table([("node", "sound", "then"), *rows], right=(1, 2))
        rest = len(found.moved) - MOST_NODES
        if rest > 0:
            yield f"  and {rest} more that move less"
    kept = [n for n in found.stage.nodes if n not in found.moved and n != GROUND
            and abs(found.before.volts.get(n, 0.0)) > 0.05]
    if kept and found.moved:
        verb = "keeps its volts" if len(kept) == 1 else "keep their volts"
        yield words.wrapped(f"{words.listed(kept[:12])} {verb}.", "  ")
    currents = []
    for ref, old in found.before.states.items():
        new = after.states.get(ref)
        if new is None or old.ic is None or new.ic is None:
            continue
        part = found.stage.part(ref)
        currents.append((
            ref, words.amps(old.ic), words.amps(new.ic), words.volts(_vce(part, found.before)),
            words.volts(_vce(part, after)),
            "" if new.region is old.region else new.region.value,
        ))
    if currents and found.moved:
        yield ""
        head = ("", "current, sound", "then", "V_CE, sound", "then", "")
        yield from words.table([head, *currents], right=(1, 2, 3, 4))
