"""One part of a stage as the sheet and the board say it is."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from biaspredict.model.devices import Device
from biaspredict.quantities import Tolerance
from biaspredict.span import Span


class Kind(Enum):
    RESISTOR = "resistor"
    CAPACITOR = "capacitor"
    ELECTROLYTIC = "electrolytic"
    COIL = "coil"
    WINDING = "winding"
    DIODE = "diode"
    ZENER = "zener"
    TRANSISTOR = "transistor"
    FET = "fet"
    POT = "pot"
    TRIMMER = "trimmer"
    LAMP = "lamp"
    FUSE = "fuse"
    SWITCH = "switch"
    CONTACT = "contact"  # plug and socket, edge connector: a node each side
    THERMISTOR = "thermistor"


TERMINALS: dict[Kind, tuple[str, ...]] = {
    Kind.RESISTOR: ("1", "2"),
    Kind.CAPACITOR: ("1", "2"),
    Kind.ELECTROLYTIC: ("plus", "minus"),
    Kind.COIL: ("1", "2"),
    Kind.WINDING: ("1", "2"),
    Kind.DIODE: ("anode", "cathode"),
    Kind.ZENER: ("anode", "cathode"),
    Kind.TRANSISTOR: ("collector", "base", "emitter"),
    Kind.FET: ("drain", "gate", "source"),
    Kind.POT: ("top", "wiper", "bottom"),
    Kind.TRIMMER: ("top", "wiper", "bottom"),
    Kind.LAMP: ("1", "2"),
    Kind.FUSE: ("1", "2"),
    Kind.SWITCH: ("1", "2"),
    Kind.CONTACT: ("1", "2"),
    Kind.THERMISTOR: ("1", "2"),
}

CAPACITORS = frozenset({Kind.CAPACITOR, Kind.ELECTROLYTIC})
POTS = frozenset({Kind.POT, Kind.TRIMMER})


@dataclass(frozen=True, slots=True)
class Part:
    """A part and the node at each of its terminals.

    nodes: node names in the order of TERMINALS[kind].
    printed, fitted, measured: ohms, farads or henries as the kind asks; None where not said.
        Ohms for resistors, pots, fuses, switches, contacts, thermistors; winding and coil
        keep henries here (None: not known) and their DC ohms in `ohms`.
    tolerance: None means the stage's assumption for this kind.
    volts: working volts of a capacitor; rms open-circuit volts of a winding.
    watts: rating of a resistor, None where not printed.
    ohms: DC resistance of a coil or winding.
    turn: wiper position 0 (bottom) to 1 (top) of a pot; None: unknown.
    closed: state of a switch.
    dielectric: word of the sheet ("film", "ceramic", "tantalum", "paper", "non-polar", ...).
    material: word for resistors ("carbon", "film", "wirewound"); "" where not said.
    can: name of the common can of a multi-section electrolytic.
    hertz: of a winding's volts. amps: rating of a fuse.
    """

    ref: str
    kind: Kind
    nodes: tuple[str, ...]
    printed: float | None = None
    fitted: float | None = None
    measured: float | None = None
    tolerance: Tolerance | None = None
    volts: float | None = None
    watts: float | None = None
    ohms: float | None = None
    turn: float | None = None
    closed: bool = True
    dielectric: str = ""
    material: str = ""
    can: str = ""
    device: Device | None = None
    hertz: float | None = None
    amps: float | None = None
    origin: Span | None = field(default=None, compare=False)

    @property
    def now(self) -> float | None:
        """The value the board has today: measured, else fitted, else printed."""
        for value in (self.measured, self.fitted, self.printed):
            if value is not None:
                return value
        return None

    @property
    def terminals(self) -> tuple[str, ...]:
        return TERMINALS[self.kind]

    def node(self, terminal: str) -> str:
        """Node at a terminal; KeyError where the part has no such terminal."""
        try:
            return self.nodes[self.terminals.index(terminal)]
        except ValueError:
            raise KeyError(f"{self.ref} has no terminal {terminal}") from None
