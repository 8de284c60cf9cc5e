"""What is amiss in a supply that runs as drawn."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from biaspredict.findings import Finding, Gravity
from biaspredict.model.parts import Kind
from biaspredict.predict.at_rest import AtRest, ripple
from biaspredict.predict.strain import HEADROOM, NON_POLAR, WRONG_WAY
from biaspredict.quantities import Unit, engineering
from biaspredict.series import next_working_volts

SHORTED = 1.5  # times all the DC drawn: no rectifier of a sound supply passes more than that DC
LEAST = 1e-3  # amps of a rectifier that are worth a thought
ROUGH = 0.3  # of its volts: more ripple than any reservoir leaves (common practice, no source)

Check = Callable[[AtRest], Iterator[Finding]]


def concerns(found: AtRest) -> tuple[Finding, ...]:
    """Capacitors beyond their volts or reversed, fuses beyond their rating, no smoothing."""
    return tuple(finding for check in CHECKS for finding in check(found))


def beyond_working_volts(found: AtRest) -> Iterator[Finding]:
    """Capacitors whose highest volts pass their rating, in use or with a high line and no load."""
    for stored in found.capacitors:
        part = found.stage.part(stored.ref)
        if part.volts is None:
            continue
        used = max(abs(stored.highest), abs(stored.lowest))
        most = max(used, abs(stored.unloaded or 0.0))
        if most <= part.volts:
            continue
        rated = engineering(part.volts, Unit.VOLT)
        over = used > part.volts
        when = "in use" if over else "with the line 10 % high and nothing connected"
        fit = next_working_volts(most)
        better = "" if fit is None else f" A new one needs {fit:g} V or more."
        yield Finding(
            "above-working-volts",
            Gravity.CHECK if used > HEADROOM * part.volts else Gravity.NOTE,
            (part.ref,),
            f"{part.ref} stands up to {engineering(used if over else most, Unit.VOLT)} {when}, and "
            f"is rated {rated}.",
            "Check its rating and the winding's volts on the sheet." + better,
            part.origin,
        )


def reversed_capacitors(found: AtRest) -> Iterator[Finding]:
    """Electrolytics that are driven backwards at some moment of the mains."""
    for stored in found.capacitors:
        part = found.stage.part(stored.ref)
        if part.terminals[0] != "plus" or part.dielectric == NON_POLAR:
            continue
        if stored.lowest < -WRONG_WAY:
            volts = engineering(-stored.lowest, Unit.VOLT)
            yield Finding(
                "against-polarity",
                Gravity.CHECK,
                (part.ref,),
                f"{part.ref} is driven up to {volts} against its polarity.",
                "Check its plus mark and the arrows of the rectifiers. Reversed it leaks, heats "
                "and may burst: do not power it so.",
                part.origin,
            )


def shorted_windings(found: AtRest) -> Iterator[Finding]:
    """Rectifiers that pass far more than is drawn: they short the winding on each half wave."""
    drawn = sum(abs(amps) for amps in found.amps.values())
    guilty = [r for r in found.rectifiers if r.mean > max(SHORTED * drawn, LEAST)]
    if guilty:
        refs = tuple(r.ref for r in guilty)
        names = " and ".join(filter(None, (", ".join(refs[:-1]), refs[-1])))
        yield Finding(
            "winding-shorted",
            Gravity.CHECK,
            refs,
            f"{names} short the winding: they pass {engineering(guilty[0].mean, Unit.AMPERE)} on "
            f"average, where {engineering(drawn, Unit.AMPERE)} is drawn.",
            "Check the arrows of the rectifiers: one of them is drawn the wrong way round.",
            found.stage.part(refs[0]).origin,
        )


def fuses(found: AtRest) -> Iterator[Finding]:
    """Fuses that carry more than they are rated for."""
    for winding in found.windings:
        rating = found.stage.part(winding.fuse).amps if winding.fuse else None
        if rating is not None and winding.rms > rating:
            amps = engineering(winding.rms, Unit.AMPERE)
            yield Finding(
                "fuse-too-small",
                Gravity.CHECK,
                (winding.fuse, winding.ref),
                f"{winding.fuse} carries {amps} rms and is rated "
                f"{engineering(rating, Unit.AMPERE)}.",
                "The current comes in pulses, so that its rms is well above the DC drawn. Check "
                "the rating on the sheet, and the load.",
                found.stage.part(winding.fuse).origin,
            )


def smoothed(found: AtRest) -> Iterator[Finding]:
    """Fed nodes with so much ripple that the reservoir has been left out, or stands elsewhere."""
    chokes = {
        node for part in found.stage.parts if part.kind is Kind.COIL for node in part.nodes
    }
    for feed in found.side.feeds:
        volts, (size, _, _) = found.steady.means[feed.node], ripple(found.steady, feed.node)
        if feed.rectifiers and feed.node not in chokes and size > ROUGH * abs(volts):
            yield Finding(
                "no-reservoir",
                Gravity.NOTE,
                (feed.node,),
                f"{feed.node} carries {engineering(size, Unit.VOLT)} of ripple on "
                f"{engineering(volts, Unit.VOLT)}.",
                "Is a reservoir missing from the path, or its value read too small?",
                found.stage.part(feed.rectifiers[0]).origin,
            )


CHECKS: tuple[Check, ...] = (
    shorted_windings,
    beyond_working_volts,
    reversed_capacitors,
    fuses,
    smoothed,
)
