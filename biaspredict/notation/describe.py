"""What stands behind a reference, turned into the part it describes."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import Any

from biaspredict.errors import InputError
from biaspredict.model.devices import Range
from biaspredict.model.parts import CAPACITORS, POTS, Kind
from biaspredict.notation import devices, reason
from biaspredict.notation.clauses import Amount, Clause, Form
from biaspredict.notation.mistakes import near
from biaspredict.notation.reason import Reason
from biaspredict.notation.vocabulary import (
    BARE,
    DIELECTRICS,
    FIELD_WORDS,
    KIND_WORDS,
    MATERIALS,
    SAMPLES,
    TURNS,
    amounts,
    sayable,
    words_of,
)
from biaspredict.quantities import (
    Tolerance,
    ValueReadError,
    parse_capacitance_and_volts,
    spoken,
)
from biaspredict.span import Span

_NOISE = frozenset({"unknown", "generic", "band"})
_BANDS = {"gold": Tolerance(0.05, 0.05), "silver": Tolerance(0.1, 0.1), "no": Tolerance(0.2, 0.2)}
_PAIR = re.compile(r"[+-]?[\d.,]+ ?[/@-] ?[\d.,]+.*")


@dataclass(slots=True)
class Draft:
    """A part described but not yet placed; `fields` are those of the record Part.

    sure: a value of it was confirmed with !.
    """

    ref: str
    kind: Kind
    place: Span
    fields: dict[str, Any] = field(default_factory=dict)
    said: devices.Said = field(default_factory=devices.Said)
    sure: bool = False


def kind_of(clauses: tuple[Clause, ...]) -> Kind | None:
    """The kind that a word among the clauses says."""
    found = [KIND_WORDS[clause.word] for clause in clauses if clause.word in KIND_WORDS]
    return found[0] if found else None


def describe(
    ref: str, kind: Kind, clauses: tuple[Clause, ...], place: Span, bare: float | None
) -> Draft:
    """The part of that reference and kind. InputError at the first thing that does not fit.

    bare: farads that a capacitor's number without a unit counts in, None where nothing says.
    """
    describer = _Describer(Draft(ref, kind, place), bare)
    describer.dielectric = " ".join(
        DIELECTRICS[clause.word] for clause in clauses if clause.word in DIELECTRICS
    )
    for clause in clauses:
        describer.take(clause)
    return describer.finish()


class _Describer:
    def __init__(self, draft: Draft, bare: float | None) -> None:
        self.draft = draft
        self.bare = bare
        self.dielectric = ""
        self.before = ""  # keyword of the clause before, for `at`
        self.loaded: dict[str, float] = {}  # amps and regulation of a winding's volts

    @property
    def kind(self) -> Kind:
        return self.draft.kind

    def take(self, clause: Clause) -> None:
        self.draft.sure |= any(amount.sure for amount in clause.amounts)
        if clause.key:
            self._keyword(clause)
        elif clause.form is Form.WORD:
            self._word(clause)
        elif clause.form is Form.AMOUNT:
            self._amount(clause.amounts[0])
        elif clause.form is Form.TOLERANCE:
            self._tolerance(reason.tolerance(clause.text, clause.place), clause)
        else:
            raise self._misfit(clause)
        self.before = clause.key

    # --- words ---------------------------------------------------------------------------------

    def _word(self, clause: Clause) -> None:
        word = clause.word
        if word in KIND_WORDS:
            if KIND_WORDS[word] is not self.kind:
                raise InputError(
                    f"{self.draft.ref} is called two kinds of part",
                    remedy="Keep one of the words.",
                    place=clause.place,
                )
            if word in devices.DEVICE_WORDS:
                self._device_word(word, clause)
            if word == "rectifier":
                self.draft.said.words.setdefault("size", "medium")
        elif word in devices.DEVICE_WORDS and self.kind in (Kind.TRANSISTOR, Kind.DIODE, Kind.FET):
            self._device_word(word, clause)
        elif word in DIELECTRICS and self.kind in CAPACITORS:
            self._append("dielectric", DIELECTRICS[word])
        elif word in MATERIALS.get(self.kind, ()):
            self._append("material", word)
        elif word in _BANDS and "printed" in self.draft.fields:
            self._tolerance(_BANDS[word], clause)
        elif word == "link" and self.kind is Kind.RESISTOR:
            self._set("printed", 0.0, clause.place)
        elif word in ("open", "closed") and self.kind is Kind.SWITCH:
            self._set("closed", word == "closed", clause.place)
        elif word not in _NOISE:
            raise self._misfit(clause)

    def _device_word(self, word: str, clause: Clause) -> None:
        role, words = devices.role(word), self.draft.said.words
        if words.get(role, word) != word:
            raise InputError(
                f"{self.draft.ref} is called both {words[role]} and {word}",
                remedy="Keep one of them.",
                place=clause.place,
            )
        words[role] = word

    def _append(self, name: str, word: str) -> None:
        """Words such as metal film make one description."""
        before = self.draft.fields.get(name, "")
        if word not in before.split():
            self.draft.fields[name] = f"{before} {word}".strip()

    # --- values --------------------------------------------------------------------------------

    def _amount(self, amount: Amount) -> None:
        if self.kind in CAPACITORS and _PAIR.fullmatch(amount.text):
            self._pair(amount)
            return
        name, why = self._field(amount)
        bare = self.bare if name == "printed" and self.kind in CAPACITORS else None
        number = self._value(amount, why, bare)
        if name.startswith("device "):
            self._set_device(name.removeprefix("device "), number, amount.place)
        else:
            self._set(name, number, amount.place)

    def _field(self, amount: Amount) -> tuple[str, Reason]:
        """Which field an amount fills, by its unit."""
        fields = self._fields()
        if not fields:
            raise InputError(
                f"a {self.kind.value} has no value of its own",
                remedy=sayable(self.kind) or "Delete it, or put it behind #.",
                place=amount.place,
            )
        if reason.NUMBER.fullmatch(amount.text):
            alone = len(fields) == 1 or self.kind in BARE
            volts_missing = self.kind in CAPACITORS and "printed" in self.draft.fields
            if (alone or self.kind in CAPACITORS) and not volts_missing:
                return fields[0]
            units = " or ".join(why.unit.value + "s" for _, why in fields)
            raise InputError(
                f"{amount.text} what? The unit is missing",
                remedy=f"A {self.kind.value} takes {units}.",
                place=amount.place,
            )
        found = [(name, why) for name, why in fields if reason.fits(amount.text, why.unit)]
        if len(found) > 1:
            units = " or ".join(why.what for _, why in found)
            raise InputError(
                f"{amount.text} may be {units}",
                remedy="Write the unit in full.",
                place=amount.place,
            )
        return found[0] if found else fields[0]

    def _value(self, amount: Amount, why: Reason, bare: float | None = None) -> float:
        if why.unit is reason.CAPACITOR.unit and amount.text.startswith("+"):
            raise InputError(
                "a plus before a value means nothing",
                remedy=f"The polarity stands at the reference: +{self.draft.ref} "
                f"or {self.draft.ref}+.",
                place=amount.place,
            )
        alone = reason.NUMBER.fullmatch(amount.text) and bare is None
        if alone and why.unit is reason.CAPACITOR.unit:
            raise InputError(
                f"{amount.text} what? The unit is missing",
                remedy=f"Write {amount.text} MFD or {amount.text} MMFD, or once for the whole "
                "sheet: assume bare capacitors in MFD.",
                place=amount.place,
            )
        return reason.value(amount, why, bare=bare)

    def _pair(self, amount: Amount) -> None:
        try:
            found = parse_capacitance_and_volts(amount.text)
        except ValueReadError as problem:
            raise reason.misread(problem, amount.place) from None
        (_, farads), (_, volts) = self._fields()
        if len(found) > 1:
            ways = " or ".join(
                f"{spoken(way.farads, farads.unit)} at {spoken(way.volts, volts.unit)}"
                for way in found
            )
            first = found[0]
            remedy = f"Write it as {reason.written(first.farads, farads)} "
            remedy += f"{reason.written(first.volts, volts)}, or the other way round."
            raise InputError(f"{amount.text} may be {ways}", remedy=remedy, place=amount.place)
        reason.check(found[0].farads, amount, farads)
        reason.check(found[0].volts, amount, volts)
        self._set("printed", found[0].farads, amount.place)
        self._set("volts", found[0].volts, amount.place)

    def _tolerance(self, tolerance: Tolerance, clause: Clause) -> None:
        if self.kind in (Kind.RESISTOR, *POTS, *CAPACITORS, Kind.COIL, Kind.ZENER, Kind.THERMISTOR):
            self._set("tolerance", tolerance, clause.place)
        else:
            raise self._misfit(clause)

    def _set(self, name: str, value: object, place: Span) -> None:
        if name in self.draft.fields:
            what = FIELD_WORDS.get(name, "values")
            raise InputError(
                f"{self.draft.ref} has two {what}",
                remedy="Keep one. What the board has instead of the sheet's value is written "
                "fitted, what the meter says measured."
                if name == "printed"
                else "Keep one.",
                place=place,
            )
        self.draft.fields[name] = value

    def _set_device(self, name: str, value: float | Range | None, place: Span) -> None:
        if name in self.draft.said.values:
            raise InputError(
                f"{self.draft.ref}: this is said twice", remedy="Keep one.", place=place
            )
        self.draft.said.values[name] = value

    # --- keywords ------------------------------------------------------------------------------

    def _keyword(self, clause: Clause) -> None:
        parameters = devices.PARAMETERS.get(self.kind, {})
        if clause.key == "at" and self.before in parameters:
            at = parameters[self.before].at
            if at is not None:
                self._set_device(at[0], reason.value(self._single(clause), at[1]), clause.place)
                return
        if clause.key in parameters:
            parameter = parameters[clause.key]
            self._set_device(parameter.name, self._parameter(parameter, clause), clause.place)
        elif clause.key in ("fitted", "measured") and self._main() is not None:
            self._other_value(clause)
        elif clause.key == "at" and self.kind in POTS:
            self._set("turn", self._turn(clause), clause.place)
        elif clause.key == "can" and self.kind in CAPACITORS:
            text = clause.text or (clause.amounts[0].text if clause.amounts else "")
            if clause.form is Form.BARE or not text:
                raise reason.wants("can", "the name of the can", "can C4", clause.place)
            self._set("can", text, clause.place)
        elif clause.key == "at" and self.kind is Kind.WINDING:
            self.loaded["amps"] = reason.value(self._single(clause), reason.WINDING_AMPS)
        elif clause.key == "regulation" and self.kind is Kind.WINDING:
            if clause.form is not Form.TOLERANCE:
                raise reason.wants("regulation", "a percentage", "regulation 15%", clause.place)
            self.loaded["regulation"] = reason.even(clause.text, clause.place)
        else:
            raise self._misfit(clause)

    def _parameter(self, parameter: devices.Parameter, clause: Clause) -> float | Range | None:
        if clause.key == "early" and clause.text.casefold() == "none":
            return None
        if parameter.spread:
            return reason.limits(clause, parameter.reason)
        return reason.value(self._single(clause), parameter.reason)

    def _single(self, clause: Clause) -> Amount:
        if clause.form is not Form.AMOUNT:
            raise reason.wants(clause.key, "one value", f"{clause.key} and a value", clause.place)
        return clause.amounts[0]

    def _main(self) -> Reason | None:
        return dict(self._fields()).get("printed")

    def _fields(self) -> tuple[tuple[str, Reason], ...]:
        return amounts(self.kind, self.dielectric)

    def _other_value(self, clause: Clause) -> None:
        why = self._main()
        assert why is not None
        if self.kind is Kind.RESISTOR and clause.text.casefold() == "link":
            self._set(clause.key, 0.0, clause.place)
            return
        bare = self.bare if self.kind in CAPACITORS else None
        self._set(clause.key, self._value(self._single(clause), why, bare), clause.place)

    def _turn(self, clause: Clause) -> float | None:
        how = "at 0.5, at 50%, at top, at middle, at bottom or at unknown"
        if clause.form is Form.TOLERANCE:
            return reason.value(Amount(clause.text, clause.place), _TURN)
        if clause.form is Form.AMOUNT:
            return reason.value(clause.amounts[0], _TURN)
        if clause.text.casefold() in TURNS:
            return TURNS[clause.text.casefold()]
        raise reason.wants("at", "the position of the wiper", how, clause.place)

    def _misfit(self, clause: Clause) -> InputError:
        shown = clause.key if clause.form is Form.BARE else f"{clause.key} {clause.text}".strip()
        kind, word = self.kind, clause.key or clause.word
        known = [*words_of(kind), *devices.PARAMETERS.get(kind, {}), "fitted", "measured"]
        remedy = near(word, known) if word and word not in known else ""
        remedy = remedy or sayable(kind) or "Delete it, or put it behind #."
        return InputError(
            f"'{shown or clause.form.value}' says nothing about a {kind.value}",
            remedy=remedy,
            place=clause.place,
        )

    # --- the whole -----------------------------------------------------------------------------

    def finish(self) -> Draft:
        draft = self.draft
        if self.loaded:
            self._regulated()
        if draft.kind is Kind.SWITCH and "closed" not in draft.fields:
            raise InputError(
                f"is {draft.ref} open or closed?",
                remedy=f"Write {draft.ref} switch closed, as it stands while you read.",
                place=draft.place,
            )
        needs_value = (Kind.RESISTOR, Kind.THERMISTOR, *CAPACITORS, *POTS)
        if draft.kind in needs_value and not {"printed", "fitted", "measured"} & set(draft.fields):
            raise InputError(
                f"{draft.ref} has no value",
                remedy=f"Write it behind the reference: {draft.ref} {SAMPLES[draft.kind]}.",
                place=draft.place,
            )
        if draft.kind in (Kind.COIL, Kind.WINDING) and not set(draft.fields) - {"tolerance"}:
            raise InputError(
                f"{draft.ref} has no value",
                remedy=f"Write its ohms, like {draft.ref} {SAMPLES[draft.kind]}.",
                place=draft.place,
            )
        draft.fields["device"] = devices.build(draft.kind, draft.said, draft.ref, draft.place)
        return draft

    def _regulated(self) -> None:
        """Open-circuit volts and ohms from volts under load and regulation.

        Regulation: the rise of volts without load over the volts under load.
        """
        fields = self.draft.fields
        volts = fields.get("volts")
        if set(self.loaded) != {"amps", "regulation"} or volts is None or "ohms" in fields:
            raise InputError(
                f"{self.draft.ref}: volts under load, amps and regulation belong together",
                remedy=f"Write {self.draft.ref} winding 18 V at 500 mA regulation 15% 50 Hz, "
                "or the open volts and the ohms.",
                place=self.draft.place,
            )
        rise = volts * self.loaded["regulation"]
        fields["volts"] = volts + rise
        fields["ohms"] = rise / self.loaded["amps"]


_TURN = replace(reason.GAIN_READ, what="the position of a wiper", usual=(0, 1), possible=(0, 1))
