"""Transistors whose base hangs on their own collector, and transistors that are saturated.

The unknown currents of one transistor make the volts of all nodes around it straight lines; the
junction's own volts settle them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from biaspredict.model.devices import Bipolar, Material
from biaspredict.predict.hand.feed import conductances, reach
from biaspredict.predict.hand.feeding import difference
from biaspredict.predict.hand.net import Arm, Transistor
from biaspredict.predict.hand.records import Key, Step, Values, What, volts
from biaspredict.predict.hand.sheet import Sheet, a, ohms, v
from biaspredict.predict.hand.transistor import from_base, junction_up, reckoned
from biaspredict.predict.states import Region

LEFT = {Material.SILICON: 0.2, Material.GERMANIUM: 0.1}  # V_CE of a saturated one, as books take it

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Knot:
    """The nodes around a transistor that resistances join, as equations.

    inverse (n, n): volts for amperes fed in. edges: (row, known node, siemens). drawn: (row,
    current, amps into the node for each of it).
    """

    place: Mapping[str, int]
    inverse: Floats
    edges: tuple[tuple[int, str, float], ...]
    drawn: tuple[tuple[int, Key, float], ...]
    arms: tuple[Arm, ...]

    def open_volts(self, values: Values) -> Floats:
        """Volts (n,) while the transistor draws nothing."""
        fed = np.zeros(len(self.place))
        for row, node, siemens in self.edges:
            fed[row] += siemens * values[volts(node)]
        for row, key, way in self.drawn:
            fed[row] += way * values[key]
        return np.asarray(self.inverse @ fed)

    def moved(self, fed: Mapping[str, float]) -> Floats:
        """Volts (n,) that amperes into these nodes add."""
        found = np.zeros(len(self.place))
        for node, amps in fed.items():
            if node in self.place:
                found += self.inverse[:, self.place[node]] * amps
        return found

    def at(self, node: str, column: Floats, known: Values) -> float:
        return float(column[self.place[node]]) if node in self.place else known[volts(node)]


def knot(sheet: Sheet, t: Transistor) -> Knot | None:
    """The equations around a transistor, or None where another unknown current enters them."""
    net = sheet.net
    inside: list[str] = []
    for start in (t.base, t.collector, t.emitter):
        if start not in sheet.volts:
            inside += [n for n in reach(net, start, sheet.volts) if n not in inside]
    own = {key for _, key, _ in t.leads}
    left_out = set(sheet.following(t))
    drawn = []
    place = {node: i for i, node in enumerate(inside)}
    for node in inside:
        for key, way in net.leads_at.get(node, ()):
            if key in sheet.amps or key in left_out:
                drawn.append((place[node], key, way))
            elif key not in own:
                return None
    arms = tuple(dict.fromkeys(arm for n in inside for arm in net.arms_at.get(n, ())))
    matrix, edges = conductances(arms, place)
    if inside and np.linalg.matrix_rank(matrix) < len(inside):
        return None
    inverse: Floats = np.asarray(np.linalg.inv(matrix))
    return Knot(place, inverse, tuple(edges), tuple(drawn), arms)


def inputs_of(sheet: Sheet, k: Knot, t: Transistor) -> list[tuple[Key, float]]:
    """What the equations take from outside."""
    found = {volts(node): sheet.volts[node] for _, node, _ in k.edges}
    found |= {key: sheet.amps.get(key, 0.0) for _, key, _ in k.drawn}
    for node in (t.base, t.collector, t.emitter):
        if node in sheet.volts:
            found[volts(node)] = sheet.volts[node]
    return list(found.items())


def feedback(sheet: Sheet, t: Transistor) -> Iterator[Step]:
    """Bias from the transistor's own collector: IB, then the currents, then the volts."""
    if t.region is not Region.ACTIVE or reckoned(sheet, t) or t.base in sheet.volts:
        return
    if t.collector not in reach(sheet.net, t.base, sheet.volts):
        return
    shape = _classical(sheet, t)
    k = knot(sheet, t) if shape is not None else None
    if shape is None or k is None:
        return
    through, load, emitter = shape
    whole = sheet.reckoning.difference
    vbe, gain = t.key(What.JUNCTION), t.key(What.GAIN)

    def work(values: Values) -> float:
        beta = values[gain]
        emitted = beta + (1.0 if whole else 0.0)
        taken = k.moved({
            t.base: -t.sign * (1.0 if whole else 0.0) if t.base in k.place else 0.0,
            t.collector: -t.sign * beta,
            t.emitter: t.sign * emitted,
        })
        # Where the two are taken as one, the base current goes uncounted in the load alone.
        if not whole:
            taken = taken + _by_base_alone(k, t)
        rest = k.open_volts(values)
        standing = t.sign * (k.at(t.base, rest, values) - k.at(t.emitter, rest, values))
        falls = -t.sign * (taken[k.place[t.base]]
                           - (taken[k.place[t.emitter]] if t.emitter in k.place else 0.0))
        return float((standing - values[vbe]) / falls)

    inputs = (*inputs_of(sheet, k, t), (vbe, t.vbe), (gain, t.gain))
    ib = work(dict(inputs))
    end = load.other(t.collector)
    far = sheet.volts[end]
    low = sheet.volts.get(t.emitter, sheet.volts.get(emitter.other(t.emitter)) if emitter else 0.0)
    drive = difference(*((far, low or 0.0) if t.sign > 0 else (low or 0.0, far)))
    times = f"{t.gain + (1.0 if whole else 0.0):.4g}"
    common = ohms(load.ohms) if emitter is None else f"({ohms(load.ohms)} + {ohms(emitter.ohms)})"
    yield Step(
        t.ref, f"what the base of {t.ref} takes, round by its own collector",
        f"({drive} - {v(t.vbe)}) / ({ohms(through.ohms)} + {times} x {common})",
        t.key(What.BASE), ib, inputs, work,
        notes=(f"{through.words} carries the base current alone, {load.words} all of it",),
    )
    yield from from_base(sheet, t, ib)
    yield from _upwards(sheet, t, ib, load, emitter)


