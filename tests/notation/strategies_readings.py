"""Random readings of a stage, as records: every quantity, every condition a file can state."""

from __future__ import annotations

from datetime import date
from functools import cache

from hypothesis import strategies as st

from biaspredict.model.readings import Deed, Meanwhile, Quantity, Reading, Readings
from biaspredict.model.stage import Meter, Stage
from biaspredict.notation import reason
from biaspredict.notation.doings import WARMED
from biaspredict.notation.reason import Reason
from biaspredict.quantities import Unit
from tests.notation.strategies import QUOTABLE, maybe, meters, value


@cache
@st.composite
def figure(draw: st.DrawFn, why: Reason) -> tuple[float, float]:
    """A figure of some digits, and what its last one is worth."""
    place = draw(st.integers(-9, 6 if why.unit is Unit.OHM else 0))
    digits = st.integers(-99999 if why.signed else 0, 99999)
    number = draw(digits.map(lambda n: float(f"{n}e{place}")).filter(why.is_possible))
    return number, float(f"1e{place}")


@cache
@st.composite
def meanwhile(draw: st.DrawFn, stage: Stage) -> tuple[Meanwhile, ...]:
    """Nothing, or a few things done for a reading."""
    found: dict[str, Meanwhile] = {}
    for _ in range(draw(st.sampled_from([0, 0, 1, 2]))):
        part = draw(st.sampled_from(stage.parts)) if stage.parts else None
        deed = draw(st.sampled_from(Deed))
        if part is None or deed is Deed.ACROSS:
            found[""] = Meanwhile(Deed.ACROSS, ohms=draw(value(reason.RESISTOR)))
        elif deed is Deed.LIFTED:
            leg = draw(st.sampled_from(part.terminals))
            ref = part.ref if len(part.terminals) == 2 and draw(st.booleans()) else (
                f"{part.ref}.{leg}")
            found[ref] = Meanwhile(deed, ref)
        elif part.kind in WARMED:
            found[part.ref] = Meanwhile(deed, part.ref)
    return tuple(found.values())


@st.composite
def readings(draw: st.DrawFn, stage: Stage) -> Readings:
    """Readings of that stage."""
    spelt = sorted(n for n in {*stage.nodes, *stage.names} if not n.startswith("test point "))
    apart = [(a, b) for a in spelt for b in spelt if stage.node(a) != stage.node(b)]
    conditions = {
        "celsius": maybe(value(reason.CELSIUS)),
        "line_volts": maybe(value(reason.LINE_VOLTS)),
        "minutes": maybe(value(reason.MINUTES)),
    }

    def reading(taken: bool = True) -> Reading:
        quantity = draw(st.sampled_from(Quantity if apart else [Quantity.VOLTS, Quantity.OHMS]))
        why = {
            Quantity.VOLTS: reason.VOLTS,
            Quantity.OHMS: reason.OHMS,
            Quantity.DROP: reason.DROP_READ,
            Quantity.GAIN: reason.GAIN_READ,
        }.get(quantity, reason.SIGNAL)
        signal = quantity in (Quantity.GAIN, Quantity.LEVEL, Quantity.RIPPLE)
        two = apart and (quantity is Quantity.GAIN or draw(st.booleans()))
        name, minus = draw(st.sampled_from(apart)) if two else (draw(st.sampled_from(spelt)), None)
        what, step = draw(figure(why))
        if not taken:
            return Reading(
                name, stage.node(name), 1.0, quantity, minus,
                None if minus is None else stage.node(minus),
                hertz=draw(maybe(value(reason.HERTZ))) if quantity is Quantity.GAIN else None,
                meanwhile=tuple(draw(meanwhile(stage)))[:1],
            )
        loose = quantity in (Quantity.OHMS, Quantity.DROP)
        about = draw(st.booleans())
        over = loose and not about and draw(st.booleans())
        return Reading(
            name,
            stage.node(name),
            what,
            quantity,
            minus,
            None if minus is None else stage.node(minus),
            about=about,
            over=over,
            step=0.0 if over or quantity is Quantity.GAIN else step,
            meter=draw(maybe(meters(Meter()))),
            range_volts=draw(maybe(value(reason.RANGE))),
            hertz=draw(maybe(value(reason.HERTZ))) if signal else None,
            meanwhile=draw(meanwhile(stage)),
            remark=draw(QUOTABLE),
            **{name: draw(what) for name, what in conditions.items()},
        )

    theirs = []
    for twin in stage.twins:
        mine = stage.part(twin.mine)
        number, step = draw(figure(reason.VOLTS))
        theirs.append(
            Reading(f"{twin.other}.{mine.terminals[0]}", mine.nodes[0], number, step=step)
        )
    left = [reading(taken=False) for _ in range(draw(st.sampled_from([0, 0, 1, 2])))]
    drive = st.tuples(value(reason.SIGNAL), value(reason.SOURCE_OHMS), st.sampled_from(stage.nodes))
    return Readings(
        draw(QUOTABLE),
        tuple(reading() for _ in range(draw(st.integers(0, 4)))),
        draw(maybe(st.dates(date(1000, 1, 1)))),
        draw(st.just(Meter()) | meters(Meter())),
        drive=draw(maybe(drive)),
        skipped=tuple(draw(st.lists(st.sampled_from(spelt), max_size=3, unique=True))),
        left_out=tuple(
            r for r in left
            if r.meanwhile or r.minus is not None or r.quantity is not Quantity.VOLTS
        ),
        other=tuple(theirs),
        **{name: draw(what) for name, what in conditions.items()},
    )
