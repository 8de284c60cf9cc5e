"""The words of the trade that describe parts, and which values a part takes."""

from __future__ import annotations

from collections.abc import Mapping

from biaspredict.model.parts import CAPACITORS, Kind
from biaspredict.notation import devices, reason
from biaspredict.notation.reason import Reason

KIND_WORDS: Mapping[str, Kind] = {
    "resistor": Kind.RESISTOR,
    "capacitor": Kind.CAPACITOR,
    "electrolytic": Kind.ELECTROLYTIC,
    "coil": Kind.COIL,
    "choke": Kind.COIL,
    "inductor": Kind.COIL,
    "winding": Kind.WINDING,
    "diode": Kind.DIODE,
    "rectifier": Kind.DIODE,
    "zener": Kind.ZENER,
    "transistor": Kind.TRANSISTOR,
    "npn": Kind.TRANSISTOR,
    "pnp": Kind.TRANSISTOR,
    "fet": Kind.FET,
    "jfet": Kind.FET,
    "n-channel": Kind.FET,
    "p-channel": Kind.FET,
    "pot": Kind.POT,
    "potentiometer": Kind.POT,
    "trimmer": Kind.TRIMMER,
    "preset": Kind.TRIMMER,
    "lamp": Kind.LAMP,
    "fuse": Kind.FUSE,
    "switch": Kind.SWITCH,
    "contact": Kind.CONTACT,
    "plug": Kind.CONTACT,
    "socket": Kind.CONTACT,
    "thermistor": Kind.THERMISTOR,
}
_DIELECTRICS = (
    "film", "paper", "ceramic", "mica", "polyester", "polystyrene", "polycarbonate",
    "polypropylene", "oil", "glass", "tantalum", "aluminium", "non-polar",
)  # fmt: skip
DIELECTRICS: Mapping[str, str] = {
    **{word: word for word in _DIELECTRICS},
    "aluminum": "aluminium",
    "nonpolar": "non-polar",
    "np": "non-polar",
}
POLAR = frozenset({"tantalum", "aluminium", "aluminum"})
NON_POLAR = frozenset({"non-polar", "nonpolar", "np"})
_RESISTIVE = ("carbon", "composition", "film", "metal", "oxide", "wirewound", "cermet")
MATERIALS: Mapping[Kind, tuple[str, ...]] = {
    Kind.RESISTOR: _RESISTIVE,
    Kind.POT: (*_RESISTIVE, "linear", "log"),
    Kind.TRIMMER: (*_RESISTIVE, "linear", "log"),
}
# Fields that a bare value may fill, the first of them with a number alone where `BARE` says so.
AMOUNTS: Mapping[Kind, tuple[tuple[str, Reason], ...]] = {
    Kind.RESISTOR: (("printed", reason.RESISTOR), ("watts", reason.WATTS)),
    Kind.CAPACITOR: (("printed", reason.CAPACITOR), ("volts", reason.WORKING_VOLTS)),
    Kind.ELECTROLYTIC: (("printed", reason.ELECTROLYTIC), ("volts", reason.WORKING_VOLTS)),
    Kind.COIL: (("printed", reason.HENRIES), ("ohms", reason.COIL_OHMS)),
    Kind.WINDING: (
        ("volts", reason.WINDING_VOLTS),
        ("ohms", reason.COIL_OHMS),
        ("printed", reason.HENRIES),
        ("hertz", reason.MAINS_HERTZ),
    ),
    Kind.ZENER: (("device volts", reason.ZENER_VOLTS),),
    Kind.POT: (("printed", reason.POT),),
    Kind.TRIMMER: (("printed", reason.POT),),
    Kind.LAMP: (("device volts", reason.LAMP_VOLTS), ("device amps", reason.LAMP_AMPS)),
    Kind.FUSE: (("amps", reason.FUSE_AMPS), ("printed", reason.JOINT_OHMS)),
    Kind.SWITCH: (("printed", reason.JOINT_OHMS),),
    Kind.CONTACT: (("printed", reason.JOINT_OHMS),),
    Kind.THERMISTOR: (("printed", reason.THERMISTOR),),
}
BARE = frozenset({Kind.RESISTOR, Kind.POT, Kind.TRIMMER, Kind.THERMISTOR, Kind.ZENER})
TURNS = {"unknown": None, "middle": 0.5, "half": 0.5, "centre": 0.5, "top": 1.0, "bottom": 0.0}
UNMARKED = 1e-6  # farads from which an unmarked capacitor is likely an electrolytic


