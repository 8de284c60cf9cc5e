"""The one sentence that a swap comes down to."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.model.devices import Bipolar
from biaspredict.predict.swap import MARKS, Swap, changed_value, new_strain
from biaspredict.quantities import Unit, engineering

HEARD = 1.0  # decibels of level that a listener notices (common practice, no source)
THUMP = 1.25  # factor by which a thump must grow or shrink to be noticed (common practice)
THUMP_VOLTS = 0.1
SLOWER = 1.5  # factor of the time to settle that a person notices
SECOND = 1.0
RIPPLES = 0.02  # share by which a ripple must change to be told
WARMTH, WARMER = 0.05, 1.2  # watts, and the factor, by which heat must change to be told
MELTING, MOLTEN = 1.0, 3.0  # the same for heat that the part was hardly made for


def verdict(swap: Swap) -> str:
    """One plain sentence: what is dangerous, else what is heard, else that nothing is."""
    subject = _subject(swap)
    if dangers := list(_dangers(swap)):
        return f"{subject} will not do: {'; '.join(dangers)}."
    heard = list(_heard(swap))
    seen = list(_seen(swap))
    corner = _corner(swap)
    if swap.after.gains is None and swap.before.ripple:
        return f"{subject}: {'; '.join([*_rippled(swap), *seen])}."
    seen = [*_rippled(swap), *seen]
    if swap.after.gains is None:
        opening = f"{subject}: nothing can be said of the sound"
    elif heard:
        opening = f"{subject} {_listed(heard)}"
    else:
        opening = f"{subject} {_verb(swap, 'changes', 'change')} nothing you can hear"
    return f"{opening}{corner}{''.join('; ' + s for s in seen)}."


def dangerous(swap: Swap) -> bool:
    """Whether the change harms a part, or keeps the stage from working."""
    return any(_dangers(swap))


def _subject(swap: Swap) -> str:
    if len(swap.parts) > 1:
        return "Both changes" if len(swap.parts) == 2 else f"These {len(swap.parts)} changes"
    before, after = swap.parts[0]
    old, new = changed_value(before), changed_value(after)
    one, other = before.device, after.device
    if isinstance(one, Bipolar) and isinstance(other, Bipolar) and _alike(one, other):
        old, new = old.split("gain ")[1], new.split(", ")[1]
    if old == new:
        return f"The new {after.ref}"
    if before.now is not None and old.split()[-1:] == new.split()[-1:]:
        new = new.split()[0] if " " in new else new
    return f"{new} for {old} in {after.ref}"


def _alike(one: Bipolar, other: Bipolar) -> bool:
    return (one.polarity, one.material) == (other.polarity, other.material)


def _verb(swap: Swap, one: str, many: str) -> str:
    return one if len(swap.parts) == 1 else many


def _dangers(swap: Swap) -> Iterator[str]:
    for finding in new_strain(swap):
        yield finding.fact.rstrip(".")
    if swap.before.corners is not None and swap.after.gains is None:
        yield swap.after.withheld
    for ref in _hot(swap, MELTING, MOLTEN):
        old, new = (engineering(s.watts[ref], Unit.WATT) for s in (swap.before, swap.after))
        if swap.after.watts[ref] > swap.before.watts[ref]:
            yield f"{ref} would turn {new} into heat instead of {old}"


def _heard(swap: Swap) -> Iterator[str]:
    before, after = swap.before.gains, swap.after.gains
    if before is None or after is None:
        return
    for hertz, old, new in zip(MARKS, before, after, strict=True):
        change = new - old
        if abs(change) >= HEARD:
            verb = _verb(swap, "adds", "add") if change > 0 else _verb(swap, "takes", "take")
            yield f"{verb} {abs(change):.1f} dB at {_hertz(hertz)}"


def _rippled(swap: Swap) -> Iterator[str]:
    for node, old in swap.before.ripple.items():
        new = swap.after.ripple.get(node, 0.0)
        one, two = (engineering(value, Unit.VOLT) for value in (old, new))
        if abs(new - old) > RIPPLES * max(old, new):
            yield f"the ripple on {node} moves from {one} to {two} peak to peak"
        else:
            yield f"the ripple on {node} stays at {two} peak to peak"


def _corner(swap: Swap) -> str:
    before, after = swap.before.corners, swap.after.corners
    if before is None or after is None:
        return ""
    old, new = before.figures.exact_hertz, after.figures.exact_hertz
    if old is None and new is None:
        return ""
    if old is None or new is None:
        gone = "there is no longer a 3 dB point" if new is None else "there is now a 3 dB point"
        return f": {gone}" + (f" at {_hertz(new)}" if new is not None else "")
    if _hertz(old) == _hertz(new):
        return f": 3 dB down stays at {_hertz(new)}"
    return f": 3 dB down moves from {_hertz(old)} to {_hertz(new)}"


def _seen(swap: Swap) -> Iterator[str]:
    if swap.moved:
        node = max(swap.moved, key=lambda n: abs(swap.after.volts[n] - swap.before.volts[n]))
        old, new = (engineering(s.volts[node], Unit.VOLT) for s in (swap.before, swap.after))
        yield f"the DC moves beyond what sound stages show, {node} from {old} to {new}"
    for ref in _hot(swap, WARMTH, WARMER):
        old, new = (engineering(s.watts[ref], Unit.WATT) for s in (swap.before, swap.after))
        yield f"{ref} turns {new} into heat instead of {old}"
    one, two = swap.before.turn_on, swap.after.turn_on
    if one is None or two is None:
        return
    for node, old_peak in one.thumps.items():
        new_peak = two.thumps.get(node, 0.0)
        large, small = max(abs(old_peak), abs(new_peak)), min(abs(old_peak), abs(new_peak))
        if large > THUMP * small and large - small > THUMP_VOLTS:
            word = "grows" if abs(new_peak) > abs(old_peak) else "shrinks"
            yield (
                f"the thump at {node} {word} from {engineering(abs(old_peak), Unit.VOLT)} to "
                f"{engineering(abs(new_peak), Unit.VOLT)}"
            )
    if one.slowest and two.slowest:
        was, now = one.slowest[1], two.slowest[1]
        if max(was, now) > SLOWER * min(was, now) and abs(now - was) > SECOND:
            yield f"it settles in {now:.2g} s instead of {was:.2g} s"


def _hot(swap: Swap, watts: float, factor: float) -> tuple[str, ...]:
    """The part whose heat changes most, if by so many watts and so large a factor."""
    was, now = swap.before.watts, swap.after.watts
    changes = {ref: abs(now[ref] - was[ref]) for ref in now.keys() & was.keys()}
    ref = max(sorted(changes), key=lambda r: changes[r], default=None)
    if ref is None or changes[ref] < watts:
        return ()
    return (ref,) if max(was[ref], now[ref]) > factor * min(was[ref], now[ref]) else ()


def _hertz(value: float) -> str:
    text = f"{value:.3g}" if value < 1e3 else f"{value / 1e3:.3g} k"
    return f"{text}Hz" if text.endswith("k") else f"{text} Hz"


def _listed(items: list[str]) -> str:
    if len(items) < 2:
        return "".join(items)
    first, *rest = items
    # "takes 3 dB at 20 Hz and 2 dB at 1 kHz" when the verb is the same
    verb = first.split()[0]
    shorter = [item.removeprefix(f"{verb} ") for item in rest]
    return ", ".join([first, *shorter[:-1]]) + f" and {shorter[-1]}"
