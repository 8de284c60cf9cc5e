"""What stays open of a reading whose current is faint, beside tolerances and the meter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import Axis, Circuit
from biaspredict.model.devices import Diode
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.meters import EVEN
from biaspredict.predict.spread import THERMAL_VOLTS

# Junctions are known by their drop at about this current; far below it their volts fall by more
# or less than the exponential of one slope says: by a quarter of it (common practice, no source).
KNOWN_AMPS = 1e-3
SLOPE = 0.25
# Dirt, damp and fingers on an old board lie across every reading (common practice, no source).
STRAY_OHMS = 50e6
# A leak of an electrolytic at its working volts may be none at an ohmmeter's tenth of a volt
# (common practice, no source); below this it is a short, which any meter sees.
LEAK_LEAST = 1e3
# Diodes part from the slope of 25 mV to the neper more than bases do: small ones to nearly twice
# as much (common practice, no source). Below a nanoampere leaks pass more than the junction.
DIODE_SLOPE, FEWEST_AMPS = 0.45, 1e-9


class Drops:
    """The diodes of a stage by the columns of its flat circuit's volts and of the axes."""

    def __init__(self, stage: Stage, circuit: Circuit, axes: Sequence[Axis]) -> None:
        where = {node: i for i, node in enumerate(circuit.nodes)} | {GROUND: -1}
        column = {axis.name: k for k, axis in enumerate(axes)}
        self._diodes = tuple(
            (where[part.nodes[0]], where[part.nodes[1]], column[f"{part.ref}.saturation"],
             part.device)
            for part in stage.parts
            if isinstance(part.device, Diode) and f"{part.ref}.saturation" in column
        )

    def doubt(self, volts: Floats, slopes: Floats) -> Floats:
        """Standard deviation (B, K) of volts read at the solved volts (B, n + spares).

        slopes: (B, K, P) volts along each axis.
        """
        padded = np.concatenate([volts, np.zeros((len(volts), 1))], axis=1)
        variance = np.zeros(slopes.shape[:2])
        for anode, cathode, axis, diode in self._diodes:
            most = np.log(max(diode.drop_amps / FEWEST_AMPS, 1.0))
            missing = diode.drop * diode.junctions - (padded[:, anode] - padded[:, cathode])
            nepers = np.clip(missing / (THERMAL_VOLTS * diode.junctions), 0.0, most)
            variance += (DIODE_SLOPE * nepers[:, None] * slopes[:, :, axis]) ** 2
        return np.asarray(np.sqrt(np.nan_to_num(variance)))


def left_open(
    ohms: Floats, slopes: Floats, axes: Sequence[Axis], amps: Floats
) -> Floats:
    """Standard deviation (B,) of the logarithm of ohms (B,) read with a current of amps (B,).

    slopes: (B, P) of the logarithm along each axis.
    """
    junctions = [k for k, axis in enumerate(axes) if axis.name.endswith(".saturation")]
    decades = np.log(np.maximum(KNOWN_AMPS / np.maximum(amps, 1e-12), 1.0))
    bent = SLOPE * decades * np.sqrt((slopes[:, junctions] ** 2).sum(1))
    return np.asarray(np.hypot(bent, EVEN * np.log1p(ohms / STRAY_OHMS)))
