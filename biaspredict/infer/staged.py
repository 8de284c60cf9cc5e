"""The next reading soon: cheap touches first, dearer ones only where those tell too little.

`splits` weighs every touch against every other. At the bench one is enough, and the trade's own
order finds it: finish the powered touches before the power state is changed, and lift no leg
before the cheaper readings are spent (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence

from biaspredict.infer.evidence import Explainer
from biaspredict.infer.ranking import Ranking
from biaspredict.infer.splits import Split, splits
from biaspredict.infer.touches import Touch

TELLS = 0.1  # bits of a reading that is worth a touch of the same cost at once


def staged(
    explainer: Explainer, ranking: Ranking, touches: Sequence[Touch]
) -> tuple[Split, ...]:
    """Splits of the cheapest touches that tell enough, best worth first.

    Where no touch tells that much, of all of them.
    """
    found: list[Split] = []
    costs = sorted({touch.cost for touch in touches})
    for cost in costs:
        found += splits(explainer, ranking, [t for t in touches if t.cost == cost])
        if any(split.gain >= TELLS for split in found):
            break
    return tuple(sorted(found, key=lambda split: -split.worth))
