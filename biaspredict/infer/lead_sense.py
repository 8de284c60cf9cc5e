"""Which lead of a needle meter is the positive one on ohms: the readings themselves tell."""

from __future__ import annotations

from dataclasses import replace

from biaspredict.findings import Finding, Gravity
from biaspredict.infer.components import NO_FAULT
from biaspredict.infer.doubts import Doubt
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.tasks import task_of
from biaspredict.model.readings import Quantity, Reading, Readings
from biaspredict.model.stage import GROUND
from biaspredict.predict.meters import meter_of
from biaspredict.predict.observe import Predictor

CLEARER = 6.0  # squared standard deviations by which the other way round must fit better


def as_the_leads_are(
    predictor: Predictor, readings: Readings
) -> tuple[Readings, tuple[Doubt, ...]]:
    """The readings with red as the positive lead.

    Many needle meters have their battery's plus at the black lead (common practice, no source).
    All ohms of needle meters are turned together, where a sound stage then fits clearly better.
    """
    some = [
        r for r in readings.entries
        if r.quantity is Quantity.OHMS and meter_of(r, readings.meter).needle
    ]
    if not some:
        return readings, ()
    stage = predictor.stage
    turned = {id(r): _turned(r) for r in some}
    misfits = []
    for entries in (tuple(some), tuple(turned.values())):
        task = task_of(replace(readings, entries=entries), stage)
        misfits.append(float(Explainer(predictor, task).score([NO_FAULT], keep=1).misfit[0]))
    if not misfits[1] < misfits[0] - CLEARER:
        return readings, ()
    finding = Finding(
        "black-is-positive", Gravity.NOTE, tuple(dict.fromkeys(r.name for r in some)),
        "your ohms fit with the meter's black lead positive, as many needle meters have it on "
        "ohms",
        "They are taken so. Try it on a diode: it conducts with the positive lead at its anode.",
    )
    every = tuple(turned.get(id(r), r) for r in readings.entries)
    return replace(readings, entries=every), (Doubt(finding),)


def _turned(reading: Reading) -> Reading:
    return replace(reading, node=reading.minus or GROUND, minus=reading.node)
