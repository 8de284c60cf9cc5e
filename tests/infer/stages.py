"""Small stages for the tests of inference, written in the notation."""

from __future__ import annotations

from biaspredict.model.readings import Readings
from biaspredict.model.stage import Stage
from biaspredict.notation import read_readings, read_stage

DIVIDER = """
stage "one silicon transistor, divider bias"
rail B+ 20 V 5%
assume resistors 10%, temperature 25 C
Q1 npn silicon gain 80..300
B+ -- R1 47K -- Q1.base -- R2 10K -- ground
B+ -- R3 4.7K -- Q1.collector
Q1.emitter -- R4 1K -- ground
Q1.emitter -- +C1 50 MFD 6V -- ground
IN -- C2+ 5 MFD 15V -- Q1.base
Q1.collector -- +C3 5 MFD 25V -- OUT
input IN from 600
output OUT into 47K
"""

LINEAR = """
stage "three resistors"
rail B+ 10 V 5%
assume resistors 10%
B+ -- R1 10K -- A -- R2 10K -- B -- R3 10K -- ground
"""


def stage(text: str) -> Stage:
    return read_stage(text, "test.stage")


def readings(text: str, of: Stage) -> Readings:
    return read_readings(f'readings "test"\n{text}\n', "test.readings", of)
