"""Text to records and back: the stage notation and the readings notation.

The rules are in grammar/; README.md there is the reader's guide. lark is loaded with the first
statement, not before.
"""

from biaspredict.notation.build import read_stage
from biaspredict.notation.entries import parse_entry, read_readings
from biaspredict.notation.load import load_readings, load_stage
from biaspredict.notation.names import find_node
from biaspredict.notation.write import write_readings, write_stage

__all__ = [
    "find_node",
    "load_readings",
    "load_stage",
    "parse_entry",
    "read_readings",
    "read_stage",
    "write_readings",
    "write_stage",
]
