"""A circuit as deck text for ngspice, and the handles by which its values are moved later.

Element number k becomes r{k}, q{k}, ... and node number i becomes n{i}: no name and no value of
a stage is ever read by ngspice, which takes `4k7` for 4000 and `1M` for 0.001 without a word.
Every transistor and diode has a model of its own and its leaks, so that faults of it need no new
deck. A resistor of OPEN ohms holds every node to ground (rg...): ngspice's own option for that
loses memory at every run. There is no joint where none is lifted: beside a milliohm ngspice's
arithmetic ends at picoamperes, which is volts at a node that only GMIN holds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from biaspredict.engine.values import (
    GATE_SATURATION,
    ZENER_SATURATION,
    breakdown_volts,
    device_at,
    held,
)
from biaspredict.model.circuit import GMIN, OPEN, Circuit, Device, Element, Load
from biaspredict.model.stage import GROUND

# Default tolerances call a run solved that is volts away (136 of 2000 faulted amplifiers).
OPTIONS = (
    f"reltol=1e-5 vntol=1e-8 abstol=1e-14 itl1=200 itl2=200 gmin={GMIN!r} "
    "temp={celsius!r} tnom={celsius!r}"
)
# Asked for more over time, a stage of high gain takes ever smaller steps until the run stops.
OVER_TIME = OPTIONS.replace("vntol=1e-8", "vntol=1e-6").replace("abstol=1e-14", "abstol=1e-12")
KEY = "key"  # a node whose volts tell one run from every other
FLAT = 1e30  # Early volts of a transistor without that effect
ICBO_IDEALITY = 2.0
NOTHING = 1e20  # ohms of a resistor that is in the deck only to be altered
JUNCTION_FARADS = 1e-12  # less than any diode has
NO_AMPS = 1e-20  # saturation current of a diode that is not there: ngspice takes its logarithm

Handles = dict[str, float]


@dataclass(frozen=True, slots=True)
class Swing:
    """How sources and windings move in a run over time.

    rise: seconds in which every source climbs from nothing at switch-on; None: on all along.
    sines: peak volts and hertz added to the source of that name.
    charges: volts of capacitors and amps of coils at the start, others none; None: as the
        operating point has them. degrees: where the sine of every winding begins.
    """

    rise: float | None = None
    sines: Mapping[str, tuple[float, float]] | None = None
    charges: Mapping[str, float] | None = None
    degrees: float = 0.0


@dataclass(frozen=True, slots=True)
class Deck:
    """lines: the deck; names: ngspice's name of each node of the circuit, ground included."""

    lines: tuple[str, ...]
    names: Mapping[str, str]


def load_handles(number: int, load: Load) -> Handles:
    return {f"alter rl{number}": held(load.ohms), f"alter vl{number} dc": float(load.volts)}


def handles(k: int, element: Element, celsius: float) -> Handles:
    """The numbers that ngspice holds for element k: command without its value -> value."""
    return _HANDLES[element.device](str(k), device_at(element, element.values, celsius))


def shape(element: Element) -> tuple[object, ...]:
    """What of the element's values is built into the deck's text; empty for most."""
    v = element.values
    if element.device in (Device.BIPOLAR, Device.JFET):
        return (v[0] > 0.0,)
    if element.device is Device.JUNCTION:
        return (math.isfinite(v[3]),)
    return v if element.device is Device.LAMP else ()


def deck(
    circuit: Circuit,
    loads: tuple[Load, ...] = (),
    *,
    swing: Swing | None = None,
    sounding: str | None = None,
    near: Sequence[float] = (),
) -> Deck:
    """Write the deck of a circuit at its own temperature, with `loads` added.

    Without `swing` and `sounding` capacitors and coils are what they are at DC. `swing`: for a
    run over time. `sounding`: the SOURCE of unit amplitude in a run over frequency. `near`:
    volts of the nodes, in order, to begin the search for the operating point at.
    """
    names = {GROUND: "0"} | {node: f"n{i}" for i, node in enumerate(circuit.nodes, 1)}
    lines = ["* stage", f"vkey {KEY} 0 0.0"]
    lines += [f"rg{i} n{i} 0 {OPEN!r}" for i in range(1, len(circuit.nodes) + 1)]
    for k, element in enumerate(circuit.elements):
        nodes = [names[node] for node in element.nodes]
        numbers = handles(k, element, circuit.celsius)
        if swing is not None or sounding is not None:
            lines += _moving(k, element, nodes, numbers, swing or Swing(), sounding)
        else:
            lines += _still(k, element, nodes, numbers)
    for k, load in enumerate(loads):
        ohms, volts = load_handles(k, load).values()
        lines.append(f"rl{k} {names[load.a]} y{k} {ohms!r}")
        climbs = "" if swing is None or swing.rise is None else (
            f" pwl(0.0 0.0 {swing.rise!r} {volts!r})")
        lines.append(f"vl{k} y{k} {names[load.b]} dc {volts!r}{climbs}")
    options = OPTIONS if swing is None else OVER_TIME
    lines += [
        f".nodeset v(n{i})={float(volts)!r}" for i, volts in enumerate(near, 1)
        if math.isfinite(volts)
    ]
    lines.append(".options " + options.format(celsius=circuit.celsius))
    lines.append(".end")
    return Deck(tuple(lines), names)


