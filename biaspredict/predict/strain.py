"""What the predicted volts do to the parts: polarity, working volts, heat, transistors' states.

Each check is a function of what is known at the operating point; `CHECKS` lists them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from biaspredict.findings import Finding, Gravity
from biaspredict.graph.checks_transistors import starved
from biaspredict.graph.network import floating
from biaspredict.graph.signal import signal_path
from biaspredict.model.devices import Bipolar, Fet, Polarity, Zener
from biaspredict.model.parts import CAPACITORS, POTS, Kind, Part
from biaspredict.model.stage import Stage
from biaspredict.predict.currents import Flows, currents, usable
from biaspredict.predict.states import Region, transistor_state
from biaspredict.quantities import Unit, engineering, value_text
from biaspredict.series import next_working_volts

NON_POLAR = "non-polar"
WRONG_WAY = 0.5  # volts against its polarity that harm an electrolytic (common practice, no source)
LEANING = 0.1  # volts against its polarity that are worth a note
HEADROOM = 0.9  # of the working volts; line and tolerance take the rest
UNPRINTED_WATTS = 0.5  # most of what small resistors without a rating stand
SIZES = (1.0, 2.0, 5.0, 10.0, 25.0, 50.0)  # watts; twice the heat (common practice, no source)
REGULATES = 0.9  # of its volts, below which a zener holds nothing
BREAKS_DOWN = 5.0  # volts of base-emitter breakdown of small silicon (common practice, no source)


@dataclass(frozen=True, slots=True)
class Point:
    """An operating point: volts by node with ground, every current known, floating nodes.

    judged: transistors whose wiring lets them work; the others are told by `connectivity`.
    """

    stage: Stage
    volts: Mapping[str, float]
    flows: Flows
    floating: frozenset[str]
    judged: tuple[Part, ...]

    def across(self, part: Part) -> float | None:
        """Volts from the first to the second terminal; None where an end has no set DC."""
        if len(part.nodes) != 2 or not self.floating.isdisjoint(part.nodes):
            return None
        first, second = (self.volts.get(node) for node in part.nodes)
        return None if first is None or second is None else first - second


Check = Callable[[Point], Iterator[Finding]]


def strain(
    stage: Stage, volts: Mapping[str, float], flows: Flows | None = None
) -> tuple[Finding, ...]:
    """Findings at an operating point, the gravest first.

    volts: node -> solved volts to ground. flows: `currents(stage, volts)`, where at hand.
    """
    idle = starved(stage)
    point = Point(
        stage,
        usable(volts),
        currents(stage, volts) if flows is None else flows,
        floating(stage),
        tuple(part for part in stage.parts if part.ref not in idle),
    )
    found = [finding for check in CHECKS for finding in check(point)]
    order = tuple(Gravity)
    return tuple(sorted(found, key=lambda finding: order.index(finding.gravity)))


def against_polarity(point: Point) -> Iterator[Finding]:
    """Electrolytics whose plus lies below their minus."""
    for part in point.stage.parts:
        if part.kind is not Kind.ELECTROLYTIC or part.dielectric == NON_POLAR:
            continue
        volts = point.across(part)
        if volts is None or volts > -LEANING:
            continue
        grave = volts < -WRONG_WAY
        yield Finding(
            "against-polarity",
            Gravity.CHECK if grave else Gravity.NOTE,
            (part.ref,),
            f"{part.ref} has {_volts(-volts)} against its polarity: its plus is the lower end.",
            "Look which end the sheet marks; if it is drawn so, look at the board. Reversed it "
            "leaks, heats and may burst: do not power it so."
            if grave
            else "Little enough for most types, but check its plus mark on the sheet.",
            part.origin,
        )


def above_working_volts(point: Point) -> Iterator[Finding]:
    """Capacitors with more than their printed working volts, or little room below them."""
    for part in point.stage.parts:
        if part.kind not in CAPACITORS or part.volts is None:
            continue
        volts = point.across(part)
        if volts is None or abs(volts) <= HEADROOM * part.volts:
            continue
        size = abs(volts)
        if size > part.volts:
            fit = next_working_volts(size / HEADROOM)
            better = "" if fit is None else f" A new one needs {fit:g} V or more."
            yield Finding(
                "above-working-volts",
                Gravity.CHECK,
                (part.ref,),
                f"{part.ref} has {_volts(size)} across it and is rated {_volts(part.volts)}.",
                "Read its rating again, then the values around it." + better,
                part.origin,
            )
        else:
            yield Finding(
                "near-working-volts",
                Gravity.NOTE,
                (part.ref,),
                f"{part.ref} has {_volts(size)} of its {_volts(part.volts)}: a high line takes "
                "the rest.",
                "When it is renewed, take the next higher working volts.",
                part.origin,
            )


def above_rating(point: Point) -> Iterator[Finding]:
    """Resistors and pots that turn more into heat than they stand."""
    for part in point.stage.parts:
        flow = point.flows.parts.get(part.ref)
        if part.kind not in POTS | {Kind.RESISTOR} or flow is None or flow.watts is None:
            continue
        if part.watts is not None and flow.watts > part.watts:
            yield Finding(
                "above-rating",
                Gravity.CHECK,
                (part.ref,),
                f"{part.ref} takes {_watts(flow.watts)} and is rated {_watts(part.watts)}.",
                "Read its value and rating again, then those around it. If all is as drawn it "
                "runs too hot to touch: measure its ohms with the power off.",
                part.origin,
            )
        elif part.watts is None and part.kind is Kind.RESISTOR and flow.watts > UNPRINTED_WATTS:
            yield Finding(
                "rating-not-said",
                Gravity.NOTE,
                (part.ref,),
                f"{part.ref} takes {_watts(flow.watts)}; its rating is not given.",
                "It is hot in use. Look at its size on the board and write its watts behind it, "
                f"as in `{part.ref} {value_text(part.now or 0.0, Unit.OHM)} {_size(flow.watts)}`.",
                part.origin,
            )


def fuses(point: Point) -> Iterator[Finding]:
    """Fuses that carry more than is printed on them, or whose rating is not said."""
    for part in point.stage.parts:
        if part.kind is not Kind.FUSE:
            continue
        flow = point.flows.parts.get(part.ref)
        if part.amps is None:
            yield Finding(
                "fuse-not-rated",
                Gravity.NOTE,
                (part.ref,),
                f"{part.ref}'s rating is not given.",
                f"Write its amps behind it, as in `{part.ref} 500mA`: then a part that would "
                "have blown it is told together with it.",
                part.origin,
            )
        elif flow is not None and flow.amps and abs(flow.amps[0]) > part.amps:
            yield Finding(
                "above-fuse",
                Gravity.CHECK,
                (part.ref,),
                f"{part.ref} carries {_amps(abs(flow.amps[0]))} and is rated {_amps(part.amps)}.",
                "Read its rating again, then the values behind it.",
                part.origin,
            )


def transistors(point: Point) -> Iterator[Finding]:
    """Bipolar transistors that cannot amplify where they stand."""
    for part in point.judged:
        if not isinstance(part.device, Bipolar) or len(set(part.nodes)) < 3:
            continue
        state = transistor_state(point.stage, part, point.volts, point.flows)
        if state is None or state.region is Region.ACTIVE:
            continue
        npn = part.device.polarity is Polarity.NPN
        meter = f"V_BE {_volts(state.vbe)}, V_CE {_volts(state.vce)}"
        if state.region is Region.REVERSED:
            kind, other = ("NPN", "PNP") if npn else ("PNP", "NPN")
            yield Finding(
                "transistor-reversed",
                Gravity.CHECK,
                (part.ref,),
                f"{part.ref} stands the wrong way round for {kind}: {meter}.",
                f"Look at its arrow on the sheet: collector and emitter swapped, or {kind} "
                f"written for {other}.",
                part.origin,
            )
        elif state.region is Region.SATURATED:
            yield Finding(
                "transistor-saturated",
                Gravity.CHECK,
                (part.ref,),
                f"{part.ref} is saturated: {meter}.",
                f"Too much base current, or too large a collector resistor: read again the values "
                f"around {part.ref}. Right only for a switch.",
                part.origin,
            )
        elif (state.vbe if npn else -state.vbe) >= -BREAKS_DOWN:
            spine = signal_path(point.stage).spine
            rests = bool(spine) and part.ref not in spine
            yield Finding(
                "transistor-cut-off",
                Gravity.NOTE if rests else Gravity.CHECK,
                (part.ref,),
                f"{part.ref} is cut off: {meter}.",
                "Right for a limiter or a switch that rests; otherwise look for a bias resistor "
                "left out or a divider upside down."
                if rests
                else "Its base is not lifted far enough: look for a bias resistor left out, a "
                "divider upside down, or a wire. Right only for a switch.",
                part.origin,
            )


def base_emitter_reversed(point: Point) -> Iterator[Finding]:
    """Base-emitter junctions driven beyond what they stand in reverse."""
    for part in point.judged:
        if not isinstance(part.device, Bipolar):
            continue
        base, emitter = (point.volts.get(part.node(lead)) for lead in ("base", "emitter"))
        if base is None or emitter is None:
            continue
        npn = part.device.polarity is Polarity.NPN
        reverse = emitter - base if npn else base - emitter
        if reverse > BREAKS_DOWN:
            yield Finding(
                "base-emitter-reversed",
                Gravity.CHECK,
                (part.ref,),
                f"{part.ref} has {_volts(reverse)} in reverse from base to emitter.",
                "Beyond about 5 V the junction breaks down and its gain suffers. Check NPN "
                "against PNP, and the leads of the transistor.",
                part.origin,
            )


def fets(point: Point) -> Iterator[Finding]:
    """JFETs that cannot amplify where they stand."""
    for part in point.judged:
        if not isinstance(part.device, Fet) or len(set(part.nodes)) < 3:
            continue
        state = transistor_state(point.stage, part, point.volts, point.flows)
        if state is None or state.region is Region.ACTIVE:
            continue
        meter = f"V_GS {_volts(state.vbe)}, V_DS {_volts(state.vce)}"
        word, remedy = _FETS[state.region]
        yield Finding(
            f"fet-{state.region.name.lower().replace('_', '-')}",
            Gravity.CHECK,
            (part.ref,),
            f"{part.ref} {word}: {meter}.",
            remedy,
            part.origin,
        )


_FETS = {
    Region.SATURATED: (
        "has too little drain voltage and works as a resistor",
        "Read the drain and source resistors again. Right only for a switch or an attenuator.",
    ),
    Region.CUT_OFF: (
        "is pinched off",
        "Read the source resistor and the gate's divider again. Right only for a switch.",
    ),
    Region.REVERSED: (
        "stands the wrong way round",
        "Drain and source swapped, or n-channel written for p-channel.",
    ),
    Region.GATE_OPEN: (
        "has its gate driven into conduction",
        "Check its channel and where the gate resistor goes.",
    ),
}


def zeners(point: Point) -> Iterator[Finding]:
    """Zeners that hold no voltage."""
    for part in point.stage.parts:
        if not isinstance(part.device, Zener):
            continue
        forward = point.across(part)
        if forward is None or -forward >= REGULATES * part.device.volts:
            continue
        if forward > WRONG_WAY:
            yield Finding(
                "zener-forward",
                Gravity.CHECK,
                (part.ref,),
                f"{part.ref} conducts forward, at {_volts(forward)}.",
                "Turn it round: in use the cathode of a zener is its positive end.",
                part.origin,
            )
        else:
            yield Finding(
                "zener-not-regulating",
                Gravity.CHECK,
                (part.ref,),
                f"{part.ref} has {_volts(-forward)} of its {_volts(part.device.volts)}: "
                "it does not regulate.",
                "The resistor that feeds it is too large or its load too heavy: read both again.",
                part.origin,
            )


# Transistors first: what is wrong with one of them mostly explains the rest.
CHECKS: tuple[Check, ...] = (
    transistors,
    base_emitter_reversed,
    fets,
    zeners,
    against_polarity,
    above_working_volts,
    above_rating,
    fuses,
)


def _size(watts: float) -> str:
    """The rating a designer would have taken: twice the heat, in sizes one can buy."""
    return f"{next((size for size in SIZES if size >= 2 * watts), SIZES[-1]):g} W"


def _volts(volts: float) -> str:
    return engineering(volts, Unit.VOLT)


def _amps(amps: float) -> str:
    return engineering(amps, Unit.AMPERE)


def _watts(watts: float) -> str:
    return engineering(watts, Unit.WATT)
