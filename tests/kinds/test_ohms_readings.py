"""Ohms, drops and lower bounds as evidence, and which ohms reading is worth asking for."""

from __future__ import annotations

import math

import numpy as np
import pytest

from biaspredict.infer.evidence import Explainer
from biaspredict.infer.faults import catalogue
from biaspredict.infer.lead_sense import as_the_leads_are
from biaspredict.infer.priors import standard_priors
from biaspredict.infer.ranking import rank
from biaspredict.infer.splits import Outcome, decides, splits
from biaspredict.infer.tasks import task_of
from biaspredict.infer.touches import touches
from biaspredict.model.circuit import SOUND as AS_DRAWN
from biaspredict.model.circuit import Axis, Variation
from biaspredict.model.readings import Quantity
from biaspredict.model.stage import Meter
from biaspredict.pipeline import ranker
from biaspredict.predict.conditions import axes_as_read
from biaspredict.predict.faint import left_open
from biaspredict.predict.meters import ohmmeter
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe
from tests.kinds.bench import LINE, LINE_OFF, first, judged, ranked, readings_of, stage_of

ACROSS_R1 = Probe("VA", "Q1.base", Quantity.OHMS, *ohmmeter(Meter(), 43e3))
SCRATCHY = """meter 10 MEG 1% + 2 digits
rail B+ 22.0
VA 18.84
Q1.collector 12.44
Q1.base 2.03
Q1.emitter 1.37
"""


def test_across_r1_reads_nearly_the_same_whether_it_drifted_or_not() -> None:
    """Bench practice: 42.4k sound, 45.3k with R1 at 330k; simulated with ngspice 39 apart."""
    predictor = Predictor(stage_of(LINE_OFF), ranker())
    drifted = Variation(settings=(("R1.ohms", 330e3),))
    seen = predictor.observe(
        [AS_DRAWN, drifted], np.zeros((2, len(predictor.axes))), [ACROSS_R1]
    )
    shown = np.exp(seen.values[:, 0])
    # the figures are without the meter's own conduction of the junctions: within 1 %
    assert shown == pytest.approx([42.4e3, 45.3e3], rel=0.01)
    # healthy 10 % parts alone spread it by more than half of that difference
    spread = float(np.sqrt(((seen.slopes[0, 0] * predictor.sigmas) ** 2).sum()))
    assert spread > 0.5 * np.log(45.3 / 42.4)


def test_advice_that_cannot_decide_is_not_given() -> None:
    """R1 high or gain low: ohms across R1 in place cannot tell, with one leg lifted they do."""
    of = stage_of(LINE_OFF)
    read = readings_of(SCRATCHY, of)
    predictor = Predictor(of, ranker(), axes_as_read(of, read))
    explainer = Explainer(predictor, task_of(read, of))
    known = catalogue(of, standard_priors())
    two = [f for f in known if f.key in {("R1", "drift up"), ("Q1", "low gain")}]
    assert len(two) == 2
    ranking = rank(explainer, two)
    open_to = touches(of, read.meter, explainer.task.probes, ["R1", "Q1"])
    words = {split.touch.words for split in splits(explainer, ranking, open_to)}
    assert "ohms of R1 with one leg lifted" in words
    assert not {w for w in words if w.startswith("ohms across R1")}
    assert [t for t in open_to if t.words.startswith("ohms across R1")], "it was considered"


def test_what_decides() -> None:
    before = {("R1",): 0.4, ("sound",): 0.4, ("Q1",): 0.2}
    told = [Outcome(0, 1, 0.5, ((("R1",), 0.95), (("sound",), 0.05)))]
    vague = [Outcome(0, 1, 0.5, ((("R1",), 0.55), (("sound",), 0.30), (("Q1",), 0.15)))]
    assert decides(told, before)
    assert not decides(vague, before)


def test_ohms_alone_find_a_drifted_resistor() -> None:
    found, _ = ranked(LINE_OFF, "ohms Q1.emitter 1.62k\nohms VA 5.4k\nohms Q1.base 38.5k\n")
    assert first(found) == ("R4", "drift up")
    severity = found.suspects[0].severities[0]
    assert severity is not None
    assert severity.low < 1.62 < severity.high


def test_sound_ohms_are_sound() -> None:
    found, rows = ranked(
        LINE_OFF, "ohms B+ 3.26k\nohms Q1.emitter 1.03k\nohms VA 5.5k\nohms Q1.base 37k\n")
    assert found.sound > 0.5
    assert all(row.inside for row in rows)