def _still(k: int, element: Element, nodes: list[str], numbers: Handles) -> list[str]:
    """Cards of one element as it is at DC."""
    values = [repr(float(value)) for value in numbers.values()]
    device = element.device
    if device in _CARDS:
        return _CARDS[device](k, element, nodes, values)
    if device is Device.POT:
        top, wiper, bottom = nodes
        return [f"r{k}u {top} {wiper} {values[0]}", f"r{k}l {wiper} {bottom} {values[1]}"]
    if device is Device.SOURCE:
        return [f"v{k} s{k} 0 dc {values[0]}", f"r{k} s{k} {nodes[0]} {values[1]}"]
    if device is Device.CURRENT:
        return [f"i{k} {nodes[0]} {nodes[1]} dc {values[0]}"]
    if device is Device.LAMP:
        hot, volts = (repr(float(value)) for value in element.values)
        across = f"v({nodes[0]},{nodes[1]})"
        law = f"{across}/({hot}*sqrt(0.01+0.99*abs({across})/{volts}))"
        return [f"b{k} {nodes[0]} {nodes[1]} i={law}"]
    return [f"r{k} {nodes[0]} {nodes[1]} {values[0]}"]


def _moving(
    k: int,
    element: Element,
    nodes: list[str],
    numbers: Handles,
    swing: Swing,
    sounding: str | None,
) -> list[str]:
    """Cards of one element as it is over time and frequency."""
    cards = _still(k, element, nodes, numbers)
    device = element.device
    charged = ""
    if swing.charges is not None:
        charged = f" ic={float(swing.charges.get(element.name, 0.0))!r}"
    if device is Device.CAPACITOR:
        farads, _, series = (float(value) for value in element.values)
        if farads > 0.0:
            cards.append(f"rs{k} {nodes[0]} c{k}x {held(series)!r}")
            cards.append(f"c{k} c{k}x {nodes[1]} {farads!r}{charged}")
    elif device is Device.JUNCTION and sounding is None:
        # Rectifiers without capacitance, letting go of a winding, leave ngspice no step to take.
        cards.append(f"c{k}j {nodes[0]} {nodes[1]} {JUNCTION_FARADS!r}")
    elif device is Device.COIL and element.values[1] > 0.0:
        cards = [
            f"r{k} {nodes[0]} l{k}x {held(element.values[0])!r}",
            f"l{k} l{k}x {nodes[1]} {float(element.values[1])!r}{charged}",
        ]
    elif device is Device.WINDING:
        ohms, rms, hertz = (float(value) for value in element.values)
        sine = f"sin(0.0 {rms * math.sqrt(2.0)!r} {hertz!r} 0.0 0.0 {float(swing.degrees)!r})"
        cards = [
            f"r{k} {nodes[0]} w{k}x {held(ohms)!r}",
            f"v{k} w{k}x {nodes[1]} dc 0.0 {sine}",
        ]
    elif device in (Device.SOURCE, Device.CURRENT):
        driven = (swing.sines or {}).get(element.name)
        if swing.rise is not None and driven is None:
            cards[0] += f" pwl(0.0 0.0 {swing.rise!r} {float(element.values[0])!r})"
        elif driven is not None:
            peak, hertz = map(float, driven)
            cards[0] += f" sin({float(element.values[0])!r} {peak!r} {hertz!r})"
        if element.name == sounding:
            cards[0] += " ac 1.0 0.0"
    return cards


def _bipolar_cards(k: int, element: Element, nodes: list[str], values: list[str]) -> list[str]:
    c, b, e = nodes
    saturation, gain, reverse, early, icbo, cb, be, ce = values
    npn = element.values[0] > 0.0
    return [
        # Tied to the part's own side of it, the substrate's junction brings no GMIN to ground.
        f"q{k} {c} {b} {e} {c if npn else b} m{k}",
        f".model m{k} {'npn' if npn else 'pnp'} is={saturation} bf={gain} br={reverse} vaf={early}",
        # A diode carries ICBO: ngspice takes an `isc` above 1e-4 for a multiple of `is`.
        f"d{k}i {b} {c} m{k}i" if npn else f"d{k}i {c} {b} m{k}i",
        f".model m{k}i d is={icbo} n={ICBO_IDEALITY!r}",
        f"r{k}cb {c} {b} {cb}",
        f"r{k}be {b} {e} {be}",
        f"r{k}ce {c} {e} {ce}",
    ]


