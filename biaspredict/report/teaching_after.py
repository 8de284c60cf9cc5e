"""What follows the steps of a lesson: load lines, parts, what sets each voltage, the signal."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from biaspredict.model.devices import Fet, thermal_volts
from biaspredict.model.parts import CAPACITORS, POTS, Kind, Part
from biaspredict.predict.hand.signal import Seen, SignalByHand, Stride
from biaspredict.predict.lesson import Lesson
from biaspredict.predict.load_line import LoadLine
from biaspredict.predict.sway import STEP, WARMER, Steady
from biaspredict.quantities import Unit, engineering
from biaspredict.report import words
from biaspredict.report.load_plot import plot

CHANGES = 0.02  # share of a current from which a change of it is told
SLOPES = 1.03  # ratio of hand to solved gain from which a reason is given


def lines(found: Lesson) -> Iterator[str]:
    """Load lines with the point at which each transistor rests."""
    if not found.loads:
        return
    yield "Load lines"
    for line in found.loads:
        yield from _line(found, line)


def _line(found: Lesson, line: LoadLine) -> Iterator[str]:
    yield words.wrapped(
        f"{line.ref}: with no current V_CE would be {words.volts(line.open_volts)}, with no V_CE "
        f"the {_ohms(line.ohms)} in its way would pass {words.amps(line.full_amps)}. It rests at "
        f"Q, {words.volts(line.vce)} and {words.amps(line.amps)}.", "  ")
    yield from plot(line)
    stride = _stride(found, line.ref)
    if stride is not None and not stride.follows:
        up = stride.amps * stride.load.ohms
        room = min(up, line.down)
        end = "the current ends" if up < line.down else "the transistor saturates"
        yield words.wrapped(
            f"A signal meets {_ohms(stride.load.ohms)} instead: the collector can swing "
            f"{words.volts(up)} one way until the current ends, {words.volts(line.down)} the other "
            f"until the transistor saturates. So {words.volts(room)} peak, until {end}.", "  ")
    else:
        yield words.wrapped(
            f"V_CE can go up by {words.volts(line.up)} until the current ends, and down by "
            f"{words.volts(line.down)} until the transistor saturates.", "  ")


def _stride(found: Lesson, ref: str) -> Stride | None:
    if found.signal is None:
        return None
    return next((s for s in found.signal.strides if s.ref == ref), None)


def parts(found: Lesson) -> Iterator[str]:
    """What each part is for, with what it carries."""
    yield "What each part is for"
    by_ref = {part.ref: part for part in found.stage.parts}
    width = max(len(p.ref) for p in found.purposes)
    for purpose in found.purposes:
        part = by_ref[purpose.ref]
        value = _value(part)
        carried = _carried(found, part)
        text = f"{purpose.words}{'. ' + carried if carried else ''}."
        head = f"  {purpose.ref.ljust(width)}  {value:>6}  "
        yield words.wrapped(text, head, " " * len(head))


def _value(part: Part) -> str:
    if part.now is None:
        return ""
    unit = Unit.FARAD if part.kind in CAPACITORS else Unit.OHM
    if part.kind in (Kind.COIL, Kind.WINDING):
        unit = Unit.HENRY
    return engineering(part.now, unit)


def _carried(found: Lesson, part: Part) -> str:
    flow = found.solved.flows.parts.get(part.ref)
    if flow is None or part.kind in CAPACITORS or part.kind in POTS or abs(flow.amps[0]) < 1e-9:
        return ""
    at = found.solved.volts
    if part.device is not None and len(part.nodes) == 3:
        state = found.solved.states[part.ref]
        if state.ic is None:
            return ""
        leg = "drain" if isinstance(part.device, Fet) else "collector"
        return f"{leg[0].upper()}{leg[1:]} current {words.amps(state.ic)}"
    across = abs(at[part.nodes[0]] - at[part.nodes[1]])
    return f"{words.amps(abs(flow.amps[0]))} drops {words.volts(across)}"


def sets(found: Lesson) -> Iterator[str]:
    """What each voltage hangs on, in words."""
    if not found.sways:
        return
    yield f"What sets each voltage: one part at a time up {STEP * 100:.0f} %"
    for sway in found.sways:
        if not sway.pulls:
            yield f"  {sway.node}: no part moves it by as much as 10 mV"
            continue
        yield f"  {sway.node}, {words.volts(found.solved.volts[sway.node])}"
        rows = [
            (f"{pull.name} up {STEP * 100:.0f} %", "raises it by" if pull.volts > 0 else
             "lowers it by", words.volts(abs(pull.volts)))
            for pull in sway.pulls[:8]
        ]
        yield from words.table(rows, right=(2,), indent="    ")


def steady(found: Lesson) -> Iterator[str]:
    """How the stage stands when gain and warmth change."""
    if not found.steady:
        return
    yield f"How steady it is: gain at both ends of its range, and {WARMER:.0f} C warmer"
    rows: list[tuple[str, ...]] = [("", "as it is", "least gain", "most gain", "warmer", "")]
    for one in found.steady:
        fet = isinstance(found.stage.part(one.ref).device, Fet)
        unit = "mA" if fet else ""
        low, high = ((x * 1e3 if fet else x) for x in one.gains)
        rows.append((
            one.ref, *(_amps(a) for a in one.amps),
            f"{'IDSS' if fet else 'gain'} {low:.3g} to {high:.3g} {unit}".rstrip()))
        legs = "V_DS" if fet else "V_CE"
        rows.append(("", *(_volts(v) for v in one.vce), legs))
    yield from words.table(rows, right=(1, 2, 3, 4))
    for one in found.steady:
        yield from _reason(one, found)


def _reason(one: Steady, found: Lesson) -> Iterator[str]:
    _, low, high, warm = one.amps
    what = "IDSS" if isinstance(found.stage.part(one.ref).device, Fet) else "gain"
    if low and high and abs(high / low - 1.0) > CHANGES and one.gains[1] > one.gains[0]:
        spread = one.gains[1] / one.gains[0]
        yield words.wrapped(
            f"{one.ref}: {what} {spread:.2g} times as high gives {high / low:.3g} times the "
            "current.", "  ")
    if warm and abs(warm / one.amps[0] - 1.0) > CHANGES:
        change = (warm / one.amps[0] - 1.0) * 100.0
        yield words.wrapped(
            f"{one.ref}: {WARMER:.0f} C warmer, its current is {abs(change):.2g} % "
            f"{'higher' if change > 0 else 'lower'}: V_BE falls by about 2 mV a degree, "
            f"the gain rises{_leaks(found, one.ref)}.", "  ")


def _leaks(found: Lesson, ref: str) -> str:
    device = found.stage.part(ref).device
    icbo = getattr(device, "icbo", 0.0)
    return ", and the leakage doubles every 9 C" if icbo > 1e-7 else ""


def signal(found: Lesson) -> Iterator[str]:
    """Gain and input resistance by hand beside the linear stage, then the corners."""
    way = found.signal
    if way is None:
        if found.withheld:
            yield words.wrapped(f"No signal figures: {found.withheld}.")
        return
    yield "The signal, in the middle of the band: capacitors are wire, supplies are ground"
    for stride in way.strides:
        yield from _one(found, stride)
    yield from _whole(way)
    yield from _corners(found)


def _one(found: Lesson, stride: Stride) -> Iterator[str]:
    device = found.stage.part(stride.ref).device
    if isinstance(device, Fet):
        slope = f"one over its slope is {_ohms(stride.inner)}"
    else:
        heat = thermal_volts(found.stage.assumptions.temperature)
        slope = (f"its own emitter ohms are {words.volts(heat)} / {words.amps(stride.amps)} = "
                 f"{_ohms(stride.inner)}")
    legs = ("drain", "source") if isinstance(device, Fet) else ("collector", "emitter")
    text = f"{stride.ref}: {slope}"
    if stride.share < 0.995:
        text = f"{stride.ref}: {stride.share:.3g} of the signal reaches it; {slope}"
    if stride.own is not None:
        text += f", and {_made(stride.own)} stands in the {legs[1]}"
    if stride.follows:
        text += (f"; the {legs[1]} works into {_made(stride.load)}: gain {_ohms(stride.load.ohms)} "
                 f"/ ({_ohms(stride.inner)} + {_ohms(stride.load.ohms)}) = {stride.gain:.3g}")
    else:
        below = _ohms(stride.inner)
        if stride.own is not None:
            below = f"({below} + {_ohms(stride.own.ohms)})"
        text += (f"; the {legs[0]} works into {_made(stride.load)}: gain {_ohms(stride.load.ohms)} "
                 f"/ {below} = {words.ratio(abs(stride.gain))}, phase turned")
    yield words.wrapped(f"{text}.", "  ", "    ")


def _made(seen: Seen) -> str:
    return f"{seen.words} = {_ohms(seen.ohms)}" if seen.words else _ohms(seen.ohms)


def _whole(way: SignalByHand) -> Iterator[str]:
    hand, real = abs(way.gain), abs(way.solved_gain)
    text = f"In all {words.ratio(hand)} from the input node; solved {words.ratio(real)}"
    if real > 0.0 and max(hand / real, real / hand) > SLOPES:
        if way.feedback:
            text += (f". {words.listed(way.feedback)} bring{'s' if len(way.feedback) == 1 else ''} "
                     "signal back, which the short way leaves out")
        elif hand > real:
            text += (". The collector curves slope: the transistor itself stands beside its load, "
                     "which the short way leaves out")
        else:
            text += ". The true currents and gains differ a little from those by hand"
    yield words.wrapped(f"{text}.", "  ", "    ")
    text = (f"The source sees {way.input_words} = {_ohms(way.input_ohms)}; solved "
            f"{_ohms(way.solved_input_ohms)}")
    if way.feedback and way.solved_input_ohms > 1.2 * way.input_ohms:
        text += ", more, for feedback moves the far ends along with the signal"
    yield words.wrapped(f"{text}.", "  ", "    ")
    if way.output_ohms is not None:
        yield words.wrapped(
            f"The load is fed from {_ohms(way.output_ohms)} (solved).", "  ", "    ")


def _corners(found: Lesson) -> Iterator[str]:
    corners = found.corners
    if corners is None:
        return
    bass = [c for c in corners.corners if c.bass and c.crossed and c.ohms and c.hertz]
    if bass:
        yield "Where the bass ends: one over 2 pi, what the capacitor sees, and its farads"
        for c in sorted(bass, key=lambda corner: -(corner.hertz or 0.0)):
            yield words.wrapped(
                f"{c.ref} ({c.duty.value}): 1 / (6.283 x {_ohms(c.ohms or 0.0)} x "
                f"{engineering(c.farads, Unit.FARAD)}) = {engineering(c.hertz or 0.0, Unit.HERTZ)}",
                "  ", "    ")
    exact = corners.figures.exact_hertz
    if exact is not None and math.isfinite(exact):
        yield words.wrapped(
            f"The whole stage is 3 dB down at {engineering(exact, Unit.HERTZ)}; `biaspredict "
            "corners` tells why that is not the sum.", "  ")


def chains(found: Lesson) -> Iterator[str]:
    """Each DC path from its feed to its end, with what it carries."""
    if not found.chains:
        return
    yield "Along the chains, as solved: volts, and the current in each part"
    at = found.solved.volts
    for chain in found.chains:
        pieces = [f"{chain.nodes[0]} {words.volts(at.get(chain.nodes[0], 0.0))}"]
        for branch, node in zip(chain.branches, chain.nodes[1:], strict=True):
            amps = found.solved.flows.leads.get(branch.lead)
            carried = "" if amps is None else f" {words.amps(abs(amps))}"
            pieces.append(f"-- {branch.ref}{carried} -- {node} {words.volts(at.get(node, 0.0))}")
        yield words.wrapped(" ".join(pieces), "  ", "    ")


def _ohms(value: float) -> str:
    return words.ohms(value)


def _amps(value: float | None) -> str:
    return "-" if value is None else words.amps(value)


def _volts(value: float | None) -> str:
    return "-" if value is None else words.volts(value)


BLOCKS: dict[str, Callable[[Lesson], Iterator[str]]] = {
    "lines": lines, "parts": parts, "sets": sets, "steady": steady, "signal": signal,
    "chains": chains,
}
