"""One part as a stage file describes it."""

from __future__ import annotations

from collections.abc import Iterator

from biaspredict.model.devices import Bipolar, Diode, Fet, Lamp, Range, Thermistor, Zener
from biaspredict.model.parts import CAPACITORS, POTS, Kind, Part
from biaspredict.notation import reason
from biaspredict.notation.devices import PARAMETERS, Parameter
from biaspredict.notation.names import family
from biaspredict.notation.reason import Reason, written
from biaspredict.notation.vocabulary import UNMARKED, amounts
from biaspredict.quantities import Unit, value_text


def describe(part: Part) -> str:
    """The reference of a part, without its marks, and all that is said of it."""
    return " ".join([part.ref, *words(part)])


def words(part: Part) -> Iterator[str]:
    """What stands behind the reference."""
    yield from _kind(part)
    fields = dict(amounts(part.kind, part.dielectric))
    if main := fields.get("printed"):
        yield from _value(part, main)
    elif part.tolerance is not None and part.kind is not Kind.ZENER:
        yield part.tolerance.text()
    for name, unit_reason in fields.items():
        value = None if name == "printed" else getattr(part, name, None)
        if value is not None:
            yield _with_unit(value, unit_reason)
    yield from _device(part)
    if part.kind is Kind.ZENER and part.tolerance is not None:
        yield part.tolerance.text()
    yield from (word for word in (part.dielectric, part.material) if word)
    if part.can:
        yield f"can {part.can}"
    if part.kind in POTS:
        yield "at unknown" if part.turn is None else f"at {value_text(part.turn, Unit.RATIO)}"
    if part.kind is Kind.SWITCH:
        yield "closed" if part.closed else "open"
    if main:
        for key, value in (("fitted", part.fitted), ("measured", part.measured)):
            if value is not None:
                link = value == 0 and part.kind is Kind.RESISTOR
                yield f"{key} link" if link else f"{key} {_with_unit(value, main)}"


def _kind(part: Part) -> Iterator[str]:
    """The word of the kind, where the reference does not tell it."""
    device = part.device
    if isinstance(device, Bipolar):
        yield device.polarity.value
    elif isinstance(device, Fet):
        yield device.channel.value
    else:
        told = family(part.ref)
        if told is not part.kind and not (told in CAPACITORS and part.kind in CAPACITORS):
            yield part.kind.value


def _value(part: Part, main: Reason) -> Iterator[str]:
    """The printed value with its tolerance."""
    if part.printed == 0 and part.kind is Kind.RESISTOR:
        yield "link"
    elif part.printed is not None:
        text = _with_unit(part.printed, main)
        unmarked = part.kind is Kind.CAPACITOR and part.printed >= UNMARKED and not part.dielectric
        yield text + ("!" if unmarked and not text.endswith("!") else "")
    if part.tolerance is not None:
        yield part.tolerance.text()


def _with_unit(value: float, why: Reason) -> str:
    """The value with a unit that no other unit can be taken for."""
    text = written(value, why)
    if why.unit is not Unit.OHM or why in (reason.RESISTOR, reason.POT, reason.THERMISTOR):
        return text
    sure = text.endswith("!")
    text = text.removesuffix("!")
    text += " ohms" if text[-1].isdigit() else "ohm"
    return text + ("!" if sure else "")


def _device(part: Part) -> Iterator[str]:
    device = part.device
    if isinstance(device, Bipolar | Diode):
        yield from (device.material.value for _ in range("material" in device.given))
        yield from (device.size.value for _ in range("size" in device.given))
    if isinstance(device, Zener):
        yield written(device.volts, reason.ZENER_VOLTS)
    if isinstance(device, Lamp):
        yield written(device.volts, reason.LAMP_VOLTS)
        yield written(device.amps, reason.LAMP_AMPS)
    if isinstance(device, Thermistor):
        yield f"beta {written(device.beta, reason.BETA)}"
    if isinstance(device, Bipolar | Diode | Zener | Fet):
        for key, parameter in PARAMETERS[part.kind].items():
            if parameter.name in device.given:
                yield _parameter(device, key, parameter)


def _parameter(device: Bipolar | Diode | Zener | Fet, key: str, parameter: Parameter) -> str:
    value = getattr(device, parameter.name)
    if value is None:
        return f"{key} none"
    if isinstance(value, Range):
        ends = [written(end, parameter.reason) for end in (value.low, value.high)]
        return f"{key} " + "..".join(dict.fromkeys(ends))
    text = f"{key} {written(value, parameter.reason)}"
    if parameter.at and parameter.at[0] in device.given:
        name, why = parameter.at
        text += f" at {written(getattr(device, name), why)}"
    return text
