"""The page of `supply`, and the sentence with which other pages name a supply."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from biaspredict.findings import Finding
from biaspredict.predict.raw_rail import Fed
from biaspredict.predict.rectifying import Stored
from biaspredict.predict.supply import Line, Source, Supply, rail_lines
from biaspredict.predict.supply_faults import Reads, SupplyFault, smoothing
from biaspredict.report import words

SHOWN = 2  # nodes beside each fault
DIRECT, RIPPLE = 0.02, 0.2  # share by which DC or ripple must move before a row is worth reading
NOTHING = 1e-3  # of its sound volts, below which a node reads nothing

MAINS = (
    "Fuse holder, switch and primary stay live with the switch off. Measure on the secondary "
    "side alone, one hand, clipped ground; plug out before a lead is moved. Local rules and "
    "licensed practice come first."
)
CHARGED = (
    "Reservoirs hold their charge: plug out, discharge each through a resistor (about 100 ohm "
    "5 W below 80 V, some kilohms above), and measure that it is discharged."
)


def page(found: Supply, faults: Sequence[SupplyFault], findings: Sequence[Finding]) -> str:
    """Figures of the sound supply, then what failed parts leave."""
    lines = [words.wrapped(found.stage.title), ""]
    lines += [words.wrapped(_source(found, s), "  ", "    ") for s in found.sources if s.rectifiers]
    lines += ["", *_nodes(found.lines), "", *_currents(found), "", *_capacitors(found)]
    for finding in findings:
        text = f"{words.GRAVITIES[finding.gravity]}: {finding.fact} {finding.remedy}"
        lines.append(words.wrapped(text, "  ", "    "))
    lines += ["", *_faults(found, faults), ""]
    lines.append("As a rail, in the file of whatever it feeds:")
    lines += [f"  {text}" for text in rail_lines(found)]
    lines += ["", words.wrapped(f"Caution: {MAINS}"), words.wrapped(f"Caution: {CHARGED}")]
    return "\n".join(lines)


def fed_words(fed: Fed) -> Iterator[str]:
    """How the windings of a stage were taken where it is predicted at DC."""
    for source in fed.sources:
        if source.rectifiers:
            yield words.wrapped(
                f"{source.node} is fed through {words.listed(source.rectifiers)}: taken as "
                f"{words.volts(source.open_volts)} behind {words.ohms(source.ohms)}. Ripple, and "
                "what a failed rectifier leaves: `biaspredict supply`."
            )
    for node, mean, direct in fed.bent:
        yield words.wrapped(
            f"{node} carries so much ripple that its mean over time is {words.volts(mean)}, not "
            f"the {words.volts(direct)} of a smooth supply: do not judge it by its band."
        )


def _source(found: Supply, source: Source) -> str:
    alone = sum(1 for other in found.sources if other.rectifiers) == 1
    diodes = found.side.rectifiers if alone else source.rectifiers
    step = 0.01 if abs(source.amps) < 0.3 else 0.1
    return (
        f"{source.node}: {source.scheme.value}, {words.listed(diodes)} on "
        f"{words.listed(found.side.windings)}, {found.hertz:g} Hz. It gives "
        f"{words.amps(abs(source.amps))}; each further {words.amps(step)} costs "
        f"{words.volts(source.ohms * step)}."
    )


def _hertz(hertz: float | None) -> str:
    return "-" if hertz is None else f"{hertz:g} Hz"


def _nodes(lines: Sequence[Line]) -> list[str]:
    rows = [("node", "DC", "line -10 %", "line +10 %", "ripple p-p", "rms", "at")]
    rows += [
        (
            line.node,
            words.volts(line.volts),
            words.volts(line.low),
            words.volts(line.high),
            words.volts(line.ripple),
            words.volts(line.rms),
            _hertz(line.hertz),
        )
        for line in lines
    ]
    return words.table(rows, right=range(1, 7))


def _currents(found: Supply) -> Iterator[str]:
    rows = [("rectifier", "mean", "peak", "blocks up to")]
    rows += [
        (r.ref, words.amps(r.mean), words.amps(r.peak), words.volts(r.reverse))
        for r in found.rectifiers
    ]
    yield from words.table(rows, right=(1, 2, 3))
    yield ""
    of_windings = [("winding", "rms", "peak")]
    of_windings += [(w.ref, words.amps(w.rms), words.amps(w.peak)) for w in found.windings]
    yield from words.table(of_windings, right=(1, 2))
    switch = found.switch_on
    up = (
        "Up takes longer than 3 s."
        if switch.seconds is None
        else f"Up within 5 % after {words_seconds(switch.seconds)}."
    )
    yield words.wrapped(
        f"Switched on at the worst moment, all discharged: {words.amps(switch.amps)} through "
        f"{switch.winding}. {up}",
        "  ",
    )


def words_seconds(seconds: float) -> str:
    """Seconds as a person counts them."""
    return f"{seconds * 1e3:.0f} ms" if seconds < 1.0 else f"{seconds:.2g} s"


def _capacitors(found: Supply) -> Iterator[str]:
    holding = {part.ref for part in smoothing(found)}
    rows = [("capacitor", "DC", "crest", "no load, +10 %", "rated", "ripple current")]
    rows += [
        (
            stored.ref,
            words.volts(stored.mean),
            words.volts(_crest(stored)),
            "-" if stored.unloaded is None else words.volts(stored.unloaded),
            _rated(found, stored),
            f"{words.amps(stored.amps)} rms",
        )
        for stored in found.capacitors
        if stored.ref in holding
    ]
    if len(rows) > 1:
        yield from words.table(rows, right=(1, 2, 3, 4, 5))


def _crest(stored: Stored) -> float:
    return max(stored.highest, stored.lowest, key=abs)


def _rated(found: Supply, stored: Stored) -> str:
    volts = found.stage.part(stored.ref).volts
    return "not said" if volts is None else words.volts(volts)


def _faults(found: Supply, faults: Sequence[SupplyFault]) -> Iterator[str]:
    sound = [Reads(x.node, x.volts, x.ripple, x.hertz) for x in found.lines]
    shown = [reads.node for reads in sound[:SHOWN]]
    yield "If a part fails:"
    rows = [("", *(cell for node in shown for cell in (node, "ripple", "")))]
    rows.append(("all sound", *_cells(sound, sound)))
    quiet, unsolved, notes = [], [], []
    for fault in faults:
        name = fault_words(fault)
        if not fault.reads:
            unsolved.append(name)
            continue
        said = list(_notes(found, fault))
        moved = [b for a, b in zip(sound, fault.reads, strict=True) if _moved(a, b)]
        if said or any(reads.node in shown for reads in moved):
            rows.append((name, *_cells(sound, fault.reads)))
        elif moved:
            said = [
                f"{r.node} {words.volts(r.volts)}, ripple {words.volts(r.ripple)}" for r in moved
            ]
        else:
            quiet.append(name)
        notes += [f"{name}: {note}" for note in said]
    yield from words.table(rows, right=range(1, 1 + 3 * len(shown)))
    for note in notes:
        yield words.wrapped(note, "  ", "    ")
    if any(reads.hertz and reads.hertz > found.hertz for reads in sound):
        yield words.wrapped(
            f"Ripple at {found.hertz:g} Hz where {2 * found.hertz:g} Hz belongs: one half is "
            "missing, so look for an open rectifier, winding or joint.",
            "  ",
            "    ",
        )
    if quiet:
        yield words.wrapped(f"No reading here shows {words.listed(quiet, 'or')}.", "  ", "    ")
    if unsolved:
        yield words.wrapped(f"Not settled in the run: {words.listed(unsolved)}.", "  ", "    ")


def fault_words(fault: SupplyFault) -> str:
    """The fault in a few words, as in `D1, D2, D3 or D4 open`."""
    if fault.mode == "dry":
        return f"{fault.parts[0]} dried to {100.0 * (fault.severity or 0.0):.0f} %"
    if fault.mode == "resistive":
        return f"{fault.parts[0]} {words.ohms(fault.severity or 0.0)} in series"
    return f"{words.listed(fault.parts, 'or')} {fault.mode}"


def _cells(sound: Sequence[Reads], reads: Sequence[Reads]) -> list[str]:
    cells = []
    for a, b in zip(sound[:SHOWN], reads[:SHOWN], strict=True):
        least = NOTHING * abs(a.volts)
        cells.append(words.volts(b.volts if abs(b.volts) > least else 0.0))
        cells.append(words.volts(b.ripple if b.hertz else 0.0))
        cells.append(_hertz(b.hertz))
    return cells


def _moved(sound: Reads, reads: Reads) -> bool:
    direct = abs(sound.volts - reads.volts) > DIRECT * abs(sound.volts)
    return direct or abs(sound.ripple - reads.ripple) > max(RIPPLE * sound.ripple, 1e-3)


def _notes(found: Supply, fault: SupplyFault) -> Iterator[str]:
    sound = {w.ref: w.rms for w in found.windings}
    hot = [w for w in fault.windings if w.ref in fault.overheats]
    if hot:
        most = max(hot, key=lambda w: w.rms)
        times = most.rms / max(sound[most.ref], 1e-12)
        often = f"{times:.2g} times" if times < 100.0 else "more than a hundred times"
        fate = (
            f"{words.listed(fault.blown)} blows"
            if fault.blown
            else "a fuse blows, or the winding burns"
        )
        yield (
            f"{most.ref} carries {words.amps(most.rms)} rms, {often} as much; {fate}. Do not "
            "power it."
        )
    if fault.backwards:
        yield (
            f"{words.listed(fault.backwards)} is driven backwards, and may burst: renew it too."
        )
