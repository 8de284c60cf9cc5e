"""What an order of columns costs, in lengths of line: the measure that the search lowers.

A column is a stack of upright parts, or one level part, or one stub. Each has three places for
leads: left, middle and right. Sets of lines are bits of one integer, so that what passes over a
column is what has leads both before and behind it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from biaspredict.model.parts import CAPACITORS, POTS, Kind
from biaspredict.report.drawing.sketch import Sketch, Upright

LEFT, MIDDLE, RIGHT = 0, 1, 2

LENGTH = 1.0  # a line, for each column it passes
STILL_LENGTH = 0.03  # a rail or ground
CROSSING = 2.6
THROUGH_OWN = 3.5  # a base line through its own transistor
PAST_FLAT = 9.0  # a line past its own level part
STEPS_BACK = 1.6  # the signal running right to left, for each column
STAGES_BACK = 9.0  # from one transistor back to the next
BROKEN = 1.7  # a chain in two columns
COLUMN = 1.1
JOG = 0.25  # for each line between the two heights
FROM_RIGHT = 0.4  # a base on the right
TURNED_FLAT = 2.0
PAST_STUB = 3.0  # a line running past its own input or output
TO_THE_EDGE = 0.12  # an input, for each column left of it; an output, for each right of it
FOREIGN = 2.2  # parts of two chains in one column
TO_THE_RIGHT = 0.06  # a capacitor across the supply, for each column right of it


@dataclass(frozen=True, slots=True)
class Column:
    """kind "u": uprights top first, with the side of each one's third lead; "f", "s": one number.

    turned: a level part with its right end to the left.
    """

    kind: str
    members: tuple[int, ...]
    sides: tuple[int, ...] = ()
    turned: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Compiled:
    """A column with all that its cost needs worked out.

    left, middle, right: lines with a lead there. across: lines that its uprights would cross.
    jogs: (lines that a lead turning off would cross, where: LEFT, RIGHT or None for either).
    own: lines that should not run through. flat: its left and right line. alike: both of one
    height. stub: what it is. supply: a capacitor across the supply. cost: of the column itself.
    """

    column: Column
    left: int
    middle: int
    right: int
    across: int
    jogs: tuple[tuple[int, int | None], ...]
    own: int
    flat: tuple[int, int] | None
    alike: bool
    stub: str
    supply: bool
    keys: tuple[int, ...]
    cost: float


class Costs:
    """Compiles columns and adds up what an order of them costs."""

    def __init__(self, sketch: Sketch) -> None:
        self.sketch = sketch
        self.known: dict[Column, Compiled] = {}
        self.still = sum(1 << line.number for line in sketch.lines if line.still)
        self.touched = [
            {u.side, *_emitter(u)}
            for u in sketch.uprights
            if u.part.kind in (Kind.TRANSISTOR, Kind.FET)
        ]
        keys = [("u", k) for k in range(len(sketch.uprights))]
        keys += [("f", k) for k in range(len(sketch.flats))]
        keys += [("s", k) for k in range(len(sketch.stubs))]
        self.key = {key: place for place, key in enumerate(keys)}
        self.steps = [(self.key[a], self.key[b], self._stages_back(a, b)) for a, b in sketch.steps]
        self.linked = {pair for chain in sketch.chains for pair in pairwise(chain)}

    def _stages_back(self, a: tuple[str, int], b: tuple[str, int]) -> float:
        active = (Kind.TRANSISTOR, Kind.FET)
        both = all(k == "u" and self.sketch.uprights[i].part.kind in active for k, i in (a, b))
        return STAGES_BACK if both else 0.0

    def compiled(self, column: Column) -> Compiled:
        """The column worked out, once for each."""
        made = self.known.get(column)
        if made is None:
            make = {"s": self._stub, "f": self._flat, "u": self._uprights}[column.kind]
            made = self.known[column] = make(column)
        return made

    def _between(self, a: int, b: int) -> int:
        """Mask of the lines strictly between two."""
        low, high = (a, b) if a < b else (b, a)
        return ((1 << high) - 1) & ~((1 << (low + 1)) - 1) if high > low else 0

    def _keys(self, column: Column) -> tuple[int, ...]:
        return tuple(self.key[column.kind, k] for k in column.members)

    def _stub(self, column: Column) -> Compiled:
        stub = self.sketch.stubs[column.members[0]]
        line = 1 << stub.line
        keys = self._keys(column)
        return Compiled(column, 0, line, 0, 0, (), 0, None, False, stub.what, False, keys, 0.0)

    def _flat(self, column: Column) -> Compiled:
        s = self.sketch
        flat = s.flats[column.members[0]]
        left, right = flat.left, flat.right
        if column.turned:
            left, right = right, left
        cost = COLUMN + (TURNED_FLAT if column.turned else 0.0)
        jogs: tuple[tuple[int, int | None], ...] = ()
        alike = s.lines[left].track == s.lines[right].track
        if not alike:
            mask = self._between(left, right)
            jogs = ((mask, None),)
            cost += JOG * (1 + mask.bit_count())
        ends = (1 << left, 1 << right)
        keys = self._keys(column)
        return Compiled(column, ends[0], 0, ends[1], 0, jogs, 0, ends, alike, "", False, keys, cost)

    def _uprights(self, column: Column) -> Compiled:
        uprights = [self.sketch.uprights[k] for k in column.members]
        stops = [uprights[0].top, *(u.bottom for u in uprights)]
        middle = 0
        for line in stops:
            middle |= 1 << line
        across = self._between(stops[0], stops[-1]) & ~middle
        pairs = list(pairwise(column.members))
        kept = sum(pair in self.linked for pair in pairs)
        cost = COLUMN + FOREIGN * (len(pairs) - kept) - BROKEN * kept
        at = [0, middle, 0]
        jogs: list[tuple[int, int | None]] = []
        own = 0
        for u, side in zip(uprights, column.sides, strict=True):
            if u.side is None:
                continue
            at[side] |= 1 << u.side
            own |= 1 << u.side
            if side == RIGHT and u.part.kind not in POTS:
                cost += FROM_RIGHT
            elif side == LEFT and u.part.kind in POTS:
                cost += FROM_RIGHT / 2
            mask = 0
            if u.side >= u.top and u.top != u.bottom:
                mask = self._between(u.top - 1, u.side)
            elif u.side <= u.bottom:
                mask = self._between(u.bottom + 1, u.side)
            if mask:
                jogs.append((mask, side))
                cost += JOG * mask.bit_count()
        supply = all(self._across_supply(u) for u in uprights)
        keys = self._keys(column)
        return Compiled(
            column, at[LEFT], at[MIDDLE], at[RIGHT], across, tuple(jogs), own, None, False, "",
            supply, keys, cost,
        )  # fmt: skip

    def _across_supply(self, u: Upright) -> bool:
        """A capacitor to ground from a node that no transistor drives."""
        lines = self.sketch.lines
        ends = {u.top, u.bottom}
        return (
            u.part.kind in CAPACITORS
            and any(lines[end].still for end in ends)
            and not any(ends & self.touched[k] for k in range(len(self.touched)))
        )

    def cost(self, made: Sequence[Compiled]) -> float:
        """What this order costs."""
        size = len(made)
        behind = [0] * size
        lines = 0
        for place in range(size - 1, -1, -1):
            behind[place] = lines
            c = made[place]
            lines |= c.left | c.middle | c.right
        total = BROKEN * len(self.linked)
        where = [0] * len(self.key)
        still = self.still
        before = 0
        crossings = length = still_length = 0
        for place, c in enumerate(made):
            after = behind[place]
            left, middle, right = c.left, c.middle, c.right
            total += c.cost
            for key in c.keys:
                where[key] = place
            opened = before & (left | middle | right | after)
            standing = (opened & still).bit_count()
            still_length += standing
            length += opened.bit_count() - standing
            if c.stub:
                if c.stub in ("output", "link out"):
                    total += TO_THE_EDGE * (size - place)
                    if middle & after:
                        total += PAST_STUB
                elif c.stub in ("input", "link in"):
                    total += TO_THE_EDGE * place
                    if middle & before:
                        total += PAST_STUB
                elif middle & after and middle & before:
                    total += PAST_STUB
            else:
                over = (before | left) & (right | after)
                if c.across:
                    crossings += (c.across & over).bit_count()
                if c.own & over:
                    total += THROUGH_OWN * (c.own & over).bit_count()
                for mask, side in c.jogs:
                    at_left = (mask & before & (middle | right | after)).bit_count()
                    at_right = (mask & (before | left | middle) & after).bit_count()
                    if side is None:
                        crossings += min(at_left, at_right)
                    else:
                        crossings += at_left if side == LEFT else at_right
                if c.supply:
                    total += TO_THE_RIGHT * (size - place)
                if c.flat is not None:
                    past = (c.flat[0] & after != 0) + (c.flat[1] & before != 0)
                    if past:
                        total += PAST_FLAT * past if c.alike or past == 2 else 0.6
            before |= left | middle | right
        total += CROSSING * crossings + LENGTH * length + STILL_LENGTH * still_length
        for a, b, more in self.steps:
            back = where[a] - where[b]
            if back > 0:
                total += STEPS_BACK * back + more
        return total


def _emitter(u: Upright) -> tuple[int, ...]:
    if u.top_terminal in ("emitter", "source"):
        return (u.top,)
    return (u.bottom,)
