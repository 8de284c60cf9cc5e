"""How examples are drawn: the same ones at every run, so that an unchanged tree gives an unchanged
answer. `HYPOTHESIS_PROFILE=search` draws new ones, ten times as many where a test names no count.
"""

import os

from hypothesis import settings

settings.register_profile("steady", derandomize=True)
settings.register_profile("search", max_examples=1000, print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))
