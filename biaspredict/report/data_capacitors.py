"""The record of `corners`."""

from __future__ import annotations

from biaspredict.predict.capacitors import Capacitors
from biaspredict.predict.corners import Corner, Corners, Figures
from biaspredict.predict.dryness import Cost, Drying, Dryness
from biaspredict.predict.leakage import Leak
from biaspredict.predict.settling import Settling
from biaspredict.report.data import Record, head


def corners_record(found: Capacitors) -> Record:
    """Sections not asked for or withheld are null; withheld says why."""
    return head("corners", found.stage) | {
        "bass": bass_record(found.corners) if found.corners else None,
        "dry": drying_record(found.drying) if found.drying else None,
        "leakage": (
            [leak_record(leak) for leak in found.leaks] if found.leaks is not None else None
        ),
        "waiting": settling_record(found.settling) if found.settling else None,
        "withheld": [
            {"section": name, "fact": why.fact, "remedy": why.remedy}
            for name, why in found.withheld.items()
        ],
    }


def bass_record(found: Corners) -> Record:
    path = found.path
    return {
        "from": path.start.node,
        "source_ohms": path.start.ohms,
        "to": path.end.node,
        "load_ohms": path.end.ohms,
        "capacitors": [corner_record(corner) for corner in found.corners],
        "stage": figures_record(found.figures),
    }


def corner_record(corner: Corner) -> Record:
    return {
        "part": corner.ref,
        "does": corner.duty.value,
        "farads": corner.farads,
        "beside": list(corner.beside),
        "end": "bass" if corner.bass else "treble",
        "crossed": corner.crossed,
        "sees_ohms": corner.ohms,
        "own_corner_hertz": corner.hertz,
        "share_of_sum": corner.share,
        "alone_decibels": corner.alone,
        "at_most_decibels": corner.most,
    }


def figures_record(figures: Figures) -> Record:
    return {
        "flat": figures.flat,
        "gain": figures.gain,
        "gain_over_input": figures.node_gain,
        "sum_of_own_corners_hertz": figures.sum_hertz,
        "three_decibels_down_hertz": figures.exact_hertz,
        "decibels_at_20_hertz": figures.loss,
        "degrees_ahead_at_20_hertz": figures.lead,
        "tilt": figures.tilt,
        "square_wave_hertz": figures.square_hertz,
        "why": list(figures.why),
    }


def drying_record(found: Drying) -> Record:
    return {
        "gain_at_20_hertz": found.gains[0],
        "gain_at_1000_hertz": found.gains[1],
        "rail": found.rail,
        "hum_per_volt": found.hum,
        "capacitors": [_dryness(dry) for dry in found.capacitors],
    }


def _dryness(dry: Dryness) -> Record:
    return {
        "part": dry.ref,
        "left": [{"share": share} | _cost(cost) for share, cost in dry.left],
        "resistive": [{"series_ohms": ohms} | _cost(cost) for ohms, cost in (dry.poor, dry.bad)],
    }


def _cost(cost: Cost) -> Record:
    return {
        "decibels_at_20_hertz": cost.low,
        "decibels_at_1000_hertz": cost.middle,
        "decibels_of_hum": cost.hum,
    }


def leak_record(leak: Leak) -> Record:
    return {
        "part": leak.ref,
        "volts": leak.volts,
        "stands_amps": leak.amps,
        "then_node": leak.node,
        "then_volts": leak.node_volts,
        "working_volts": leak.rated,
        "working_volts_printed": leak.printed,
        "new_at_most_amps": leak.limit,
        "old_practice_amps": leak.old_limit,
    }


def settling_record(found: Settling) -> Record:
    return {
        "nodes": [
            {"node": wait.node, "volts": wait.volts, "seconds": wait.seconds}
            for wait in found.waits
        ],
        "only_the_meter_discharges": [
            {
                "node": loose.node,
                "capacitors": list(loose.capacitors),
                "time_constant_seconds": loose.constant,
                "seconds": loose.seconds,
                "bridge_ohms": loose.bridge,
            }
            for loose in found.loose
        ],
        "time_constants_seconds": list(found.constants),
    }
