"""Corners of a stage: what each capacitor sees, and where the whole stage loses its bass.

Three figures go by the name of corner, and they differ:
own corner: 1 / (2 pi R C), R seen by that capacitor with the others of the bass as wire;
sum: the own corners of those that take bass away added up, the estimate of the short-circuit
    time constants (Gray & Meyer, Analysis and Design of Analog Integrated Circuits, from memory);
3 dB down: where the gain of the whole stage, by ngspice, has fallen by a factor of sqrt(2).
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.engine.stores import Motion, Store, ohms_seen
from biaspredict.errors import InputError
from biaspredict.model.stage import Stage
from biaspredict.predict.duties import Duty, Sorted, crossed, decibels, sort
from biaspredict.predict.path import Referee, SignalPath, signal_path_of

LOW, HIGH = 20.0, 20e3  # hertz, the ends of the audio band
MIDDLE = 1e3
# Hertz of the square waves that a generator gives; ten times the corner shows a tilt of a third.
SQUARES = (100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 10e3)
HALF_POWER = 1.0 / math.sqrt(2.0)
COUNTS = 1.0  # decibels that a capacitor takes away at its own corner, or it is not in the sum
FLAT = 1.0  # decibels by which the middle of the band may stray and be called flat
LOWEST = 1e-3  # hertz down to which 3 dB are sought
FAR = 1e-3  # of its own corner, where a capacitor that stops falling has stopped
AGREE = 1.05  # ratio up to which two corners are the same to a technician


@dataclass(frozen=True, slots=True)
class Corner:
    """One capacitor.

    farads: with those beside it across the same nodes, whose references are `beside`.
    bass: it sets the low end; else the high end. crossed: a signal crosses it.
    ohms: seen with the other bass capacitors as wire and the treble ones open; None where the
    others join its ends. hertz: its own corner, None without ohms or a signal.
    share: of the sum; None where it is not in it. alone: decibels that it alone adds to the
    gain at 20 Hz (20 kHz where treble). most: decibels that it alone adds far below its corner;
    None where it goes on falling, and for treble.
    """

    ref: str
    duty: Duty
    farads: float
    bass: bool
    crossed: bool
    ohms: float | None
    hertz: float | None
    share: float | None
    alone: float
    most: float | None
    beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Figures:
    """The whole stage.

    gain: output for a volt of the source in the middle of the band, negative where it turns
    the phase; of the size at 1 kHz where the stage is not `flat`. node_gain: output over the
    input node at 1 kHz, as read at the bench. sum_hertz, exact_hertz, lead (degrees at 20 Hz
    against the middle), tilt (fraction, of a square wave of square_hertz): None where they have
    no meaning. loss: decibels at 20 Hz, negative. why: what is withheld, and why corners differ.
    """

    flat: bool
    gain: float
    node_gain: float
    sum_hertz: float | None
    exact_hertz: float | None
    loss: float
    lead: float | None
    tilt: float | None
    square_hertz: float
    why: tuple[str, ...]


@dataclass(frozen=True)
class Corners:
    """The answer for one way through a stage."""

    path: SignalPath
    order: Sorted
    corners: tuple[Corner, ...]
    figures: Figures


def corners(
    stage: Stage,
    referee: Referee,
    *,
    start: str | None = None,
    end: str | None = None,
    square: float | None = None,
) -> Corners:
    """Corners on the way from an input to an output.

    square: hertz of the square wave whose tilt is told; None: a suitable one. Raises InputError
    without an input, an output or a capacitor; Unsolved where no gain can be told (see
    `signal_path_of`); EngineMissing.
    """
    return corners_of(signal_path_of(stage, referee, start, end), referee, square)


def corners_of(path: SignalPath, referee: Referee, square: float | None = None) -> Corners:
    """The same of a path at hand."""
    if not path.stores:
        raise InputError(
            "the stage has no capacitor, so nothing in it has a corner",
            remedy="Write its capacitors down, those at the edge of the stage too.",
        )
    order = sort(path)
    found = [_corner(order, store) for store in (*order.bass, *order.treble)]
    total = math.fsum(c.hertz for c in found if c.share is not None and c.hertz is not None)
    shared = tuple(
        replace(c, share=c.hertz / total) if c.share is not None and c.hertz else c
        for c in found
    )
    return Corners(path, order, shared, _figures(order, shared, total, referee, square))


def _corner(order: Sorted, store: Store) -> Corner:
    path, duty = order.path, order.duties[store.name]
    alive = crossed(path, store)
    if store in order.treble:
        ohms = ohms_seen(path.matrix, store, order.bass)
        hertz = _corner_hertz(ohms, store.farads) if alive else None
        (alone,) = order.alone([HIGH], (store,))
        return Corner(
            store.name, duty, store.farads, False, alive, ohms, hertz, None, alone, None
        )
    beside = order.beside(store)
    group = (store, *beside)
    farads = math.fsum(s.farads for s in group)
    ohms = ohms_seen(path.matrix, store, [s for s in order.bass if s not in group])
    hertz = _corner_hertz(ohms, farads) if alive else None
    share = most = None
    own = hertz if hertz is not None else LOW
    there, far, further, alone = order.alone([own, own * FAR, own * FAR / 10.0, LOW], group)
    if hertz is not None:
        if store in order.losing and not _second(order, group) and there < -COUNTS:
            share = 0.0  # filled in once the sum is known
        most = far if abs(far - further) < COUNTS else None
    return Corner(
        store.name, duty, farads, True, alive, ohms, hertz, share, alone, most,
        tuple(s.name for s in beside),
    )


def _second(order: Sorted, group: Sequence[Store]) -> bool:
    """Whether this is a capacitor beside one that was counted already."""
    return any(order.bass.index(s) < order.bass.index(group[0]) for s in group[1:])


def _corner_hertz(ohms: float | None, farads: float) -> float | None:
    return 1.0 / (2.0 * math.pi * ohms * farads) if ohms is not None and ohms > 0.0 else None


def _figures(
    order: Sorted, found: Sequence[Corner], total: float, referee: Referee, square: float | None
) -> Figures:
    path = order.path
    middle = order.middle
    flat = not order.shaping or _is_flat(order, middle)
    whole, over_input = path.swept(referee, [LOW, MIDDLE])
    ideal, _ = path.swept(referee, [LOW], order.losing)
    exact, unfound = _three_down(order, found, referee)
    tilt = lead = None
    if square is None:
        square = next((f for f in SQUARES if f >= 10.0 * (exact or 0.0)), SQUARES[-1])
    if flat:
        lead = math.degrees(cmath.phase(complex(whole[0]) * math.copysign(1.0, middle)))
        first, last = Motion(path.matrix, order.bass).tops(path.drive, path.out, square)
        tilt = 2.0 * (first - last) / (first + last) if first * last > 0.0 else None
    return Figures(
        flat,
        middle if flat else float(abs(whole[1])),
        float(abs(over_input[1])),
        total or None,
        exact,
        decibels(abs(complex(whole[0]))) - decibels(abs(complex(ideal[0]))),
        lead,
        tilt,
        square,
        tuple(_reasons(found, total, exact, unfound, flat)),
    )


def _is_flat(order: Sorted, middle: float) -> bool:
    """Whether nothing shapes the gain between 20 Hz and 3 kHz but what loses bass."""
    shaped = abs(order.path.gain([LOW, 100.0, 300.0, MIDDLE, 3e3], wire=order.losing))
    return all(abs(decibels(g) - decibels(abs(middle))) < FLAT for g in shaped.tolist())


def _three_down(
    order: Sorted, found: Sequence[Corner], referee: Referee
) -> tuple[float | None, str]:
    """Hertz where the losing capacitors have taken 3 dB, by ngspice; or why there is none."""
    path = order.path

    def linear(hertz: Floats) -> Floats:
        return np.abs(path.gain(hertz) / path.gain(hertz, wire=order.losing))

    def exact(hertz: float) -> float:
        real, ideal = (path.swept(referee, [hertz], wire)[0] for wire in ((), order.losing))
        return float(abs(real[0] / ideal[0]))

    losing = {store.name for store in order.losing}
    own = [c.hertz for c in found if c.hertz is not None and c.ref in losing]
    high = max([MIDDLE, *(4.0 * hertz for hertz in own)])
    hertz = np.geomspace(high, LOWEST, 64)
    below = np.flatnonzero(linear(hertz) < HALF_POWER)
    if not below.size:
        return None, "the stage never loses 3 dB of bass, however low the note"
    if below[0] == 0:
        return None, "the gain levels out nowhere, so 3 dB down is 3 dB below nothing"
    finer = np.geomspace(hertz[below[0] - 1], hertz[below[0]], 64)
    near = finer[np.flatnonzero(linear(finer) < HALF_POWER)[0]]
    return _by_secant(float(near), exact), ""


def _by_secant(near: float, left: Callable[[float], float]) -> float:
    """The hertz at which `left` has fallen to half power, from a close guess."""
    points = [(math.log(f), math.log(left(f) / HALF_POWER)) for f in (near, near * 1.01)]
    for _ in range(4):
        (x0, y0), (x1, y1) = points[-2:]
        if y1 == y0 or abs(y1) < 1e-7:
            break
        x = x1 - y1 * (x1 - x0) / (y1 - y0)
        points.append((x, math.log(left(math.exp(x)) / HALF_POWER)))
    return math.exp(min(points, key=lambda point: abs(point[1]))[0])


def _reasons(
    found: Sequence[Corner], total: float, exact: float | None, unfound: str, flat: bool
) -> Iterator[str]:
    counted = [c for c in found if c.share is not None and c.hertz is not None]
    if not flat:
        yield (
            "Tone capacitors shape this stage, so no part of its response is level: the gain is "
            "the one at 1 kHz, 3 dB are counted from the curve as it would be without loss in "
            "the others, and no phase or tilt is given."
        )
    if not counted:
        yield "No capacitor takes bass away, so there is no sum of corners."
    if exact is None:
        yield f"No 3 dB frequency: {unfound}."
        return
    if not counted:
        return
    top = max(counted, key=lambda c: c.hertz or 0.0)
    shelf = top.most is not None and top.most > -15.0
    first = top.hertz or 0.0
    if len(counted) == 1 and _near(exact, first):
        yield f"{top.ref} alone sets the bass, so the three figures agree."
    elif _near(exact, first) and _near(total, first):
        yield (
            f"{top.ref} has its corner far above all others, so the three figures nearly agree."
        )
    elif exact < first / AGREE and shelf:
        yield (
            f"3 dB down lies below {top.ref}'s own corner because {top.ref} alone can take no "
            f"more than {-(top.most or 0.0):.1f} dB: beyond that its resistor carries the signal."
        )
    elif first / AGREE <= exact < total / AGREE:
        yield (
            f"{top.ref} would be 3 dB down by itself at its own corner; together with the others "
            "that happens at the 3 dB figure. The sum counts every other corner in full, though "
            "so far above them they have not lost that much: it errs on the high side."
        )
    elif not _near(exact, total):
        yield (
            "The capacitors work on each other through the bias or a feedback loop, which no own "
            "corner and no sum can know: believe the 3 dB figure."
        )
    else:
        yield "The sum and the 3 dB figure agree; each own corner holds for that capacitor alone."


def _near(one: float, other: float) -> bool:
    return 1.0 / AGREE < one / other < AGREE
