"""Reckoning a whole stage: rules until none applies, then two guesses, then a borrowed node."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from biaspredict.predict.hand import balance, entangled, joined, strings, transistor
from biaspredict.predict.hand.net import Net
from biaspredict.predict.hand.order import told
from biaspredict.predict.hand.records import Borrowed, Entry, Guess, Reckoning, Step, What
from biaspredict.predict.hand.sheet import Sheet
from biaspredict.predict.states import Region
from biaspredict.quantities import Unit

DEPTH = 2  # guesses within guesses
MOST_TRIED = 6  # nodes at which guesses are tried before one is borrowed
FEW = 8  # unknown nodes up to which guesses within guesses are tried
# A guess that ends further from the solved stage than this rests on small differences.
NEAR, NEAR_VOLTS = 0.15, 0.3
TOUCHY = 100.0  # parts in a hundred of the current that one of the volts moves, at most
MOST_ROUNDS = 400


def reckon(net: Net, reckoning: Reckoning) -> tuple[Sheet, tuple[Entry, ...]]:
    """Every node of a stage by hand, as far as recipes and guesses reach.

    Nodes that they do not reach are taken from the solved stage, as few as will do, and said so.
    """
    sheet = Sheet(net, reckoning)
    _settle(sheet, DEPTH)
    while sheet.missing:
        _borrow(sheet)
        _settle(sheet, 1)
    _finish(sheet)
    return sheet, told(net, sheet.entries)


def _rules(sheet: Sheet) -> Iterator[Iterator[Step]]:
    """Rules in the order in which a person would try them."""
    net = sheet.net
    for t in net.transistors:
        yield transistor.steps(sheet, t)
        yield entangled.feedback(sheet, t)
        yield entangled.saturated(sheet, t)
        yield balance.other_currents(sheet, t)
        if t.collector not in sheet.volts:
            yield balance.node(sheet, t.collector)
        yield transistor.across(t, sheet)
    for fet in net.channels:
        yield joined.junction_fet(sheet, fet)
        if fet.drain not in sheet.volts:
            yield balance.node(sheet, fet.drain)
    for name in net.nodes:
        if name not in sheet.volts:
            yield balance.node(sheet, name)
    for fall in net.falls:
        yield balance.drop(sheet, fall)
    for t in net.transistors:
        yield balance.clamp(sheet, t)
    for arm in net.arms:
        yield balance.far_end(sheet, arm)
    yield joined.common_emitter(sheet)
    for name in net.nodes:
        yield balance.remainder(sheet, name)
    yield strings.string_current(sheet)
    for arm in net.arms:
        yield balance.slight(sheet, arm)
    for t in net.transistors:
        if t.region is Region.ACTIVE and not transistor.reckoned(sheet, t):
            step = joined.unloaded(sheet, t)
            yield iter(() if step is None else (step,))
    yield joined.halves(sheet)


def _propagate(sheet: Sheet) -> None:
    """Put down what follows, always beginning again with the first rule."""
    for _ in range(MOST_ROUNDS):
        if not any(sheet.put(list(rule)) for rule in _rules(sheet)):
            return


def _finish(sheet: Sheet) -> None:
    for t in sheet.net.transistors:
        sheet.put(transistor.across(t, sheet))


@dataclass(frozen=True, slots=True)
class _Clash:
    """What does not come out right yet: volts of a junction, or amps at a node."""

    about: str
    kind: What
    off: float
    came_in: float
    went_out: float


def _clashes(sheet: Sheet) -> Iterator[_Clash]:
    net = sheet.net
    for t in net.transistors:
        if t.region is Region.ACTIVE and t.base in sheet.volts and t.emitter in sheet.volts:
            stands = t.sign * (sheet.volts[t.base] - sheet.volts[t.emitter])
            yield _Clash(t.ref, What.JUNCTION, stands - t.vbe, stands, t.vbe)
    for name in net.nodes:
        if name in net.fixed or name not in sheet.volts:
            continue
        found = _balance_at(sheet, name)
        if found is not None:
            came, went = found
            yield _Clash(name, What.AMPS, came - went, came, went)


def _balance_at(sheet: Sheet, name: str) -> tuple[float, float] | None:
    """Amps that come in and go out, or None where one is not known."""
    came = went = 0.0
    for arm in sheet.net.arms_at.get(name, ()):
        if arm.a not in sheet.volts or arm.b not in sheet.volts:
            return None
        amps = (sheet.volts[arm.other(name)] - sheet.volts[name]) / arm.ohms
        came, went = came + max(amps, 0.0), went + max(-amps, 0.0)
    for key, way in sheet.net.leads_at.get(name, ()):
        if key not in sheet.amps and key.what is not What.BASE:
            return None
        amps = way * sheet.amps.get(key, 0.0)
        came, went = came + max(amps, 0.0), went + max(-amps, 0.0)
    return came, went


def _settle(sheet: Sheet, depth: int) -> None:
    """Propagate, and where it stops, settle a node by two guesses, with others inside them."""
    _propagate(sheet)
    while sheet.missing and depth > 0:
        best = _best_guess(sheet, depth)
        if best is None:
            return
        sheet.entries.append(best)
        sheet.volts[best.node] = best.volts
        sheet.guessed.add(best.node)
        _propagate(sheet)


def _best_guess(sheet: Sheet, depth: int) -> Guess | None:
    """The guess that settles most nodes; one that needs no other guess inside it goes first."""
    inner = range(depth if len(sheet.missing) <= FEW else 1)
    found: list[tuple[Worth, Guess]] = []
    for within in inner:
        for node in _candidates(sheet)[:MOST_TRIED]:
            guess = _guess(sheet, node, within)
            if guess is not None:
                found.append(guess)
                if guess[0][:2] == (0, 0):  # those that people guess come first
                    return guess[1]
        if found and min(worth for worth, _ in found)[0] == 0:
            break
    return min(found, key=lambda one: one[0])[1] if found else None


def _suppose(sheet: Sheet, node: str, volts: float, depth: int) -> Sheet:
    trial = sheet.copy()
    trial.volts[node] = volts
    trial.guessed.add(node)
    trial.supposing = True
    _settle(trial, depth)
    return trial


# Nodes still unknown, base currents left out, and how far the node is from one that people guess.
Worth = tuple[int, int, int]


def _guess(sheet: Sheet, node: str, depth: int) -> tuple[Worth, Guess] | None:
    """The volts of a node at which all comes out right.

    With it what the guess is worth, least best.
    """
    near = sheet.net.solved.get(node)
    if near is None:
        return None
    tries = [_nice(near * 1.1 + 0.02), _nice(near * 0.9 - 0.02)]
    first = _suppose(sheet, node, tries[0], depth)
    clash = next((
        (c.about, c.kind) for c in _clashes(first)
        if abs(c.off) > _least(c) and (c.kind is What.JUNCTION or c.about == node)
    ), None)
    if clash is None:
        return None
    found = [_clash(first, clash), _clash(_suppose(sheet, node, tries[1], depth), clash)]
    one, other = found
    if one is None or other is None or abs(one.off - other.off) < 1e-12:
        return None
    settled = tries[0] - one.off * (tries[0] - tries[1]) / (one.off - other.off)
    if not abs(settled - near) <= 2.0 * max(NEAR * abs(near), NEAR_VOLTS):
        return None
    met = _closer(sheet, node, depth, clash, settled, (tries[1], other.off))
    if met is None:
        return None
    settled, done = met
    if not abs(settled - near) <= max(NEAR * abs(near), NEAR_VOLTS):
        return None
    if _touchy(done, clash, (one.off - other.off) / (tries[0] - tries[1])):
        return None
    left_out = sum(
        any(key.what is What.BASE and not amps for key, amps in entry.inputs)
        for entry in done.entries if isinstance(entry, Step) and not entry.rough
    )
    unit = Unit.VOLT if clash[1] is What.JUNCTION else Unit.AMPERE
    shown = tuple(
        (volts, c.came_in, c.went_out)
        for volts, c in sorted(zip(tries, (one, other), strict=True), key=lambda pair: pair[0])
    )
    wanted = one.went_out if clash[1] is What.JUNCTION else 0.0
    guess = Guess(node, settled, clash[0], unit, wanted, shown)
    return (len(done.missing), left_out, _rank(sheet, node)[0]), guess


def _clash(trial: Sheet, which: tuple[str, What]) -> _Clash | None:
    return next((c for c in _clashes(trial) if (c.about, c.kind) == which), None)


def _closer(
    sheet: Sheet, node: str, depth: int, which: tuple[str, What], settled: float,
    last: tuple[float, float],
) -> tuple[float, Sheet] | None:
    """Where a device bends the line, a few more guesses close by; None where they do not meet."""
    for _ in range(4):
        done = _suppose(sheet, node, settled, depth)
        clash = _clash(done, which)
        if clash is None or not math.isfinite(settled):
            return None
        if abs(clash.off) <= _least(clash):
            return settled, done
        if clash.off == last[1]:
            return None
        moved = settled - clash.off * (settled - last[0]) / (clash.off - last[1])
        last, settled = (settled, clash.off), moved
    return None


def _touchy(done: Sheet, clash: tuple[str, What], slope: float) -> bool:
    """Whether the balance hangs on so small differences that the guess says nothing."""
    about, kind = clash
    flows = _balance_at(done, about) if kind is What.AMPS else None
    if flows is None:
        return False
    return abs(slope * done.volts[about]) > TOUCHY * flows[0]


def _least(clash: _Clash) -> float:
    """What is right enough."""
    if clash.kind is What.JUNCTION:
        return 1e-9
    return 1e-9 * max(abs(clash.came_in), abs(clash.went_out), 1e-9)


def _nice(volts: float) -> float:
    """A round number to guess with: two digits."""
    return float(f"{volts:.2g}")


def _candidates(sheet: Sheet) -> list[str]:
    """Nodes worth a guess: supplies of part of the stage first, then where transistors meet."""
    return sorted(sheet.missing, key=lambda node: _rank(sheet, node))


def _rank(sheet: Sheet, node: str) -> tuple[int, int]:
    leads = [key.what for key, _ in sheet.net.leads_at.get(node, ())]
    arms = sheet.net.arms_at.get(node, ())
    fed = any(arm.other(node) in sheet.net.fixed for arm in arms)
    if fed and What.BASE not in leads and What.EMITTER not in leads and len(arms) > 1:
        return 0, -len(arms)
    if What.EMITTER in leads:
        return 1, -len(arms)
    return (3 if What.BASE in leads and What.COLLECTOR not in leads else 2), -len(arms)


def _borrow(sheet: Sheet) -> None:
    """Take the node from the solved stage that lets most others follow."""
    best: tuple[int, str] | None = None
    for node in _candidates(sheet)[: 2 * MOST_TRIED]:
        trial = sheet.copy()
        trial.volts[node] = sheet.net.solved[node]
        _propagate(trial)
        count = len(trial.missing) + 2 * _rank(sheet, node)[0]
        if best is None or count < best[0]:
            best = (count, node)
    assert best is not None
    sheet.entries.append(Borrowed(best[1], sheet.net.solved[best[1]]))
    sheet.volts[best[1]] = sheet.net.solved[best[1]]
