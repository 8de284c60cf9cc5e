"""Hiding a fault: one specimen of a stage, with its own tolerances, and one thing wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.errors import InputError
from biaspredict.infer.drill.grading import APART, Grade, grades, node_probes
from biaspredict.infer.faults import Fault
from biaspredict.infer.supposition import Supposed
from biaspredict.model.circuit import SOUND, Variation
from biaspredict.model.stage import Meter
from biaspredict.predict.bias import specimens
from biaspredict.predict.observe import Predictor

TRIES = 20  # specimens drawn before a fault is given up


@dataclass(frozen=True, slots=True)
class Hidden:
    """The fault, its degree, the amounts (P,) of this specimen's tolerances, and how hard it is.

    grade: None where a teacher chose the fault.
    """

    fault: Fault
    severity: float
    amounts: Floats
    level: int
    left: tuple[tuple[str, ...], ...] = ()
    needed: int = 0

    @property
    def variation(self) -> Variation:
        return self.fault.act(self.severity)

    @property
    def part(self) -> str:
        """What would be renewed: the part, whichever of its leads or joints it is."""
        return self.fault.part.partition(".")[0]


def hide(
    predictor: Predictor, faults: Sequence[Fault], meter: Meter, level: int, number: int
) -> Hidden:
    """The fault that a number stands for, of that level or the nearest that the stage has.

    The same stage, level and number always hide the same fault in the same specimen. Raises
    InputError where DC volts show no fault of the stage.
    """
    parts = {part.ref for part in predictor.stage.parts}
    graded = [
        grade for grade in grades(predictor, faults, meter)
        if grade.fault.part.partition(".")[0] in parts
    ]
    if not graded:
        raise InputError(
            "the DC volts of this stage show no fault of any part, so there is nothing to find",
            remedy="Take a stage with a transistor and a rail.",
        )
    random = np.random.default_rng([number, level])
    there = {grade.level for grade in graded}
    near = min(there, key=lambda other: (abs(other - level), other))
    pool = [grade for grade in graded if grade.level == near]
    for _ in range(TRIES):
        # every part that can be hidden is as likely as every other, and so is every fault of it
        refs = sorted({grade.fault.part.partition(".")[0] for grade in pool})
        part = refs[int(random.integers(len(refs)))]
        own = [g for g in pool if g.fault.part.partition(".")[0] == part]
        modes = sorted({g.fault.key for g in own})
        key = modes[int(random.integers(len(modes)))]
        cells = [g for g in own if g.fault.key == key]
        grade = cells[int(random.integers(len(cells)))]
        found = _drawn(predictor, grade, meter, int(random.integers(2**31)))
        if found is not None:
            return found
    raise InputError(
        f"no specimen of this stage shows a fault of level {level} by number {number}",
        remedy="Take another number or another level.",
    )


def _drawn(predictor: Predictor, grade: Grade, meter: Meter, draw: int) -> Hidden | None:
    """One specimen with the fault, if its volts really show it."""
    fault, severity = grade.fault, grade.component.severities[0]
    amounts = specimens(predictor.axes, 1, draw)
    if not _shows(predictor, fault.act(severity), amounts, meter):
        return None
    return Hidden(fault, severity, amounts[0], grade.level, grade.left, grade.needed)


def hide_this(predictor: Predictor, chosen: Supposed, meter: Meter, number: int) -> Hidden:
    """A fault that a teacher chose, in the specimen that the number stands for.

    Raises InputError where that specimen's volts do not show it.
    """
    amounts = specimens(predictor.axes, 1, number)
    if not _shows(predictor, chosen.variation, amounts, meter):
        raise InputError(
            f"{chosen.fault.words}: the DC volts of this specimen do not show it",
            remedy="Choose a fault that DC sees, a higher degree, or another number.",
        )
    return Hidden(chosen.fault, chosen.severity, amounts[0], 0)


def _shows(predictor: Predictor, variation: Variation, amounts: Floats, meter: Meter) -> bool:
    """Whether some node stands readably away from where this same specimen would be sound."""
    probes = node_probes(predictor.stage, meter)
    both = np.repeat(amounts, 2, axis=0)
    seen = predictor.observe([SOUND, variation], both, probes)
    if not seen.solved.all():
        return False
    off = np.abs(seen.values[1] - seen.values[0])
    spread = np.sqrt(((seen.slopes[0] * predictor.sigmas) ** 2).sum(axis=1) + 1e-4)
    return bool((off > APART / 2.0 * spread).any())
