"""A probe while something is done to the stage: a leg lifted, a can warmed, a resistor across."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from biaspredict.engine.flatten import flatten
from biaspredict.model.circuit import OPEN, SOUND, TERMINALS, Load, Variation
from biaspredict.model.devices import REFERENCE_CELSIUS, Bipolar, thermal_volts
from biaspredict.model.readings import Deed, Meanwhile
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.probe import Probe

# Kelvin by which a fingertip or a warm cloth warms a small can, and a cold spray cools it, at
# least and at most (common practice, no source).
KELVINS = {Deed.WARM: (8.0, 22.0), Deed.COOL: (-15.0, -45.0)}
DOUBLES = 9.0  # kelvin for which leakage doubles; 8 to 10 for germanium (from memory)
FALLS = 2e-3  # volts a kelvin by which a junction's drop falls (textbooks, from memory)


def while_done(probe: Probe, stage: Stage, deeds: Sequence[Meanwhile]) -> Probe:
    """The probe with the deeds done to the stage for it.

    A point named by the very leg that is lifted is the loose end of it; any other name of the
    node is the board.
    """
    name, extra, until = probe.name, probe.extra, SOUND
    for deed in deeds:
        if deed.deed is Deed.ACROSS:
            extra = extra.plus(Variation(
                loads=(Load(probe.node, probe.minus or GROUND, deed.ohms),)))
        elif deed.deed is Deed.LIFTED:
            leg, lead = _lead(stage, deed.ref, probe.name)
            name = lead if probe.name == leg else name
            extra = extra.plus(Variation(lifts=((lead, OPEN),)))
    for deed in deeds:
        if deed.deed in KELVINS:
            least, most = (heated(stage, deed.ref, by) for by in KELVINS[deed.deed])
            until = (extra if until is SOUND else until).plus(most)
            extra = extra.plus(least)
    return replace(
        probe, name=name, extra=extra, until=None if until is SOUND else until,
        doing=" ".join(deed.text for deed in deeds),
    )


def _lead(stage: Stage, ref: str, name: str) -> tuple[str, str]:
    """The leg that is lifted, as the stage calls it and as the circuit does.

    Of a part without a leg named it is the one that the probe touches, else the first.
    """
    ref, _, leg = ref.partition(".")
    part = stage.part(ref)
    legs = [f"{ref}.{terminal}" for terminal in part.terminals]
    leg = f"{ref}.{leg}" if leg else (name if name in legs else legs[0])
    element = flatten(replace(stage, parts=(part,), rails=(), pins=(), inputs=(), outputs=()))
    return leg, f"{ref}.{TERMINALS[element.element(ref).device][legs.index(leg)]}"


def heated(stage: Stage, ref: str, kelvin: float) -> Variation:
    """One transistor or diode warmer than the rest of the stage.

    Its saturation current carries the fall of the drop, for the circuit has one temperature.
    """
    factor = 2.0 ** (kelvin / DOUBLES)
    rise = math.exp(FALLS * kelvin / thermal_volts(REFERENCE_CELSIUS))
    scales = [(f"{ref}.saturation", rise)]
    if isinstance(stage.part(ref).device, Bipolar):
        scales.append((f"{ref}.icbo", factor))
    return Variation(scales=tuple(scales))
