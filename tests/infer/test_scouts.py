"""In a loop of many transistors a fault is looked at from where the sound specimen stands.

Readings of two specimens of richer devices (tests/proving) whose truth is known. From the middle
of the spread the output lies at a rail, and the true fault looked a hundred times too far off.
"""

from __future__ import annotations

from pathlib import Path

from biaspredict import pipeline
from biaspredict.notation import read_readings

AMPLIFIER = Path(__file__).parents[2] / "circuits" / "split-rail-amplifier.stage"
NODES = (
    "V+ V- Q1.collector Q1.base Q1.emitter Q2.base Q2.emitter Q3.collector Q3.base Q3.emitter "
    "Q4.collector Q4.emitter Q5.collector Q5.base Q6.emitter Q7.collector Q7.base Q7.emitter "
    "Q8.collector Q8.base Q8.emitter Q9.emitter Q10.collector Q10.emitter Q11.collector Q11.base "
    "Q11.emitter Q12.collector Q12.base D1.cathode"
)
IDLE_LOST = (  # Q5, which sets the idle current, shorted from collector to emitter
    "27.7 -27.6 -27 0.106 0.712 0.05 0.681 0.807 26.3 27 -0.676 -27.5 -0.668 -0.672 26.8 27.6 "
    "-0.67 -0.048 -27.2 -0.671 -0.084 -0.048 -0.049 -27.6 -0.044 -0.048 -0.048 -0.513 -0.049 26.9"
)
LEADS_CROSSED = (  # Q5 with collector and base swapped
    "28.9 -28.9 -28.2 0.168 0.782 0.141 0.754 0.876 27.5 28.1 -0.16 -28.8 0.553 -0.015 28.2 28.9 "
    "0.553 0.02 -28.9 -0.16 0 0 0 -28.9 0.374 0 0.001 0 0.001 28.2"
)


def _shares(volts: str) -> dict[str, float]:
    stage = pipeline.load_stage(AMPLIFIER)
    lines = [f"{node} {value}" for node, value in zip(NODES.split(), volts.split(), strict=True)]
    sheet = "\n".join(['readings "bench"', "meter 10 MEG 1% + 2 digits", *lines]) + "\n"
    ranking = pipeline.suspect(stage, read_readings(sheet, "bench", stage)).ranking
    shares: dict[str, float] = {}
    for suspect in ranking.suspects:
        if suspect.group == 1:
            shares.setdefault(suspect.parts[0], 0.0)
            shares[suspect.parts[0]] += suspect.weight
    return shares


def test_a_short_that_no_slope_led_to() -> None:
    shares = _shares(IDLE_LOST)
    assert shares["Q5"] > 0.2
    assert max(shares, key=lambda part: shares[part]) in ("Q5", "Q6.emitter")


def test_crossed_leads_that_no_slope_led_to() -> None:
    assert _shares(LEADS_CROSSED)["Q5"] > 0.9


def test_a_degree_that_no_step_from_the_middle_led_to() -> None:
    """R4 at 2.6 times its ohms, of readings that R10 at three times gave (the batch engine's own
    equations): by the loop's bend as sound follows it, R4 explains them within 5 nats of the
    best; stepped to from the middle, it was left hundreds behind."""
    stage = pipeline.load_stage(AMPLIFIER)
    sheet = """readings "one in three"
meter 10 MEG 1% + 2 digits
V+ 28.075, OUT 0.247, IN 0.0, Q1.base 0.172, LOW -0.402, TOP 1.504, RV1.wiper -0.047
Q7.emitter 0.869, Q8.emitter 0.214, Q11.base 0.255, Q12.base 0.248, Q12.collector -0.051
"""
    ranking = pipeline.suspect(stage, read_readings(sheet, "bench", stage)).ranking
    evidence = ranking.scores.log_evidence
    (row,) = (
        row for row, component in enumerate(ranking.components)
        if [(f.part, f.mode) for f in component.faults] == [("R4", "drift up")]
        and 2.0 < component.severities[0] < 3.0
    )
    assert evidence[row] > evidence.max() - 5.0
