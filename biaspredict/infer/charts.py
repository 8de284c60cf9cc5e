"""A printed chart beside the stage as transcribed, and beside today's readings."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from biaspredict.infer.chance import chi2_tail
from biaspredict.infer.components import NO_FAULT, Task
from biaspredict.infer.evidence import Explainer
from biaspredict.infer.ledger import Balance, ledger
from biaspredict.infer.slips import Slip, slips
from biaspredict.infer.tasks import LOGARITHMIC, task_of
from biaspredict.infer.todays_rails import on_todays_rails
from biaspredict.model.circuit import SOUND
from biaspredict.model.readings import Quantity, Reading, Readings
from biaspredict.model.stage import GROUND, Chart, ChartEntry, Stage
from biaspredict.predict.observe import Predictor
from biaspredict.predict.probe import Probe

DISAGREES = 0.02  # chance of a misfit this large in a true transcription
CHART_FLOOR = 0.03  # volts: charts are printed to a tenth or two
SCALABLE = 0.1  # volts below which a figure is shifted, not scaled
MOST_LOG = math.log(1e9)  # of ohms, where any meter calls it open
INSIDE = 1.96  # standard deviations of the central 95 %
OVER_DIGITAL, OVER_NEEDLE = 10e6, 1e6  # ohms that a printed infinity means at least


@dataclass(frozen=True, slots=True)
class ChartLine:
    """One printed figure and what a sound stage shows there through the chart's meter, in the
    chart's unit: expected, and 95 % of specimens with the chart's own tolerance."""

    entry: ChartEntry
    expected: float
    low: float
    high: float

    @property
    def inside(self) -> bool:
        if not math.isfinite(self.entry.value):
            return self.high >= OVER_NEEDLE
        return self.low <= self.entry.value <= self.high


@dataclass(frozen=True, slots=True)
class ChartCheck:
    """The chart beside the stage.

    agrees: chance that a true chart misfits more. off: (entry, expected in the chart's unit,
    standard deviations). slips: best first; empty where the chart agrees or nothing single
    explains it. turned: an ohms chart fits with the leads the other way round, and was taken so.
    law: nodes where the chart's own volts break Ohm's law, in a chart that disagrees.
    lines: every figure, in the chart's order.
    """

    chart: Chart
    agrees: float
    off: tuple[tuple[ChartEntry, float, float], ...]
    slips: tuple[Slip, ...]
    turned: bool = False
    law: tuple[Balance, ...] = ()
    lines: tuple[ChartLine, ...] = ()


@dataclass(frozen=True, slots=True)
class ChartToday:
    """One printed figure and today's reading of the same point.

    means: the figure scaled to today's rail, temperature and meter; low, high: 95 % of sound
    specimens about it, by this node's own spread; meters: the two meters alone make the
    difference between the figure and what it means. misprint: the figure strays from its own
    circuit, through its own meter, and today's reading does not.
    """

    entry: ChartEntry
    reading: Reading
    means: float
    low: float
    high: float
    meters: bool
    misprint: bool

    @property
    def inside(self) -> bool:
        return self.low <= self.reading.value <= self.high


def chart_readings(chart: Chart) -> Readings:
    """The chart as a set of readings through the manual's meter; infinities as lower bounds."""
    quantity = Quantity.VOLTS if chart.quantity == "volts" else Quantity.OHMS
    bound = OVER_NEEDLE if chart.meter.needle else OVER_DIGITAL
    entries = tuple(
        Reading(
            e.name, e.node, e.value if math.isfinite(e.value) else bound, quantity,
            e.minus_name, e.minus, e.about, over=not math.isfinite(e.value),
        )
        for e in chart.entries
    )
    return Readings("chart", entries, meter=chart.meter)


def chart_task(chart: Chart, stage: Stage) -> Task:
    """As readings, each with the chart's own tolerance taken as even limits."""
    task = task_of(chart_readings(chart), stage)
    share = np.full_like(task.values, chart.tolerance / math.sqrt(3.0))
    if chart.quantity == "volts":
        share = np.hypot(share * np.abs(task.values), CHART_FLOOR)
    return replace(task, sigmas=np.hypot(task.sigmas, share))


def check_chart(predictor: Predictor, chart: Chart) -> ChartCheck:
    """Compare, and where they disagree look for the one slip that explains it.

    An ohms chart seldom says which lead was red, and a needle meter's red lead is often the
    negative one on ohms: both ways are tried for the chart as a whole.
    """
    task = chart_task(chart, predictor.stage)
    tasks = [task]
    if chart.quantity != "volts":
        tasks.append(replace(task, probes=tuple(_turned(p) for p in task.probes)))
    explainers = [Explainer(predictor, one) for one in tasks]
    misfits = [float(e.score([NO_FAULT], keep=1).misfit[0]) for e in explainers]
    best = int(np.argmin(misfits))
    explainer = explainers[best]
    agrees = chi2_tail(misfits[best], len(task.probes))
    wrong = agrees < DISAGREES
    lines, far = _lines(explainer, chart)
    off = tuple(
        (line.entry, line.expected, far_off) for line, far_off in zip(lines, far, strict=True)
        if abs(far_off) > INSIDE or not math.isfinite(far_off)
    )
    return ChartCheck(
        chart, agrees, off, slips(explainer, chart) if wrong else (),
        best == 1, _law(predictor.stage, chart) if wrong else (), tuple(lines),
    )