def test_ohms_and_volts_together() -> None:
    """The volts suspect R1 too; 43.6K at the base says that it has drifted, or a sound 38.4K."""
    shares = {}
    for ohms in ("38.4k", "43.6k"):
        found, rows = ranked(LINE_OFF, SCRATCHY + f"ohms Q1.base {ohms}\n")
        assert len(rows) == 6
        shares[ohms] = sum(s.weight for s in found.suspects if s.parts == ("R1",))
    assert shares["43.6k"] > 2.0 * shares["38.4k"]


def test_over_is_a_lower_bound() -> None:
    """An open emitter resistor: the meter shows overload, which 1K would never do."""
    found, rows = ranked(LINE_OFF, "ohms Q1.emitter over\nohms VA 5.4k\n")
    assert first(found) == ("R4", "open")
    assert rows[0].reading.over
    assert not rows[0].inside


def test_over_where_nothing_conducts_is_sound() -> None:
    loose = LINE_OFF.replace("output OUT into 47K\n", "")
    found, rows = ranked(loose, "ohms OUT over\nohms Q1.emitter 1.0k\n")
    assert found.sound > 0.5
    assert rows[0].inside


def test_a_bound_that_is_met_says_nothing_more() -> None:
    """Over 20M and over 1M agree alike with an open point."""
    loose = LINE_OFF.replace("output OUT into 47K\n", "")
    high, _ = ranked(loose, "ohms OUT over 20M\n")
    low, _ = ranked(loose, "ohms OUT over 1M\n")
    assert high.sound == pytest.approx(low.sound, abs=0.01)


def test_a_short_reads_near_nothing() -> None:
    found, _ = ranked(LINE_OFF, "ohms Q1.emitter 0.9\nohms VA 5.4k\n")
    assert first(found) == ("C3", "short")


def test_the_diode_range_sees_an_open_and_a_shorted_junction() -> None:
    opened, _ = ranked(
        LINE_OFF, "drop Q1.base to Q1.emitter over\ndrop Q1.base to Q1.collector 0.58\n")
    assert first(opened)[0] == "Q1"
    shorted, _ = ranked(LINE_OFF, "drop Q1.base to Q1.emitter 0.002\n")
    assert first(shorted)[0] == "Q1"
    sound, _ = ranked(LINE_OFF, "drop Q1.base to Q1.emitter 0.652\n")
    assert sound.sound > 0.5


def test_a_leak_may_hide_at_an_ohmmeters_volts() -> None:
    """A leaking electrolytic and a sound one may both show the same ohms: it stays suspect."""
    found, _ = ranked(LINE_OFF, SCRATCHY + "ohms across C1 51k\n")
    assert ("C1", "leak") in {s.faults[0].key for s in found.suspects if s.group == 1}


def test_a_rail_that_measures_nobody_knows_what_accuses_nobody() -> None:
    """Without `off` on the rail's line any ohms at VA above R5's are possible."""
    for ohms in ("2.3k", "100k"):
        assert ranked(LINE, f"ohms VA {ohms}\n")[0].sound > 0.5
    assert ranked(LINE_OFF, "ohms VA 2.3k\n")[0].sound < 0.5


def test_the_outcome_of_an_ohms_touch_is_predicted_with_its_caution() -> None:
    verdict = judged(LINE_OFF, SCRATCHY)
    asked = [s for s in verdict.splits if s.touch.probe.quantity is Quantity.OHMS]
    for split in asked:
        assert split.outcomes
        assert any("discharge" in caution for caution in split.touch.cautions)


TURNED = """meter 20 kohm/V battery 1.5 V mid-scale 20
ohms Q1.base 39k
ohms Q1.collector 9.5k
ohms Q1.emitter 1.0k
ohms VA 5.1k
"""


def test_a_needle_meter_with_its_plus_at_the_black_lead() -> None:
    """The base shows 12K with the plus there and 39K with the minus: the meter has them so."""
    of = stage_of(LINE_OFF)
    read = readings_of(TURNED, of)
    predictor = Predictor(of, ranker(), axes_as_read(of, read))
    taken, doubts = as_the_leads_are(predictor, read)
    assert [doubt.finding.code for doubt in doubts] == ["black-is-positive"]
    assert [(r.node, r.minus) for r in taken.entries[:1]] == [("ground", "Q1.base")]
    assert judged(LINE_OFF, TURNED).sound