def _fet_cards(k: int, element: Element, nodes: list[str], values: list[str]) -> list[str]:
    d, g, s = nodes
    vto, beta, slope, gs, gd, ds = values
    kind = "njf" if element.values[0] > 0.0 else "pjf"
    return [
        f"j{k} {d} {g} {s} m{k}",
        f".model m{k} {kind} vto={vto} beta={beta} lambda={slope} is={GATE_SATURATION!r}",
        f"r{k}gs {g} {s} {gs}",
        f"r{k}gd {g} {d} {gd}",
        f"r{k}ds {d} {s} {ds}",
    ]


def _junction_cards(k: int, element: Element, nodes: list[str], values: list[str]) -> list[str]:
    anode, cathode = nodes
    cards = [
        f"d{k} {anode} {cathode} m{k}",
        f".model m{k} d is={values[0]} n={values[1]}",
        f"r{k}l {anode} {cathode} {values[2]}",
    ]
    if len(values) > 3:
        cards += [
            f"d{k}z {cathode} z{k}x m{k}z",
            f".model m{k}z d is={ZENER_SATURATION!r} n=1.0",
            f"v{k}z z{k}x {anode} dc {values[3]}",
        ]
    return cards


_CARDS: dict[Device, Callable[[int, Element, list[str], list[str]], list[str]]] = {
    Device.BIPOLAR: _bipolar_cards,
    Device.JFET: _fet_cards,
    Device.JUNCTION: _junction_cards,
}


def _bipolar(k: str, v: tuple[float, ...]) -> Handles:
    _, saturation, gain, reverse, early, icbo, _, cb, be, ce = v
    return {
        f"altermod m{k} is": saturation,
        f"altermod m{k} bf": gain,
        f"altermod m{k} br": reverse,
        f"altermod m{k} vaf": min(early, FLAT),
        f"altermod m{k}i is": max(icbo, NO_AMPS),
        # The diode of ICBO brings a GMIN of its own along: it is taken off the leak.
        f"alter r{k}cb": 1.0 / max(1.0 / held(cb) - GMIN, 1.0 / NOTHING),
        f"alter r{k}be": held(be),
        f"alter r{k}ce": held(ce),
    }


def _fet(k: str, v: tuple[float, ...]) -> Handles:
    _, idss, pinch_off, slope, gs, gd, ds = v
    return {
        f"altermod m{k} vto": -pinch_off,
        f"altermod m{k} beta": idss / pinch_off**2,
        f"altermod m{k} lambda": slope,
        f"alter r{k}gs": held(gs),
        f"alter r{k}gd": held(gd),
        f"alter r{k}ds": held(ds),
    }


def _junction(k: str, v: tuple[float, ...]) -> Handles:
    saturation, ideality, _, zener_volts, zener_amps, leak = v
    numbers = {
        f"altermod m{k} is": saturation,
        f"altermod m{k} n": ideality,
        f"alter r{k}l": held(leak),
    }
    if math.isfinite(zener_volts):
        numbers[f"alter v{k}z dc"] = breakdown_volts(zener_volts, zener_amps)
    return numbers


def _pot(k: str, v: tuple[float, ...]) -> Handles:
    ohms, turn = v
    return {f"alter r{k}u": held(ohms * (1.0 - turn)), f"alter r{k}l": held(ohms * turn)}


# Each keeps the order in which the cards above take their values.
_HANDLES: dict[Device, Callable[[str, tuple[float, ...]], Handles]] = {
    Device.RESISTOR: lambda k, v: {f"alter r{k}": held(v[0])},
    Device.CAPACITOR: lambda k, v: {f"alter r{k}": held(v[1])},
    Device.COIL: lambda k, v: {f"alter r{k}": held(v[0])},
    Device.POT: _pot,
    Device.JUNCTION: _junction,
    Device.BIPOLAR: _bipolar,
    Device.JFET: _fet,
    Device.LAMP: lambda k, v: {},
    Device.SOURCE: lambda k, v: {f"alter v{k} dc": v[0], f"alter r{k}": held(v[1])},
    Device.CURRENT: lambda k, v: {f"alter i{k} dc": v[0]},
    Device.WINDING: lambda k, v: {f"alter r{k}": held(v[0])},
}
