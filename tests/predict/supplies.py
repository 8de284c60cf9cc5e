"""Small supplies as text, one of each scheme."""

from __future__ import annotations

from functools import cache

from biaspredict.model.stage import Stage
from biaspredict.notation import read_stage

HALF_WAVE = """
T1 winding 12 V 50 Hz 2 ohms
ground -- T1 -- A -- D1> rectifier -- RAW -- +C1 470 MFD 25V -- ground
RAW -- R1 330 1 W -- ground
"""
NEGATIVE = """
T1 winding 12 V 50 Hz 2 ohms
ground -- T1 -- F1 fuse 1 A -- A -- <D1 rectifier -- RAW
ground -- +C1 470 MFD 25V -- RAW
RAW -- R1 330 1 W -- ground
"""
BRIDGE = """
T1 winding 18 V 50 Hz 3 ohms
A -- T1 -- B
A -- D1> rectifier medium -- RAW
B -- D2> rectifier medium -- RAW
ground -- D3> rectifier medium -- A
ground -- D4> rectifier medium -- B
RAW -- +C1 1000 MFD 35V -- ground
RAW -- R1 330 5 W -- ground
"""
BOTH_WAYS = """
T1A winding 20 V 50 Hz 1 ohms
T1B winding 20 V 50 Hz 1 ohms
A -- T1A -- ground -- T1B -- B
A -- D1> rectifier -- V+
B -- D2> rectifier -- V+
V- -- D3> rectifier -- A
V- -- D4> rectifier -- B
V+ -- +C1 2200 MFD 35V -- ground -- +C2 2200 MFD 35V -- V-
V+ -- R1 100 10 W -- ground -- R2 100 10 W -- V-
"""
DOUBLER = """
T1 winding 20 V 50 Hz 5 ohms
MID -- T1 -- A -- D1> rectifier -- TOP
ground -- D2> rectifier -- A
TOP -- +C1 470 MFD 35V -- MID -- +C2 470 MFD 35V -- ground
TOP -- R1 1K 5 W -- ground
"""
CASCADE = """
T1 winding 20 V 50 Hz 5 ohms
ground -- T1 -- W -- C1+ 470 MFD 35V -- A -- D1> rectifier -- TOP
ground -- D2> rectifier -- A
TOP -- +C2 470 MFD 63V -- ground
TOP -- R1 1K 5 W -- ground
"""
CHOKE = """
T1A winding 100 V 50 Hz 20 ohms
T1B winding 100 V 50 Hz 20 ohms
A -- T1A -- ground -- T1B -- B
A -- D1> rectifier -- X
B -- D2> rectifier -- X
X -- L1 choke 5 H 100 ohms -- B+ -- +C1 100 MFD 200V -- ground
B+ -- R1 1K 20 W -- ground
output B+
"""


@cache
def stage(text: str) -> Stage:
    return read_stage('stage "supply"\n' + text, "supply.stage")
