"""The steps of a lesson in the order of the signal, without those that nothing needs."""

from __future__ import annotations

from collections.abc import Sequence

from biaspredict.predict.hand.net import Junctionless, Net, Transistor
from biaspredict.predict.hand.records import Borrowed, Entry, Guess, Key, Step, What, volts


def told(net: Net, entries: Sequence[Entry]) -> tuple[Entry, ...]:
    """The entries worth telling, each behind what it uses, transistor by transistor."""
    kept = _needed(net, entries)
    ranks = _ranks(net, kept)
    made = {_made(entry) for entry in kept}
    done: set[Key] = set()
    left = list(range(len(kept)))
    ordered: list[Entry] = []
    while left:
        ready = [
            i for i in left
            if all(key in done or key not in made for key in _uses(kept[i]))
            and not _waits(kept, left, i)
        ]
        first = min(ready or left, key=lambda i: (ranks[i], i))
        left.remove(first)
        ordered.append(kept[first])
        if not _is_rough(kept[first]):
            done.add(_made(kept[first]))
    return tuple(ordered)


def _waits(kept: Sequence[Entry], left: Sequence[int], i: int) -> bool:
    """Whether a rougher step for the same quantity comes first."""
    entry = kept[i]
    return any(
        j < i and _is_rough(kept[j]) and _made(kept[j]) == _made(entry) for j in left
    )


def _is_rough(entry: Entry) -> bool:
    return isinstance(entry, Step) and entry.rough


def _made(entry: Entry) -> Key:
    return entry.key if isinstance(entry, Step) else volts(entry.node)


def _uses(entry: Entry) -> tuple[Key, ...]:
    """What it needs to be known; what is left out is taken as nothing."""
    if not isinstance(entry, Step):
        return ()
    return tuple(
        key for key, value in entry.inputs
        if (value or key.what is What.VOLTS) and key not in entry.assumes
    )


def _needed(net: Net, entries: Sequence[Entry]) -> list[Entry]:
    """Without currents and passive nodes that no other step asks for."""
    used: set[Key] = set()
    kept: list[Entry] = []
    seen: set[Key] = set()
    for entry in reversed(entries):
        key = _made(entry)
        guessed = isinstance(entry, Guess | Borrowed)
        better = key in seen and not _is_rough(entry)
        if guessed or key in used or (_matters(net, key) and not better):
            kept.append(entry)
            used.update(_uses(entry))
            if not _is_rough(entry):
                seen.add(key)
    return kept[::-1]


def _matters(net: Net, key: Key) -> bool:
    if key.what in (What.AMPS, What.BASE, What.THROUGH):
        return False
    if key.what is What.VOLTS:
        rails = {rail.name for rail in net.stage.rails}
        ports = {port.node for port in net.stage.outputs}
        return key.name in net.leads_at or key.name in rails or key.name in ports
    return True


def _ranks(net: Net, kept: Sequence[Entry]) -> list[float]:
    """Place of each entry: of the transistor it belongs to, or of the first that uses it."""
    devices: tuple[Transistor | Junctionless, ...] = (*net.transistors, *net.channels)
    order = {ref: float(i) for i, ref in enumerate(_in_signal_order(net))}
    at = {node: order[d.ref] for d in reversed(devices) for node, _, _ in d.leads}
    ranks = []
    for entry in kept:
        about = entry.about if isinstance(entry, Step) else entry.node
        ranks.append(order.get(about, at.get(about, float(len(order)))))
    # What a step uses must not stand behind it: give it the place of the first that needs it.
    for _ in range(3):
        first: dict[Key, float] = {}
        for entry, rank in zip(kept, ranks, strict=True):
            for key in _uses(entry):
                first[key] = min(first.get(key, rank), rank)
        ranks = [
            min(rank, first.get(_made(entry), rank))
            for entry, rank in zip(kept, ranks, strict=True)
        ]
    return ranks


def _in_signal_order(net: Net) -> list[str]:
    """References as the net was told to order them."""
    places = {ref: i for i, ref in enumerate(net.order)}
    devices: tuple[Transistor | Junctionless, ...] = (*net.transistors, *net.channels)
    refs = [device.ref for device in devices]
    return sorted(refs, key=lambda ref: places.get(ref, len(places)))
