"""Checks of single parts: shorted, never placed, terminals joined, polarity, cans, odd values."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.findings import Finding, Gravity
from biaspredict.graph.network import Network
from biaspredict.graph.wording import listed, unplaced
from biaspredict.model.parts import POTS, Kind, Part
from biaspredict.model.stage import Stage
from biaspredict.quantities import Unit, engineering
from biaspredict.series import neighbours

POLARISED_FROM = 1e-6  # farads; unmarked ones from here up are mostly electrolytics
# Resistors of 2 % and better come in E96 as well.
CLOSE = 0.021


def never_placed(stage: Stage, net: Network) -> Iterator[Finding]:
    """Parts that are described but stand in no path."""
    idle = unplaced(net)
    for part in stage.parts:
        if part.ref in idle:
            yield Finding(
                "never-placed",
                Gravity.CHECK,
                (part.ref,),
                f"{part.ref} is described but joined to nothing.",
                f"Write the path that holds {part.ref}, or take its line out.",
                part.origin,
            )


def shorted_part(stage: Stage, net: Network) -> Iterator[Finding]:
    """Parts with all their ends on one node, and pots with their ends joined."""
    for part in stage.parts:
        nodes = set(part.nodes)
        if part.kind in POTS and len(nodes) == 2 and part.node("top") == part.node("bottom"):
            yield Finding(
                "shorted-part",
                Gravity.CHECK,
                (part.ref, part.node("top")),
                f"Top and bottom of {part.ref} are both at {part.node('top')}.",
                "One end goes elsewhere on the sheet, or the wiper does.",
                part.origin,
            )
        elif len(nodes) == 1 and part.kind not in (Kind.TRANSISTOR, Kind.FET):
            node = part.nodes[0]
            every = "Both ends" if len(part.nodes) == 2 else "All legs"
            yield Finding(
                "shorted-part",
                Gravity.CHECK,
                (part.ref, node),
                f"{every} of {part.ref} are at {node}, so it does nothing there.",
                "One end went to the wrong node, or a wire joins two nodes that the sheet "
                "keeps apart.",
                part.origin,
            )


def polarity_not_said(stage: Stage, net: Network) -> Iterator[Finding]:
    """Large capacitors with neither a plus nor a dielectric that needs none."""
    for part in stage.parts:
        value = part.now
        if part.kind is not Kind.CAPACITOR or part.dielectric or value is None:
            continue
        if value >= POLARISED_FROM:
            yield Finding(
                "polarity-not-said",
                Gravity.CHECK,
                (part.ref,),
                f"{part.ref} has {engineering(value, Unit.FARAD)} and no plus mark.",
                f"An electrolytic: write +{part.ref} or {part.ref}+, the plus on its plus side. "
                "Else say film, paper or non-polar.",
                part.origin,
            )


def can_sections(stage: Stage, net: Network) -> Iterator[Finding]:
    """Sections of one can that share neither their minus nor their plus."""
    cans: dict[str, list[Part]] = {}
    for part in stage.parts:
        if part.can:
            cans.setdefault(part.can, []).append(part)
    for can, sections in cans.items():
        refs = tuple(part.ref for part in sections)
        place = sections[0].origin
        if len(sections) == 1:
            yield Finding(
                "can-sections",
                Gravity.NOTE,
                refs,
                f"{refs[0]} is the only section of can {can} in this stage.",
                "Its other sections share the case and often fail together: look where they are.",
                place,
            )
            continue
        ends = [{part.nodes[end] for part in sections} for end in (1, 0)]
        if all(len(nodes) > 1 for nodes in ends):
            yield Finding(
                "can-sections",
                Gravity.CHECK,
                refs,
                f"{listed(refs)} share can {can} but no common lead: "
                f"their minus leads are at {listed(net.sorted(ends[0]))}.",
                "Sections of a can share one lead, mostly the minus at its case. Check their "
                "plus marks and where the case goes.",
                place,
            )


def odd_value(stage: Stage, net: Network) -> Iterator[Finding]:
    """Printed resistor values that no series has, often a misread digit.

    Preferred numbers of IEC 60063; round numbers such as 4K, 25K and 500, which older sheets
    print, pass (common practice, no source).
    """
    for part in stage.parts:
        value = part.printed
        if part.kind is not Kind.RESISTOR or not value or not 1e-3 <= value <= 1e9:
            continue
        digits = f"{value:.5e}".split("e")[0].rstrip("0").rstrip(".")
        if len(digits) == 1 or digits in ("2.5", "1.25"):
            continue
        tolerance = stage.tolerance(part)
        fine = part.tolerance is not None and max(tolerance.plus, tolerance.minus) <= CLOSE
        names = ("E24", "E96", "E192") if fine else ("E24",)
        if any(neighbours(value, name)[0] == neighbours(value, name)[1] for name in names):
            continue
        below, above = (engineering(near, Unit.OHM) for near in neighbours(value, "E24"))
        yield Finding(
            "odd-value",
            Gravity.NOTE,
            (part.ref,),
            f"{part.ref} is given as {engineering(value, Unit.OHM, 4)}, no usual value.",
            f"Read it again on the sheet: {below} and {above} are the nearest usual ones.",
            part.origin,
        )
