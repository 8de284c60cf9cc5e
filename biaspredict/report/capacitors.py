"""The page of `corners`."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from biaspredict.model.devices import Bipolar
from biaspredict.model.parts import POTS
from biaspredict.model.stage import Port
from biaspredict.predict.capacitors import Capacitors
from biaspredict.predict.corners import Corner, Corners
from biaspredict.predict.dryness import HUM, Cost, Drying, Dryness
from biaspredict.predict.duties import decibels
from biaspredict.predict.leakage import Leak
from biaspredict.predict.settling import Loose, Settling, Wait
from biaspredict.quantities import Unit, engineering
from biaspredict.report import words

# Waits that a person tells apart.
STEPS = (0.2, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0, 3600.0)
TENTH = 0.1
HUMS = 3.0  # decibels of hum that are noticed beside the old hum (common practice, no source)
NOT_RECKONED = (
    "Transistors carry no capacitance of their own here: the treble of the real stage ends "
    "sooner, and nothing is said of oscillation."
)


def page(found: Capacitors) -> str:
    """Every section asked for, or why it is missing."""
    lines = [words.wrapped(found.stage.title)]
    if found.corners is not None:
        lines += ["", *_way(found.corners), "", *_bass(found.corners), *_treble(found.corners)]
    if found.drying is not None:
        lines += ["", *_dry(found.drying)]
    if found.leaks is not None:
        lines += ["", *_leakage(found.leaks)]
    if found.settling is not None:
        lines += ["", *_waiting(found.settling)]
    for problem in dict.fromkeys(found.withheld.values()):
        names = [name for name, why in found.withheld.items() if why is problem]
        lines += ["", words.wrapped(f"No figures for {words.listed(names)}: {problem.fact}.")]
        if problem.remedy:
            lines.append(words.wrapped(problem.remedy, "  "))
    return "\n".join(lines)


def _way(found: Corners) -> Iterator[str]:
    path = found.path
    text = f"{path.start.node} ({_source(path.start)}) to {path.end.node} ({_load(path.end)})"
    others = [port.node for port in path.stage.outputs if port.node != path.end.node]
    yield words.wrapped(text)
    guessed = [p.ref for p in path.stage.parts if p.kind in POTS and p.turn is None]
    if guessed:
        yield words.wrapped(f"{words.listed(guessed)} taken at half: the file does not say.", "  ")
    celsius = path.stage.assumptions.temperature
    middles = any(
        isinstance(part.device, Bipolar) and part.device.gain.low < part.device.gain.high
        for part in path.stage.parts
    )
    amid = ", transistors at the middle of their gain" if middles else ""
    yield words.wrapped(f"At {celsius:g} C{amid}.", "  ")
    if others:
        yield words.wrapped(f"Other outputs: {words.listed(others)} (--to NAME).", "  ")


def _source(port: Port) -> str:
    if port.ohms is None:
        return "from a source without resistance"
    outside = ", through a capacitor outside taken as wire" if port.blocked else ""
    return f"from {words.ohms(port.ohms)}{outside}"


def _load(port: Port) -> str:
    if port.ohms is None:
        return "unloaded"
    outside = ", through a capacitor outside taken as wire" if port.blocked else ""
    return f"into {words.ohms(port.ohms)}{outside}"


def hertz(value: float | None) -> str:
    """Hertz or a dash."""
    if value is None:
        return "-"
    return engineering(value, Unit.HERTZ)


def decibel(value: float) -> str:
    """A change in decibels, signed; nothing below a twentieth."""
    return "0" if abs(value) < 0.05 else f"{value:+.1f}"


def _farads(corner: Corner) -> str:
    return engineering(corner.farads, Unit.FARAD) + ("*" if corner.beside else "")


def _bass(found: Corners) -> Iterator[str]:
    figures, path = found.figures, found.path
    bass = sorted((c for c in found.corners if c.bass and c.crossed), key=lambda c: -(c.hertz or 0))
    if bass:
        yield "Bass: what each capacitor does by itself, the others taken as wire"
        rows = [("", "does", "value", "sees", "own corner", "share", "dB at 20 Hz")]
        rows += [
            (
                c.ref, c.duty.value, _farads(c),
                "-" if c.ohms is None else words.ohms(c.ohms), hertz(c.hertz),
                "-" if c.share is None else words.percent(c.share), decibel(c.alone),
            )
            for c in bass
        ]
        yield from words.table(rows, right=(2, 3, 4, 5, 6))
        yield from _notes(bass)
    yield from _quiet([c for c in found.corners if not c.crossed])
    yield ""
    yield "The whole stage"
    whole = [
        ("sum of own corners", hertz(figures.sum_hertz), "an estimate, from time constants"),
        ("3 dB down", hertz(figures.exact_hertz), "the true figure, from a frequency run"),
    ]
    where = "mid-band" if figures.flat else "at 1 kHz"
    turned = ", phase turned" if figures.gain < 0 else ""
    whole += [
        ("gain", _gain(abs(figures.gain)), f"from the source, {where}{turned}"),
        ("", _gain(figures.node_gain), f"{path.end.node} over {path.start.node} at 1 kHz"),
        ("at 20 Hz", f"{decibel(figures.loss)} dB", _phase(figures.lead)),
    ]
    if figures.tilt is not None:
        whole.append(
            ("square wave", f"{figures.tilt * 100:.2g} %", f"tilt at {hertz(figures.square_hertz)}")
        )
    elif figures.flat:
        at = hertz(figures.square_hertz)
        whole.append(("square wave", "-", f"at {at} its top falls through zero"))
    yield from words.table(whole, right=(1,))
    for why in figures.why:
        yield words.wrapped(why, "  ")


def _gain(value: float) -> str:
    return f"{words.ratio(value)} ({decibels(value):.1f} dB)"


def _phase(lead: float | None) -> str:
    if lead is None:
        return ""
    if abs(lead) < 0.5:
        return "phase as in the middle"
    return f"phase {abs(lead):.0f} degrees {'ahead' if lead > 0 else 'behind'}"


def _notes(some: Sequence[Corner]) -> Iterator[str]:
    for c in some:
        if c.beside:
            yield words.wrapped(f"* {c.ref} with {words.listed(c.beside)} beside it.", "  ")
        if c.hertz is None:
            yield words.wrapped(
                f"{c.ref} stands in a ring with other capacitors: no corner is its own.", "  "
            )
        elif c.most is not None and c.share is None and abs(c.most) >= 0.5:
            verb = "lifts the bass by" if c.most > 0 else "takes no more than"
            yield words.wrapped(
                f"{c.ref} {verb} {abs(c.most):.1f} dB, however low the note: not in the sum.", "  "
            )


def _quiet(some: Sequence[Corner]) -> Iterator[str]:
    if some:
        them = "it" if len(some) == 1 else "them"
        refs = words.listed([c.ref for c in some])
        text = f"{refs}: no signal crosses {them}, so a corner would mean nothing."
        yield words.wrapped(text, "  ")


def _treble(found: Corners) -> Iterator[str]:
    treble = [c for c in found.corners if not c.bass and c.crossed]
    if not treble:
        return
    yield ""
    yield "Treble: open in the middle of the band, at work above their own corner"
    rows = [("", "does", "value", "sees", "own corner", "dB at 20 kHz")]
    rows += [
        (
            c.ref, c.duty.value, _farads(c), "-" if c.ohms is None else words.ohms(c.ohms),
            hertz(c.hertz), decibel(c.alone),
        )
        for c in treble
    ]
    yield from words.table(rows, right=(2, 3, 4, 5))
    yield words.wrapped(NOT_RECKONED, "  ")


def _dry(found: Drying) -> Iterator[str]:
    if not found.capacitors:
        yield "No electrolytic, so nothing here dries out."
        return
    yield "Dried or resistive: decibels that no DC reading shows"
    hum = found.rail is not None
    extra = ["hum"] if hum else []
    blank = [""] * (1 + len(extra))
    head = ["", "20 Hz", "1 kHz", *extra, "20 Hz", "1 kHz", *extra, "ohms", "1 kHz"]
    rows: list[Sequence[str]] = [["", "10 %", *blank, "2 %", *blank, "bad", ""], head]
    idle = []
    for dry in found.capacitors:
        row = []
        for cost in [cost for share, cost in dry.left if share <= TENTH]:
            row += [decibel(cost.low), decibel(cost.middle)]
            row += [decibel(cost.hum or 0.0)] if hum else []
        row += [engineering(dry.bad[0], Unit.OHM, 2), decibel(dry.bad[1].middle)]
        if {*row[:-2], row[-1]} == {"0"}:
            idle.append(dry.ref)
        else:
            rows.append([dry.ref, *row])
    if len(rows) > 2:
        yield from words.table(rows, right=range(1, len(head)))
        text = "10 % or 2 % of its value left; or as many ohms in series as are bad at its size."
        if hum:
            text += f" Hum: {HUM:.0f} Hz on {found.rail}."
        yield words.wrapped(text, "  ")
    if idle:
        yield words.wrapped(f"{words.listed(idle)}: dry or not, the signal is the same.", "  ")
    yield from _reading(found, idle)


def _reading(found: Drying, idle: Sequence[str]) -> Iterator[str]:
    alive = [dry for dry in found.capacitors if dry.ref not in idle]
    low, middle = ([dry.ref for dry in alive if dry.seen[i]] for i in (0, 1))
    hidden = [dry for dry in alive if not any(dry.seen)]
    humming = [dry.ref for dry in hidden if (_tenth(dry).hum or 0.0) >= HUMS]
    mute = [dry.ref for dry in hidden if dry.ref not in humming]
    said = []
    if middle:
        said.append(f"a gain reading at 1 kHz shows {words.listed(middle)} dried to a tenth")
    if low:
        again = "one at" if middle else "a gain reading at"
        tenth = "" if middle else " dried to a tenth"
        said.append(f"{again} 20 Hz shows {words.listed(low)}{tenth}")
    if humming:
        said.append(f"only hum shows {words.listed(humming)}")
    if mute:
        said.append(f"{words.listed(mute)} {'hides' if len(mute) == 1 else 'hide'} from them all")
    if said:
        text = "; ".join(said)
        yield words.wrapped(f"{text[0].upper()}{text[1:]}.", "  ")


def _tenth(dry: Dryness) -> Cost:
    return next(cost for share, cost in dry.left if share <= TENTH)


def _leakage(leaks: Sequence[Leak]) -> Iterator[str]:
    told = [leak for leak in leaks if leak.amps is not None]
    still = [leak.ref for leak in leaks if leak.amps is None and abs(leak.volts) < 0.05]
    held = [leak.ref for leak in leaks if leak.amps is None and leak.ref not in still]
    yield "Leakage: how much this circuit stands before a node leaves its band"
    if told:
        rows = [("", "across", "stands", "then", "reads", "new: most", "old practice")]
        rows += [
            (
                leak.ref, words.volts(abs(leak.volts)), words.amps(leak.amps or 0.0),
                leak.node or "", words.volts(leak.node_volts or 0.0),
                "-" if leak.limit is None else words.amps(leak.limit),
                "-" if leak.old_limit is None else words.amps(leak.old_limit),
            )
            for leak in told
        ]
        yield from words.table(rows, right=(1, 2, 4, 5, 6))
    if held:
        yield words.wrapped(f"{words.listed(held)}: no leak short of a short moves any node.", "  ")
    if still:
        yield words.wrapped(f"{words.listed(still)}: no DC across, so no leak flows.", "  ")
    if told:
        yield words.wrapped(
            "New: the larger of 3 uA and 0.01 C V, as IEC 60384-4 words it; old practice: "
            "JAN-C-62. At the working volts, after minutes of forming.", "  ",
        )
    tight = [k.ref for k in told if k.limit and (k.amps or 0.0) < k.limit and k.matters]
    if tight:
        yield words.wrapped(
            f"{words.listed(tight)}: even a new one within its limit may be too leaky here. Take "
            "a low-leakage type or film.", "  ",
        )


def seconds(value: float) -> str:
    """A wait as a person keeps it."""
    for limit, size, unit in ((90.0, 1.0, "s"), (5400.0, 60.0, "minutes")):
        if value < limit:
            return f"{value / size:.2g} {unit}"
    return f"{value / 3600.0:.2g} hours"


def _waiting(found: Settling) -> Iterator[str]:
    yield "Waiting: after switch-on each node stands within 1 % of its final volts"
    yield from words.table(list(_grouped(found.waits)))
    for loose in found.loose:
        yield words.wrapped(_advice(loose), "  ")


def _grouped(waits: Sequence[Wait]) -> Iterator[tuple[str, str]]:
    groups: dict[float, list[str]] = {}
    for wait in sorted(waits, key=lambda w: w.seconds):
        step = next((s for s in STEPS if wait.seconds <= s), wait.seconds)
        groups.setdefault(step, []).append(wait.node)
    for step, nodes in groups.items():
        when = "at once" if step == STEPS[0] else f"after {seconds(step)}"
        for i, text in enumerate(textwrap.wrap(", ".join(nodes), words.WIDTH - 20)):
            yield when if i == 0 else "", text


def _advice(loose: Loose) -> str:
    kept = words.listed(loose.capacitors) or "stray charge"
    text = (
        f"{loose.node}: nothing but your meter lets the charge of {kept} go: "
        f"{seconds(loose.constant)} a time constant with 10 Mohm, {seconds(loose.seconds)} until "
        "it means anything."
    )
    if loose.seconds > 5.0:
        text += (
            f" Power off, clip {words.ohms(loose.bridge)} from {loose.node} to ground, power on, "
            "read across it after a minute: near 0 V if the capacitor is sound."
        )
    return text
