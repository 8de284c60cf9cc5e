"""Transistors, diodes, lamps: what is said of them in trade terms, on top of generic ones."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from biaspredict.errors import InputError
from biaspredict.model.devices import (
    Bipolar,
    Channel,
    Device,
    Diode,
    Fet,
    Lamp,
    Material,
    Polarity,
    Range,
    Size,
    Thermistor,
    Zener,
    generic_bipolar,
    generic_diode,
    generic_fet,
    generic_thermistor,
    generic_zener,
)
from biaspredict.model.parts import Kind
from biaspredict.notation import reason
from biaspredict.notation.reason import Reason
from biaspredict.span import Span

POLARITIES = {"npn": Polarity.NPN, "pnp": Polarity.PNP}
CHANNELS = {"n-channel": Channel.N, "p-channel": Channel.P}
MATERIALS = {
    "silicon": Material.SILICON,
    "si": Material.SILICON,
    "germanium": Material.GERMANIUM,
    "ge": Material.GERMANIUM,
}
SIZES = {size.value: size for size in Size}
DEVICE_WORDS = frozenset({*POLARITIES, *CHANNELS, *MATERIALS, *SIZES})


@dataclass(frozen=True, slots=True)
class Parameter:
    """A keyword of a device: the field it fills, what is in reason, whether it takes two limits.

    at: the field and reason of the `at` that may follow.
    """

    name: str
    reason: Reason
    spread: bool = False
    at: tuple[str, Reason] | None = None


PARAMETERS: Mapping[Kind, Mapping[str, Parameter]] = {
    Kind.TRANSISTOR: {
        "gain": Parameter("gain", reason.GAIN, spread=True),
        "vbe": Parameter("vbe", reason.DROP, at=("vbe_amps", reason.DROP_AMPS)),
        "icbo": Parameter("icbo", reason.ICBO),
        "early": Parameter("early", reason.EARLY),
        "reverse gain": Parameter("reverse_gain", reason.REVERSE_GAIN),
    },
    Kind.DIODE: {
        "drop": Parameter("drop", reason.DROP, at=("drop_amps", reason.DROP_AMPS)),
        "junctions": Parameter("junctions", reason.JUNCTIONS),
    },
    Kind.ZENER: {
        "at": Parameter("amps", reason.ZENER_AMPS),
        "slope": Parameter("ohms", reason.ZENER_OHMS),
    },
    Kind.FET: {
        "idss": Parameter("idss", reason.IDSS, spread=True),
        "pinch-off": Parameter("pinch_off", reason.PINCH_OFF, spread=True),
    },
    Kind.THERMISTOR: {"beta": Parameter("beta", reason.BETA)},
}


@dataclass(slots=True)
class Said:
    """What a description says of a device: words by role, parameters by field."""

    words: dict[str, str] = field(default_factory=dict)
    values: dict[str, float | Range | None] = field(default_factory=dict)


def role(word: str) -> str:
    """What a word of DEVICE_WORDS settles."""
    if word in MATERIALS:
        return "material"
    return "size" if word in SIZES else "polarity"


def build(kind: Kind, said: Said, ref: str, place: Span) -> Device | None:
    """The device of a part, None for parts that have none. InputError where one is not told."""
    maker = _MAKERS.get(kind)
    return maker(said, ref, place) if maker else None


def _lacks(ref: str, fact: str, remedy: str, place: Span) -> InputError:
    return InputError(f"{ref}: {fact}", remedy=remedy.format(ref=ref), place=place)


def _given(said: Said) -> frozenset[str]:
    return frozenset(said.values) | (frozenset(said.words) & {"material", "size"})


def _kind_of(said: Said) -> tuple[Material, Size]:
    material = MATERIALS[said.words.get("material", "silicon")]
    return material, SIZES[said.words.get("size", "small")]


def _bipolar(said: Said, ref: str, place: Span) -> Bipolar:
    polarity = POLARITIES.get(said.words.get("polarity", ""))
    if polarity is None:
        raise _lacks(ref, "npn or pnp?", "Write {ref} npn or {ref} pnp.", place)
    generic = generic_bipolar(polarity, *_kind_of(said))
    return replace(generic, given=_given(said), **said.values)  # type: ignore[arg-type]


def _diode(said: Said, ref: str, place: Span) -> Diode:
    values = dict(said.values)
    if isinstance(count := values.get("junctions"), float):
        if not count.is_integer():
            raise _lacks(ref, "junctions are counted whole", "Write junctions 2.", place)
        values["junctions"] = int(count)
    return replace(generic_diode(*_kind_of(said)), given=_given(said), **values)  # type: ignore[arg-type]


def _zener(said: Said, ref: str, place: Span) -> Zener:
    volts = said.values.get("volts")
    if not isinstance(volts, float):
        raise _lacks(ref, "a zener needs its volts", "Write {ref} zener 12 V.", place)
    return replace(generic_zener(volts), given=_given(said), **said.values)  # type: ignore[arg-type]


def _fet(said: Said, ref: str, place: Span) -> Fet:
    channel = CHANNELS.get(said.words.get("polarity", ""))
    if channel is None:
        raise _lacks(
            ref, "n-channel or p-channel?", "Write {ref} n-channel or {ref} p-channel.", place
        )
    return replace(generic_fet(channel), given=_given(said), **said.values)  # type: ignore[arg-type]


def _lamp(said: Said, ref: str, place: Span) -> Lamp:
    volts, amps = said.values.get("volts"), said.values.get("amps")
    if not isinstance(volts, float) or not isinstance(amps, float):
        raise _lacks(
            ref, "a lamp needs its volts and its amps", "Write {ref} lamp 6.3 V 150 mA.", place
        )
    return Lamp(volts, amps)


def _thermistor(said: Said, ref: str, place: Span) -> Thermistor:
    return replace(generic_thermistor(), **said.values)  # type: ignore[arg-type]


_MAKERS: Mapping[Kind, Callable[[Said, str, Span], Device]] = {
    Kind.TRANSISTOR: _bipolar,
    Kind.DIODE: _diode,
    Kind.ZENER: _zener,
    Kind.FET: _fet,
    Kind.LAMP: _lamp,
    Kind.THERMISTOR: _thermistor,
}
