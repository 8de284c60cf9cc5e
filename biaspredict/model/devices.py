"""What the sheet or the trade says of a junction, a transistor, a lamp.

Parameters are given at 25 C in the trade's terms; `catalogue` of defaults below. Each
record keeps, in `given`, the names of the parameters that came from the sheet; all others
are generic defaults whose origin is DEFAULTS_ORIGIN.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

BOLTZMANN_OVER_CHARGE = 8.617333262e-5  # V/K, CODATA 2018 exact constants
REFERENCE_CELSIUS = 25.0
KELVIN = 273.15


def thermal_volts(celsius: float) -> float:
    """kT/q in volts at `celsius` degrees."""
    return BOLTZMANN_OVER_CHARGE * (celsius + KELVIN)


class Material(Enum):
    SILICON = "silicon"
    GERMANIUM = "germanium"


class Size(Enum):
    """Body size, which sets the generic junction drop, gain and leakage."""

    SMALL = "small"
    MEDIUM = "medium"
    POWER = "power"


class Polarity(Enum):
    NPN = "npn"
    PNP = "pnp"


class Channel(Enum):
    N = "n-channel"
    P = "p-channel"


@dataclass(frozen=True, slots=True)
class Range:
    """A positive quantity known to lie between two limits."""

    low: float
    high: float

    @property
    def middle(self) -> float:
        """Geometric middle: gains spread by factors."""
        return float((self.low * self.high) ** 0.5)


@dataclass(frozen=True, slots=True)
class Bipolar:
    """A bipolar transistor in the trade's terms.

    vbe: volts at `vbe_amps` collector current; icbo: amps, collector to base, emitter open;
    early: Early voltage in volts or None (ideal, flat collector curves).
    """

    polarity: Polarity
    material: Material
    size: Size
    gain: Range
    vbe: float
    vbe_amps: float
    icbo: float
    early: float | None
    reverse_gain: float
    given: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Diode:
    """`junctions` in series in one body; `drop` volts for each at `drop_amps`."""

    material: Material
    size: Size
    drop: float
    drop_amps: float
    junctions: int = 1
    given: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Zener:
    """Zener diode: `volts` at `amps` reverse current, `ohms` slope there."""

    volts: float
    amps: float
    ohms: float
    given: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Fet:
    """Junction FET: `idss` amps, `pinch_off` volts as a positive size."""

    channel: Channel
    idss: Range
    pinch_off: Range
    given: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Lamp:
    """Filament rated `volts` and `amps`; cold it has about a tenth of its hot ohms."""

    volts: float
    amps: float


@dataclass(frozen=True, slots=True)
class Thermistor:
    """`beta` in kelvin of a negative-temperature-coefficient resistor; ohms at 25 C on the part."""

    beta: float


Device = Bipolar | Diode | Zener | Fet | Lamp | Thermistor

DEFAULTS_ORIGIN = "generic for the material and size (common practice, no source)"

# gain range, vbe at amps, icbo at 25 C, Early volts, reverse gain.
# Small silicon 100-400 covers late types, early silicon 40-120: the generic range spans both.
_BIPOLAR: dict[tuple[Material, Size], tuple[Range, float, float, float, float, float]] = {
    (Material.SILICON, Size.SMALL): (Range(60.0, 400.0), 0.65, 1e-3, 1e-8, 80.0, 2.0),
    (Material.SILICON, Size.MEDIUM): (Range(40.0, 250.0), 0.65, 10e-3, 5e-8, 80.0, 2.0),
    (Material.SILICON, Size.POWER): (Range(20.0, 150.0), 0.65, 100e-3, 1e-6, 80.0, 2.0),
    (Material.GERMANIUM, Size.SMALL): (Range(30.0, 150.0), 0.18, 1e-3, 5e-6, 40.0, 8.0),
    (Material.GERMANIUM, Size.MEDIUM): (Range(30.0, 150.0), 0.18, 10e-3, 2e-5, 40.0, 8.0),
    (Material.GERMANIUM, Size.POWER): (Range(20.0, 120.0), 0.20, 100e-3, 2e-4, 40.0, 8.0),
}

_DIODE: dict[tuple[Material, Size], tuple[float, float]] = {
    (Material.SILICON, Size.SMALL): (0.62, 1e-3),
    (Material.SILICON, Size.MEDIUM): (0.65, 10e-3),
    (Material.SILICON, Size.POWER): (0.75, 100e-3),
    (Material.GERMANIUM, Size.SMALL): (0.25, 1e-3),
    (Material.GERMANIUM, Size.MEDIUM): (0.25, 10e-3),
    (Material.GERMANIUM, Size.POWER): (0.30, 100e-3),
}


def generic_bipolar(
    polarity: Polarity, material: Material = Material.SILICON, size: Size = Size.SMALL
) -> Bipolar:
    """The documented default transistor of a material and size."""
    gain, vbe, amps, icbo, early, reverse = _BIPOLAR[material, size]
    return Bipolar(polarity, material, size, gain, vbe, amps, icbo, early, reverse)


def generic_diode(material: Material = Material.SILICON, size: Size = Size.SMALL) -> Diode:
    """The documented default diode of a material and size."""
    drop, amps = _DIODE[material, size]
    return Diode(material, size, drop, amps)


def generic_zener(volts: float) -> Zener:
    """A small zener: rated at 5 mA, slope of about 10 ohms (common practice, no source)."""
    return Zener(volts, 5e-3, 10.0)


def generic_fet(channel: Channel) -> Fet:
    """A small audio JFET: IDSS 2 to 12 mA, pinch-off 1 to 5 V (common practice, no source)."""
    return Fet(channel, Range(2e-3, 12e-3), Range(1.0, 5.0))


def generic_thermistor() -> Thermistor:
    """Beta 3500 K (common practice, no source)."""
    return Thermistor(3500.0)