def amounts(kind: Kind, dielectric: str = "film") -> tuple[tuple[str, Reason], ...]:
    """Fields that a value without a keyword may fill, with what is in reason for each."""
    if kind is Kind.CAPACITOR and (not dielectric or "non-polar" in dielectric):
        # Non-polar ones are two electrolytics back to back; of an unmarked one nothing is known.
        why = reason.UNMARKED if not dielectric else reason.ELECTROLYTIC
        return (("printed", why), ("volts", reason.WORKING_VOLTS))
    return AMOUNTS.get(kind, ())


FIELD_WORDS = {
    "printed": "values",
    "volts": "voltages",
    "tolerance": "tolerances",
    "watts": "ratings in watts",
    "ohms": "values in ohms",
    "turn": "positions",
    "closed": "positions",
}
SAMPLES = {
    Kind.RESISTOR: "6K8",
    Kind.THERMISTOR: "4.7K",
    Kind.CAPACITOR: "0.1 uF",
    Kind.ELECTROLYTIC: "50 MFD 6V",
    Kind.POT: "pot 50K at 0.5",
    Kind.TRIMMER: "trimmer 5K at unknown",
    Kind.COIL: "10 mH 120 ohms",
    Kind.WINDING: "winding 18 V 50 Hz 3 ohms",
}


def words_of(kind: Kind) -> tuple[str, ...]:
    words: tuple[str, ...] = tuple(KIND_WORDS) + MATERIALS.get(kind, ())
    if kind in CAPACITORS:
        words += (*DIELECTRICS, "can", "MFD", "MMFD", "uF", "pF")
    if kind in (Kind.TRANSISTOR, Kind.DIODE, Kind.FET):
        words += tuple(devices.DEVICE_WORDS)
    if kind is Kind.SWITCH:
        words += ("open", "closed")
    if kind is Kind.RESISTOR:
        words += ("link", "ohms", "gold", "silver")
    return words


def sayable(kind: Kind) -> str:
    """What may be said of a kind, as a remedy."""
    parameters = ", ".join(devices.PARAMETERS.get(kind, {}))
    extra = {
        Kind.TRANSISTOR: "npn or pnp, silicon or germanium, small, medium or power",
        Kind.DIODE: "silicon or germanium, small, medium or power",
        Kind.FET: "n-channel or p-channel",
        Kind.RESISTOR: "ohms, tolerance, watts, " + ", ".join(MATERIALS[Kind.RESISTOR]),
        Kind.CAPACITOR: "capacitance, volts, tolerance, " + ", ".join(_DIELECTRICS),
        Kind.ELECTROLYTIC: "capacitance, volts, tolerance, tantalum, can",
        Kind.COIL: "henries, ohms, tolerance",
        Kind.WINDING: "volts, hertz, ohms, henries, or volts at amps with regulation",
        Kind.POT: "ohms, tolerance, at, linear, log",
        Kind.TRIMMER: "ohms, tolerance, at, linear, log",
        Kind.LAMP: "volts and amps",
        Kind.FUSE: "amps, ohms",
        Kind.SWITCH: "open or closed, ohms",
        Kind.CONTACT: "ohms",
        Kind.THERMISTOR: "ohms, tolerance",
        Kind.ZENER: "volts, tolerance",
    }.get(kind, "")
    listed = ", ".join(text for text in (extra, parameters) if text)
    return f"Of a {kind.value} one may say: {listed}." if listed else ""
