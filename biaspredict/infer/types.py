"""Silicon or germanium, where the sheet does not say: what the readings make of it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from biaspredict.engine.flatten import GAPS
from biaspredict.infer.chance import chi2_tail
from biaspredict.infer.components import NO_FAULT, Component
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import Fault
from biaspredict.infer.ledger import ledger
from biaspredict.infer.unknowns import Unknown
from biaspredict.model.circuit import Variation
from biaspredict.model.devices import (
    REFERENCE_CELSIUS,
    Bipolar,
    Material,
    generic_bipolar,
    thermal_volts,
)
from biaspredict.model.parts import Part
from biaspredict.model.readings import Readings
from biaspredict.model.stage import Stage

SURE = 3.0  # nats by which the other material must explain the readings better
FITS = 0.01  # chance of a misfit as large, which the other material must leave


def types(explainer: Explainer, readings: Readings) -> tuple[Unknown, ...]:
    """Transistors of which the sheet names no material, and which read as the other one.

    Looked at are those whose V_BE was read and is not what the assumed material shows. The
    whole stage must then fit: a lone V_BE may be a fault. explainer: explains the readings.
    """
    stage = explainer.predictor.stage
    odd = {j.part for j in ledger(stage, readings).junctions if not j.usual}
    found = []
    for part in stage.parts:
        device = part.device
        if not isinstance(device, Bipolar) or part.ref not in odd or "material" in device.given:
            continue
        other = _other(device)
        supposed = Component((_swap(part, device, other),), (1.0,), (0.0,), 0.0)
        scores = explainer.score([NO_FAULT, supposed], keep=2)
        gap = float(scores.log_evidence[1] - scores.log_evidence[0])
        fits = chi2_tail(float(scores.misfit[1]), len(explainer.task.probes)) >= FITS
        if math.isnan(gap) or gap <= SURE or not fits:
            continue
        found.append(Unknown(part.ref, "type", gap, gap, gap, True, other.value))
    return tuple(found)


def as_told(stage: Stage, told: Sequence[Unknown]) -> Stage:
    """The stage with those transistors generic ones of the material that was found."""
    materials = {one.part: Material(one.says) for one in told if one.what == "type"}
    return replace(stage, parts=tuple(_renewed(stage, materials)))


def _renewed(stage: Stage, materials: dict[str, Material]) -> Iterator[Part]:
    for part in stage.parts:
        device = part.device
        if isinstance(device, Bipolar) and part.ref in materials:
            fresh = generic_bipolar(device.polarity, materials[part.ref], device.size)
            yield replace(part, device=replace(fresh, given=device.given | {"material"}))
        else:
            yield part


def _other(device: Bipolar) -> Material:
    return Material.GERMANIUM if device.material is Material.SILICON else Material.SILICON


def _swap(part: Part, device: Bipolar, other: Material) -> Fault:
    """The part as a generic transistor of the other material."""
    fresh = generic_bipolar(device.polarity, other, device.size)
    reference = thermal_volts(REFERENCE_CELSIUS)
    settings = (
        (f"{part.ref}.saturation", fresh.vbe_amps / math.expm1(fresh.vbe / reference)),
        (f"{part.ref}.gap", GAPS[other]),
        (f"{part.ref}.icbo", fresh.icbo),
        (f"{part.ref}.gain", fresh.gain.middle),
    )
    words = f"{part.ref} is {other.value}"
    return Fault(part.ref, other.value, words, 0.5, lambda _: Variation(settings=settings))