def test_a_needle_meter_with_its_plus_at_the_red_lead_is_left_alone() -> None:
    of = stage_of(LINE_OFF)
    read = readings_of(TURNED.replace("39k", "12.3k"), of)
    predictor = Predictor(of, ranker(), axes_as_read(of, read))
    assert as_the_leads_are(predictor, read) == (read, ())


def test_a_digital_meter_is_never_turned() -> None:
    of = stage_of(LINE_OFF)
    read = readings_of("ohms Q1.base 20k\n", of)
    assert as_the_leads_are(Predictor(of, ranker()), read) == (read, ())


def test_a_resistor_behind_a_bad_joint_is_named_by_its_ohms() -> None:
    """R4 1k behind 130k: by Ohm's law 131k at the emitter, far more than it drifts and far less
    than open. Volts could not tell it from an open one."""
    found = judged(LINE_OFF, "meter 10 MEG test 0.4 V\nohms Q1.emitter 131k\nohms Q1.base 38.5k\n")
    assert found.ranking.explained
    group = {s.faults[0].key for s in found.ranking.suspects if s.group == 1}
    assert ("R4", "joint") in group
    assert not any("R4" not in key[0] and "Q1" not in key[0] for key in group)


def test_a_reading_all_but_open_accuses_nobody() -> None:
    """C2's far end is open to direct current but for dirt: 30 megohm is no leak to speak of, and
    neither is `over`."""
    stage = LINE_OFF.replace("OUT into 47K", "OUT into 47K blocked")
    for shown in ("30M", "over", "90M"):
        found = judged(stage, f"meter 10 MEG test 0.4 V\nohms OUT {shown}\n")
        assert found.sound, shown


def test_faint_currents_leave_more_open() -> None:
    """At the current at which junctions are known only dirt is left, at 50 megohm 0.4 of it."""
    axes = (Axis(("D1.saturation",), 1.0, name="D1.saturation"), Axis(("R1.ohms",), 0.1, name="x"))
    slopes = np.array([[0.5, 1.0]] * 3)
    ohms, amps = np.array([1e3, 1e3, 50e6]), np.array([1e-3, 1e-6, 1e-3])
    known, faint, dirty = left_open(ohms, slopes, axes, amps)
    assert known < 1e-4
    assert faint == pytest.approx(0.25 * math.log(1e3) * 0.5, rel=0.01)
    assert dirty == pytest.approx(math.log(2.0) / math.sqrt(3.0), rel=0.01)


def test_a_display_near_the_end_of_a_range_may_be_on_the_next() -> None:
    """1.99 k fills the 2 k range, or is the lowest tenth of the 20 k range that a display which
    came from above has not left (common practice, no source). Of a germanium diode the two ranges
    show different ohms: the reading may be either, of a resistor's one and the same."""
    of = stage_of('stage "diode"\nrail B+ 9 V off 100K\nB+ -- R1 100K -- A\n'
                  "A -- D1> germanium -- ground\nB+ -- R2 100K -- B -- R3 2K -- ground\n")
    predictor = Predictor(of, ranker())
    none = np.zeros((1, len(predictor.axes)))

    def seen(text: str) -> tuple[float, float]:
        (probe,) = task_of(readings_of(text, of), of).probes
        found = predictor.observe([AS_DRAWN], none, [probe])
        return float(found.values[0, 0]), float(found.doubt[0, 0])

    def on(node: str, ohms: float) -> float:
        probe = Probe(node, None, Quantity.OHMS, ohms, 0.5)
        return float(predictor.observe([AS_DRAWN], none, [probe]).values[0, 0])

    low, high = on("A", 3e3), on("A", 30e3)
    assert high - low > 0.3, "a junction's ohms are those of the current"
    value, doubt = seen("ohms A 1.99K\n")
    assert value == pytest.approx(0.5 * (low + high), abs=1e-6)
    assert doubt > 0.5 * (high - low) / 3**0.5 * 0.99
    assert seen("ohms A 1.5K\n")[0] == pytest.approx(low, abs=1e-6)
    assert seen("ohms B 1.99K\n")[0] == pytest.approx(on("B", 3e3), abs=0.01)
    assert seen("ohms A 1.99K meter 20 kohm/V\n")[0] != pytest.approx(value, abs=0.01)
