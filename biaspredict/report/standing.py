"""Stages that can stand in more than one way, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from biaspredict.report import words

SHOWN = 4  # nodes of a state beside a suspect
States = Sequence[Mapping[str, float]]


def of_the_stage(states: States) -> Iterator[str]:
    """After the volts of one state: the others."""
    if states:
        yield words.wrapped(
            "This stage can stand in another way as well; switch-on or a touch decides in which. "
            "It then has:")
    for state in states:
        yield words.wrapped(_said(state), "  ", "    ")


def of_the_sound(states: States) -> Iterator[str]:
    """Before the suspects: where else the sound stage can stand."""
    for state in states:
        yield words.wrapped(
            "Sound, the stage can stand in another way as well, which these readings lie farther "
            f"from: {_said(state)}.")


def of_a_suspect(fault: str, states: States) -> Iterator[str]:
    for state in states:
        yield words.wrapped(
            f"If it is so that {fault}, the stage can stand in another way as well: "
            f"{_said(state, SHOWN)}.", "  ", "    ")


def _said(state: Mapping[str, float], most: int | None = None) -> str:
    return ", ".join(f"{node} {words.volts(v)}" for node, v in list(state.items())[:most])
