"""The table of troubles of one divider-biased stage, as faults and as readings.

Malvino & Bates, Electronic Principles, table "troubles and symptoms", from memory; the circuit
from a worked-examples page. The readings stand in troubles/*.readings, so that a person (or a
ranking) can be given them.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from biaspredict.model.circuit import CLOSED, OPEN, SOUND, Variation

HERE = Path(__file__).parent / "troubles"


@dataclass(frozen=True, slots=True)
class Trouble:
    """One row: printed VB, VE, VC as text, so that the last digit counts.

    mode: the part and what is wrong with it, as the catalogue of faults calls it; None: sound.
    cannot_tell: other troubles of the table that give the same three volts.
    added: VC is no reading but VE with a VCE(sat) added: 9.4 above 9.3 V would take a reverse gain
    of 0.03, which no other row bears out.
    """

    name: str
    fault: Variation
    base: str
    emitter: str
    collector: str
    mode: tuple[str, str] | None
    cannot_tell: tuple[str, ...] = ()
    added: bool = False

    @property
    def readings(self) -> Path:
        return HERE / f"{self.name.replace(' ', '-')}.readings"


def _ohms(ref: str, ohms: float) -> Variation:
    return Variation(settings=((f"{ref}.ohms", ohms),))


_JOINED = Variation(settings=(("Q1.cb_leak", CLOSED), ("Q1.be_leak", CLOSED)))
_GONE = Variation(
    lifts=(("Q1.collector", OPEN), ("Q1.base", OPEN), ("Q1.emitter", OPEN)),
)

TROUBLES = (
    Trouble("none", SOUND, "1.79", "1.12", "6", None),
    Trouble("R1 short", _ohms("R1", CLOSED), "10", "9.3", "9.4", ("R1", "short"), added=True),
    Trouble("R1 open", _ohms("R1", OPEN), "0", "0", "10", ("R1", "open"), ("R2 short",)),
    Trouble("R2 short", _ohms("R2", CLOSED), "0", "0", "10", ("R2", "short"), ("R1 open",)),
    Trouble("R2 open", _ohms("R2", OPEN), "3.38", "2.68", "2.73", ("R2", "open")),
    Trouble("RE short", _ohms("RE", CLOSED), "0.71", "0", "0.06", ("RE", "short")),
    Trouble("RE open", _ohms("RE", OPEN), "1.8", "1.37", "10", ("RE", "open")),
    Trouble("RC short", _ohms("RC", CLOSED), "1.79", "1.12", "10", ("RC", "short")),
    Trouble("RC open", _ohms("RC", OPEN), "1.07", "0.4", "0.43", ("RC", "open")),
    Trouble("transistor joined", _JOINED, "2.06", "2.06", "2.06", ("Q1", "all joined")),
    Trouble("transistor open", _GONE, "1.8", "0", "10", ("Q1", "all open")),
    Trouble(
        "no supply", Variation(settings=(("B+.volts", 0.0),)), "0", "0", "0", ("B+", "missing")
    ),
)
