"""The stages that come with the project: nothing wrong is found in them, their parts are known.

Roles and ways of the signal as the trade would name them (common practice, no source).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from biaspredict.findings import Gravity
from biaspredict.graph.capacitors import Role, capacitor_role
from biaspredict.graph.checks import connectivity
from biaspredict.graph.signal import signal_path
from biaspredict.model.stage import Stage
from biaspredict.notation import load_stage

CIRCUITS = Path(__file__).parents[2] / "circuits"
EVERY = sorted(CIRCUITS.rglob("*.stage"))


def shipped(name: str) -> Stage:
    return load_stage(CIRCUITS / f"{name}.stage")


@pytest.mark.parametrize("path", EVERY, ids=[path.stem for path in EVERY])
def test_no_slip_is_found(path: Path) -> None:
    found = connectivity(load_stage(path))
    # Books calculate with round numbers that no one can buy.
    wanted = {"odd-value"} if path.parent.name == "published" else set()
    assert {finding.code for finding in found} <= wanted
    assert all(finding.gravity is Gravity.NOTE for finding in found)


ROLES = {
    "phono-pair": {
        Role.COUPLING: "C1 C3",
        Role.BYPASS: "C2",
        Role.DECOUPLING: "C7",
        Role.FEEDBACK: "C4",
        Role.TONE: "C5 C6",
    },
    "tone-stage": {
        Role.COUPLING: "C1 C2 C7 C9",
        Role.DECOUPLING: "C8",
        Role.TONE: "C3 C4 C5 C6",
    },
    "split-rail-amplifier": {
        Role.COUPLING: "C1",
        Role.BYPASS: "C2 C6",
        Role.DECOUPLING: "C8 C9",
        Role.FEEDBACK: "C4 C5",
        Role.TONE: "C3 C7",
    },
    "capacitor-coupled-amplifier": {
        Role.COUPLING: "C1 C6",
        Role.BYPASS: "C3",
        Role.DECOUPLING: "C2 C7",
        Role.FEEDBACK: "C4 C5",
        Role.TONE: "C8",
    },
    "germanium-push-pull": {
        Role.COUPLING: "C1",
        Role.BYPASS: "C2",
        Role.DECOUPLING: "C3 C5",
        Role.TONE: "C4",
    },
    "bench-supply": {Role.DECOUPLING: "C1 C2"},
    "published/supply-full-wave": {Role.DECOUPLING: "C1"},
    "published/corners-20-volts": {Role.COUPLING: "CS CC", Role.BYPASS: "CE"},
}


@pytest.mark.parametrize("name", ROLES)
def test_roles(name: str) -> None:
    whole = shipped(name)
    for role, refs in ROLES[name].items():
        for ref in refs.split():
            assert capacitor_role(whole, whole.part(ref)) is role, ref


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        ("headphone-amplifier", "C1 R10 Q1 Q4 R9 C3"),
        ("split-rail-amplifier", "C1 R1 Q1 Q4 R15 Q8 R18 L1"),
        ("tone-stage", "C1 Q1 C2 R4 BASS R6 C7 Q2 C9"),
        ("capacitor-coupled-amplifier", "C1 Q1 Q2 Q4 C6"),
    ],
)
def test_way_of_the_signal(name: str, parts: str) -> None:
    assert signal_path(shipped(name)).spine[1::2] == tuple(parts.split())