def _by_base_alone(k: Knot, t: Transistor) -> Floats:
    """Volts moved by one ampere of base current that flows in the base resistor only."""
    found = np.zeros(len(k.place))
    arm = next(
        arm for arm in k.arms if {arm.a, arm.b} == {t.base, t.collector}
    )
    found[k.place[t.base]] = -t.sign * arm.ohms
    return found


def _classical(sheet: Sheet, t: Transistor) -> tuple[Arm, Arm, Arm | None] | None:
    """Base resistor, load and emitter resistor where there is nothing else."""
    at = sheet.net.arms_at
    through = [a for a in at.get(t.base, ()) if a.other(t.base) == t.collector]
    load = [a for a in at.get(t.collector, ()) if a.other(t.collector) in sheet.volts]
    emitter = [a for a in at.get(t.emitter, ()) if a.other(t.emitter) in sheet.volts]
    held = t.emitter in sheet.volts
    own = {key for _, key, _ in t.leads}
    for node in (t.base, t.collector, *(() if held else (t.emitter,))):
        if any(key not in own for key, _ in sheet.net.leads_at.get(node, ())):
            return None
    plain = (
        len(through) == len(at.get(t.base, ())) == 1
        and len(load) == 1
        and len(at.get(t.collector, ())) == 2
        and (held or len(emitter) == len(at.get(t.emitter, ())) == 1)
    )
    return (through[0], load[0], None if held else emitter[0]) if plain else None


def _upwards(
    sheet: Sheet, t: Transistor, ib: float, load: Arm, emitter: Arm | None
) -> Iterator[Step]:
    """Emitter, base and collector volts from the currents."""
    whole = sheet.reckoning.difference
    base, collector, ie = t.key(What.BASE), t.key(What.COLLECTOR), t.key(What.EMITTER)
    ic = t.gain * ib
    emitted = ic + (ib if whole else 0.0)
    at_emitter = sheet.volts.get(t.emitter)
    if emitter is not None:
        far = volts(emitter.other(t.emitter))
        low = sheet.volts[far.name]
        at_emitter = low + t.sign * emitted * emitter.ohms
        yield Step(
            t.ref, f"{t.ref}.emitter, by {emitter.words}",
            difference(low, -t.sign * emitted * emitter.ohms), volts(t.emitter), at_emitter,
            ((far, low), (ie, emitted)),
            lambda values: values[far] + t.sign * values[ie] * emitter.ohms,
        )
    assert at_emitter is not None
    yield junction_up(t, at_emitter)
    end = volts(load.other(t.collector))
    counted = ib if whole else 0.0
    current = f"({a(ic)} + {a(ib)})" if whole else a(ic)
    held = sheet.volts[end.name]
    yield Step(
        t.ref, f"{t.ref}.collector: what {load.words} drops",
        f"{v(held)} {'-' if t.sign > 0 else '+'} {current} x {ohms(load.ohms)}",
        volts(t.collector), held - t.sign * (ic + counted) * load.ohms,
        ((end, held), (collector, ic), (base, counted)),
        lambda values: values[end] - t.sign * (values[collector] + values[base]) * load.ohms,
        notes=() if whole else (f"the base current in {load.words} is left out",),
    )


