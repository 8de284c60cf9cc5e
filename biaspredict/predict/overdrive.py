"""What the transistor equations leave out where a junction is driven far beyond its use."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from biaspredict.engine.solver import Floats
from biaspredict.model.circuit import Circuit, Variation
from biaspredict.model.devices import Bipolar, Polarity
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.spread import THERMAL_VOLTS

# Volts above a transistor's usual V_BE, about a hundred times its usual current, from which bulk
# resistance and high injection, which the equations leave out, are felt.
OVERDRIVE, BULK_VOLTS, BULK_MOST = 0.12, 0.02, 3.0


class Bulk:
    """The transistors of a stage by the columns of its flat circuit's volts."""

    def __init__(self, stage: Stage, circuit: Circuit) -> None:
        where = {node: i for i, node in enumerate(circuit.nodes)} | {GROUND: -1}
        self._junctions = tuple(
            (where[part.node("base")], where[part.node("emitter")],
             1.0 if part.device.polarity is Polarity.NPN else -1.0, part.device.vbe)
            for part in stage.parts
            if isinstance(part.device, Bipolar)
        )

    def volts(self, volts: Floats, variations: Sequence[Variation]) -> Floats:
        """Volts (B,) that bulk resistance may add at the solved volts (B, n + spares).

        The drop across the bulk grows with the current, so exponentially with the junction's
        own volts; a few hundredths of a volt at a hundred times the usual current.
        """
        most = np.zeros(len(volts))
        padded = np.concatenate([volts, np.zeros((len(volts), 1))], axis=1)
        for base, emitter, sign, usual in self._junctions:
            beyond = sign * (padded[:, base] - padded[:, emitter]) - usual - OVERDRIVE
            most = np.maximum(most, beyond)
        # where leads are not at their nodes, the junction's volts are not known
        most[[bool(v.lifts or v.moves) for v in variations]] = 0.0
        grown = BULK_VOLTS * np.expm1(np.minimum(most / THERMAL_VOLTS, 6.0))
        return np.asarray(np.minimum(grown, BULK_MOST))
