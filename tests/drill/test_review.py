"""The end of a drill: what readings ruled out, and the path that the splits would have taken."""

from __future__ import annotations

import pytest

from biaspredict import classroom
from biaspredict.bench.drilling import asked_for
from biaspredict.infer.drill.asking import priced
from biaspredict.infer.drill.review import LONGEST, Taken
from biaspredict.infer.verdict import SURE
from biaspredict.model.stage import Meter
from tests.drill.practices import LINE, PAIR, hidden


def take(practice: classroom.Practice, *texts: str) -> list[Taken]:
    power, taken = True, []
    for text in texts:
        asked = asked_for(practice.stage, Meter(), text)
        taken.append(Taken(asked, priced(asked, power), practice.specimen.shown(asked.probe)))
        power = asked.powered
    return taken


def test_readings_rule_parts_out_and_leave_others() -> None:
    # An open emitter resistor: full rail at the collector, emitter up by the base.
    practice = hidden(LINE, fault="R4 opens")
    taken = take(practice, "Q1.collector", "Q1.emitter", "Q1.base", "VA")
    own, best = classroom.review(practice, taken)
    assert [stride.taken for stride in own.strides] == taken
    assert own.cost == 4.0
    for stride in own.strides:
        out = set(stride.out)
        assert not out & {label for label, _ in stride.left}
        assert sum(share for _, share in stride.left) <= 1.0 + 1e-9
    # The emitter at 4 V with no current through R4 leaves R4 and nothing like R1 or C1.
    told = own.strides[1]
    assert told.left[0][0] == ("R4",)
    gone = {label for stride in own.strides for label in stride.out}
    assert ("R3",) in gone
    assert best.strides
    assert best.left[0][0] == ("R4",)


@pytest.mark.parametrize(("path", "fault"), [
    (LINE, "C1 leaks 20K"), (PAIR, "R5 opens"),
])
def test_the_splits_find_what_is_hidden(path: object, fault: str) -> None:
    practice = hidden(path, fault=fault)  # type: ignore[arg-type]
    _, best = classroom.review(practice, ())
    assert 1 <= len(best.strides) <= LONGEST
    # What they end with is the hidden part, alone or among those no reading can split.
    assert (practice.specimen.hidden.part,) in {label for label, _ in best.left}
    if best.sure:
        assert best.left[0][1] >= SURE
        assert best.left[0][0] == (practice.specimen.hidden.part,)
    power = True
    for stride in best.strides:
        assert stride.taken.cost == priced(stride.taken.asked, power)
        power = stride.taken.asked.powered


def test_without_a_reading_nothing_is_ruled_out() -> None:
    own, _ = classroom.review(hidden(LINE, fault="R4 opens"), ())
    assert own.strides == ()
    assert own.cost == 0.0
    assert not own.sure