def saturated(sheet: Sheet, t: Transistor) -> Iterator[Step]:
    """V_BE and V_CE are both fixed, and the three currents must add up."""
    if t.region is not Region.SATURATED or reckoned(sheet, t):
        return
    if t.emitter in sheet.volts and t.base in sheet.volts and t.collector in sheet.volts:
        return
    k = knot(sheet, t)
    if k is None or not k.place:
        return
    left = _left_across(sheet, t)
    vbe, vce = t.key(What.JUNCTION), t.key(What.ACROSS)

    def solve(values: Values) -> tuple[float, float, float]:
        """Base current, collector current, emitter volts."""
        rest = k.open_volts(values)
        one = k.moved({t.base: -t.sign, t.emitter: t.sign})
        other = k.moved({t.collector: -t.sign, t.emitter: t.sign})

        def moves(column: Floats, node: str) -> float:
            return float(column[k.place[node]]) if node in k.place else 0.0

        matrix = [
            [t.sign * (moves(c, n) - moves(c, t.emitter)) for c in (one, other)]
            for n in (t.base, t.collector)
        ]
        right = [
            values[want] - t.sign * (k.at(n, rest, values) - k.at(t.emitter, rest, values))
            for n, want in ((t.base, vbe), (t.collector, vce))
        ]
        ib, ic = np.linalg.solve(np.array(matrix), np.array(right))
        at = k.at(t.emitter, rest, values)
        return float(ib), float(ic), at + ib * moves(one, t.emitter) + ic * moves(other, t.emitter)

    inputs = (*inputs_of(sheet, k, t), (vbe, t.vbe), (vce, left))
    ib, ic, at_emitter = solve(dict(inputs))
    note = f"{t.ref} is saturated: V_CE is taken as {v(left)}, and its gain tells nothing"
    fixed = f"with V_BE {v(t.vbe)} and V_CE {v(left)} both fixed"
    sums = "the currents into the three leads must add up to nothing"
    yield Step(t.ref, f"base current, {fixed}", sums, t.key(What.BASE), ib, inputs,
               lambda values: solve(values)[0], notes=(note,), assumes=(vce,))
    yield Step(t.ref, f"collector current, {fixed}", sums, t.key(What.COLLECTOR), ic, inputs,
               lambda values: solve(values)[1], notes=(note,), assumes=(vce,))
    base, collector = t.key(What.BASE), t.key(What.COLLECTOR)
    yield Step(t.ref, "emitter current: both together", f"{a(ic)} + {a(ib)}",
               t.key(What.EMITTER), ic + ib, ((collector, ic), (base, ib)),
               lambda values: values[collector] + values[base])
    if t.emitter not in sheet.volts:
        yield Step(t.ref, f"{t.ref}.emitter", "what its resistors leave at that current",
                   volts(t.emitter), at_emitter, inputs, lambda values: solve(values)[2],
                   assumes=(vce,))
    if t.base not in sheet.volts:
        yield junction_up(t, at_emitter)
    if t.collector not in sheet.volts:
        e = volts(t.emitter)
        yield Step(t.ref, f"{t.ref}.collector, {v(left)} from the emitter",
                   difference(at_emitter, -t.sign * left), volts(t.collector),
                   at_emitter + t.sign * left, ((e, at_emitter), (vce, left)),
                   lambda values: values[e] + t.sign * values[vce], assumes=(vce,))


def _left_across(sheet: Sheet, t: Transistor) -> float:
    device = sheet.net.stage.part(t.ref).device
    return LEFT[device.material] if isinstance(device, Bipolar) else 0.2