def _turned(probe: Probe) -> Probe:
    return replace(probe, node=probe.minus or GROUND, minus=probe.node)


def _lines(explainer: Explainer, chart: Chart) -> tuple[list[ChartLine], list[float]]:
    """Each figure beside the sound prediction, and how many standard deviations it is off."""
    task = explainer.task
    seen, slopes = explainer.look([NO_FAULT], np.zeros((1, explainer.width)), 0, task.probes)
    spread = np.sqrt((slopes[0] ** 2).sum(1) + task.sigmas**2)
    lines, far = [], []
    for k, entry in enumerate(chart.entries):
        value, reach = float(seen.values[0, k]), INSIDE * float(spread[k])
        ends = [value, value - reach, value + reach]
        if task.probes[k].quantity in LOGARITHMIC:
            ends = [math.exp(min(end, MOST_LOG)) for end in ends]
        off = (float(task.values[k]) - value) / float(spread[k])
        bound = task.bounds is not None and bool(task.bounds[k])
        lines.append(ChartLine(entry, ends[0], ends[1], ends[2]))
        far.append(max(off, 0.0) if bound else off)
    return lines, far


def _law(stage: Stage, chart: Chart) -> tuple[Balance, ...]:
    """Nodes whose currents, by the chart's own volts, do not add up within its tolerance."""
    if chart.quantity != "volts":
        return ()
    loose = replace(chart.meter, accuracy=chart.tolerance, of_range=False, ohms_per_volt=None)
    shown = chart_readings(chart)
    entries = tuple(
        replace(r, meter=replace(loose, ohms=chart.meter.input_ohms(r.value)))
        for r in shown.entries
    )
    return ledger(stage, replace(shown, entries=entries)).balances


def chart_today(
    printed: Predictor, today: Explainer, readings: Readings
) -> tuple[ChartToday, ...]:
    """Each figure of the voltage charts that was read today too, scaled to today.

    printed: predicts the stage under the chart's conditions; today: explains the readings, in
    their order. The scale is that of a sound stage: what it shows today on the rails that were
    read, over what it shows on the chart's.
    """
    pairs = [
        (chart, entry, k)
        for chart in printed.stage.charts if chart.quantity == "volts"
        for entry in chart.entries
        for k, reading in enumerate(readings.entries)
        if reading.quantity is Quantity.VOLTS and not reading.meanwhile
        and (reading.node, reading.minus) == (entry.node, entry.minus)
    ]
    if not pairs:
        return ()
    now = [today.task.probes[k] for _, _, k in pairs]
    fed, scores = on_todays_rails(today, readings)
    every, spreads = fed.foresee([NO_FAULT], scores, np.array([0]), now)
    means, variances = every[0], spreads[0]
    then: list[Probe] = []
    for chart, entry, _ in pairs:
        shown = chart_readings(replace(chart, entries=(entry,)))
        then += task_of(shown, printed.stage).probes
    plain = printed.observe([SOUND], np.zeros((1, len(printed.axes))), [*then, *now])
    before = plain.values[0]
    loose = np.sqrt(((plain.slopes[0] * printed.sigmas) ** 2).sum(1))
    count = len(pairs)
    found = []
    for i, (chart, entry, k) in enumerate(pairs):
        on_chart, same_rail = float(before[i]), float(before[count + i])
        scaled = _scaled(entry.value, on_chart, float(means[i]))
        error = math.hypot(CHART_FLOOR, chart.meter.accuracy * abs(entry.value) / math.sqrt(3.0))
        sigma = math.sqrt(float(variances[i]) + float(today.task.sigmas[k]) ** 2 + error**2)
        through = _scaled(entry.value, on_chart, same_rail)
        meters = abs(through - entry.value) > 0.5 * abs(scaled - entry.value) and (
            abs(through - entry.value) > 0.02 * abs(entry.value) + CHART_FLOOR
        )
        wide = math.hypot(chart.tolerance * abs(entry.value) / math.sqrt(3.0), float(loose[i]))
        strays = abs(entry.value - on_chart) > INSIDE * math.hypot(wide, error)
        alone = math.hypot(math.sqrt(float(variances[i])), float(today.task.sigmas[k]))
        fits = abs(readings.entries[k].value - float(means[i])) <= INSIDE * alone
        found.append(ChartToday(
            entry, readings.entries[k], scaled, scaled - INSIDE * sigma, scaled + INSIDE * sigma,
            meters, strays and fits,
        ))
    return tuple(found)


def _scaled(figure: float, then: float, now: float) -> float:
    if abs(then) < SCALABLE or not math.isfinite(then) or then * figure <= 0.0:
        return figure + (now - then)
    return figure * now / then
