"""What a supply does when a rectifier fails or a capacitor dries out: volts, ripple, currents."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from biaspredict.errors import Unsolved
from biaspredict.graph.capacitors import Role, capacitor_role
from biaspredict.model.circuit import OPEN, Variation
from biaspredict.model.parts import Part
from biaspredict.predict.at_rest import AtRest, ripple
from biaspredict.predict.dryness import BAD, POOR, dries, series_ohms
from biaspredict.predict.rectifying import Winding, windings
from biaspredict.predict.steady import OverTime, settle
from biaspredict.predict.supply import Supply

SHORT = 0.05  # ohms of a rectifier that has failed short (common practice, no source)
LEFT = (0.1, 0.02)  # share of its value that a dried reservoir keeps
ALIKE = 0.01  # of their size, within which two faults' figures are the same to a meter
BACKWARDS = -0.5  # volts that harm an electrolytic (common practice, no source)
BLOWS = 1.5  # times its rating, at which a fuse goes before long (common practice, no source)
PLAIN = 5e-3  # of its DC, from which ripple across a capacitor says that it smooths
HOT = 2.0  # times its sound current, from which a winding takes four times the heat


@dataclass(frozen=True, slots=True)
class Reads:
    """What a meter shows at a node: DC volts, ripple peak to peak, its hertz."""

    node: str
    volts: float
    ripple: float
    hertz: float | None


@dataclass(frozen=True, slots=True)
class SupplyFault:
    """A fault, and what it leaves.

    parts: those of which any one may have it, the figures being the same. mode: "open",
    "short", "dry" or "resistive"; severity: share of its farads left, or series ohms.
    reads: empty where the run did not come to rest. windings: with the fault. blown: a fuse
    that would go. backwards: electrolytics driven against their polarity. overheats: windings
    that take more than twice their current.
    """

    parts: tuple[str, ...]
    mode: str
    severity: float | None
    reads: tuple[Reads, ...]
    windings: tuple[Winding, ...]
    blown: tuple[str, ...]
    backwards: tuple[str, ...]
    overheats: tuple[str, ...]


def supply_faults(found: Supply, engine: OverTime) -> tuple[SupplyFault, ...]:
    """Every fault of the rectifiers, windings and smoothing capacitors, alike ones together."""
    faults: list[SupplyFault] = []
    for part, mode, severity, variation in _faults(found):
        fault = _run(found, engine, part, mode, severity, variation)
        for k, other in enumerate(faults):
            if _alike(fault, other):
                faults[k] = replace(other, parts=(*other.parts, *fault.parts))
                break
        else:
            faults.append(fault)
    return tuple(faults)


_Fault = tuple[Part, str, float | None, Variation]


def _faults(found: Supply) -> Iterator[_Fault]:
    stage, side = found.stage, found.side
    for ref in side.rectifiers:
        yield stage.part(ref), "open", None, Variation(lifts=((f"{ref}.anode", OPEN),))
    for ref in side.rectifiers:
        yield stage.part(ref), "short", None, Variation(settings=((f"{ref}.leak", SHORT),))
    if len(side.windings) > 1:
        for ref in side.windings:
            yield stage.part(ref), "open", None, Variation(settings=((f"{ref}.ohms", OPEN),))
    for part in smoothing(found):
        for share in LEFT:
            scaled = Variation(scales=((f"{part.ref}.farads", share),))
            yield part, "dry", share, scaled
        for ends in (POOR, BAD):
            ohms = series_ohms(part.now or 0.0, ends)
            yield part, "resistive", ohms, Variation(settings=((f"{part.ref}.series", ohms),))


def smoothing(found: AtRest) -> Iterator[Part]:
    """Electrolytics that hold the supply: at a fed or a swinging node, decoupling, or with plain
    ripple across them."""
    fed = {feed.node for feed in found.side.feeds} | found.side.swinging
    rippling = {c.ref for c in found.capacitors if c.ripple > PLAIN * abs(c.mean)}
    for part in found.stage.parts:
        if not dries(part) or not part.now:
            continue
        at_feed = not fed.isdisjoint(part.nodes)
        if (
            at_feed
            or part.ref in rippling
            or (capacitor_role(found.stage, part) is Role.DECOUPLING)
        ):
            yield part


def _run(
    found: Supply,
    engine: OverTime,
    part: Part,
    mode: str,
    severity: float | None,
    variation: Variation,
) -> SupplyFault:
    # What is open is run from empty capacitors: nothing would discharge them without a load.
    near = replace(found.steady, charges={}) if mode == "open" else found.steady
    try:
        steady = settle(found.circuit, found.side, found.hertz, engine, variation, near)
    except Unsolved:
        return SupplyFault((part.ref,), mode, severity, (), (), (), (), ())
    reads = []
    for line in found.lines:
        size, _, hertz = ripple(steady, line.node)
        reads.append(Reads(line.node, steady.means[line.node], size, hertz))
    currents = windings(found.stage, found.side, steady)
    if mode == "open" and part.ref in found.side.windings:
        currents = tuple(w for w in currents if w.ref != part.ref)
    sound = {w.ref: w.rms for w in found.windings}
    blown = [w.fuse for w in currents if w.fuse and w.rms > BLOWS * _rating(found, w.fuse)]
    backwards = [
        other.ref
        for other in smoothing(found)
        if other.dielectric != "non-polar"
        and float(steady.across(*other.nodes).min()) < BACKWARDS
        and float(found.steady.across(*other.nodes).min()) >= BACKWARDS
    ]
    overheats = [w.ref for w in currents if w.rms > HOT * sound[w.ref]]
    return SupplyFault(
        (part.ref,),
        mode,
        severity,
        tuple(reads),
        currents,
        tuple(dict.fromkeys(blown)),
        tuple(backwards),
        tuple(overheats),
    )


def _rating(found: Supply, fuse: str) -> float:
    return found.stage.part(fuse).amps or 0.0


def _alike(one: SupplyFault, other: SupplyFault) -> bool:
    if one.mode != other.mode or one.severity is not None or not one.reads or not other.reads:
        return False
    return all(
        a.hertz == b.hertz and _same(a.volts, b.volts) and _same(a.ripple, b.ripple)
        for a, b in zip(one.reads, other.reads, strict=True)
    )


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= ALIKE * max(abs(one), abs(other), 0.01)
