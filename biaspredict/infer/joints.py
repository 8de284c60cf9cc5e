"""Joints besides the catalogue of every stage: at leads read apart, and behind resistors."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.infer.faults import Fault
from biaspredict.infer.priors import Prior, Priors
from biaspredict.model.circuit import OPEN, Variation
from biaspredict.model.parts import Kind
from biaspredict.model.readings import Quantity, Readings
from biaspredict.model.stage import Stage

# Transistors, FETs, diodes and pots have their joints in the catalogue of every stage.
OWN = (Kind.TRANSISTOR, Kind.FET, Kind.DIODE, Kind.ZENER, Kind.POT, Kind.TRIMMER)
JOINED = (Kind.COIL, Kind.WINDING, Kind.FUSE)  # no drift of theirs stands for a joint
BEYOND = 5.0  # times its ohms from which a drift does not explain them
# The circuit knows the legs of an unpolarised capacitor by other names.
UNNAMED = (Kind.CAPACITOR,)


def joints_read(stage: Stage, readings: Readings, priors: Priors) -> tuple[Fault, ...]:
    """A resistive and an open joint at each lead that was read beside another place of its node.

    A person who reads a resistor's own lead as well as the transistor's on the same net has
    given the evidence that splits the two; without that no reading could.
    """
    rows = {row.mode: row for row in priors.aged(stage.assumptions.age_years).of("joint")}
    found: list[Fault] = []
    for lead in _leads(stage, readings):
        if "resistive" in rows:
            row = rows["resistive"]
            found.append(Fault(
                lead, "joint", f"a resistive joint at {lead}", row.chance,
                lambda ohms, lead=lead: Variation(lifts=((lead, ohms),)),  # type: ignore[misc]
                row.least, row.most, "ohm", lead=lead, joint=1.0,
            ))
        if "open" in rows:
            found.append(Fault(
                lead, "open joint", f"an open joint at {lead}", rows["open"].chance,
                lambda _, lead=lead: Variation(lifts=((lead, OPEN),)),  # type: ignore[misc]
                lead=lead, joint=1.0,
            ))
    if "resistive" in rows:
        told = any(r.quantity is Quantity.OHMS for r in readings.entries)
        kinds = (*JOINED, Kind.RESISTOR) if told else JOINED
        found += _in_series(stage, rows["resistive"], kinds)
    return tuple(found)


def _in_series(stage: Stage, row: Prior, kinds: tuple[Kind, ...]) -> Iterator[Fault]:
    """Two-legged parts behind a resistive joint.

    A resistor's is of many times its ohms: its volts are those of an open one, its ohms are not.
    """
    for part in stage.parts:
        own = (part.now if part.kind is Kind.RESISTOR else part.ohms) or 0.0
        if part.kind not in kinds or (part.kind is Kind.RESISTOR and not own):
            continue
        least, most = max(row.least or 0.0, BEYOND * own), row.most or 0.0
        if most < BEYOND * least:
            continue
        yield Fault(
            part.ref, "joint", f"a resistive joint at {part.ref}", row.chance,
            lambda ohms, ref=part.ref, own=own: Variation(  # type: ignore[misc]
                settings=((f"{ref}.ohms", own + ohms),)),
            least, most, "ohm",
        )


def _leads(stage: Stage, readings: Readings) -> Iterator[str]:
    """Leads of plain parts that are named by a reading, where another names the same node."""
    names: dict[str, set[str]] = {}
    for entry in readings.as_found:
        if entry.quantity is Quantity.VOLTS and entry.minus is None:
            names.setdefault(entry.node, set()).add(entry.name)
    for part in stage.parts:
        if part.kind in (*OWN, *UNNAMED):
            continue
        for terminal, node in zip(part.terminals, part.nodes, strict=True):
            lead = f"{part.ref}.{terminal}"
            if lead in names.get(node, set()) and len(names[node]) > 1:
                yield lead
