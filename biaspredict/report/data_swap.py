"""The record of `swap`."""

from __future__ import annotations

from biaspredict.model.parts import Part
from biaspredict.predict.swap import CURVE, MARKS, Side, Swap, changed_value, new_strain
from biaspredict.predict.turn_on import TurnOn
from biaspredict.predict.verdict_of_swap import dangerous, verdict
from biaspredict.report.data import Record, finding_record, head
from biaspredict.report.data_capacitors import corner_record, figures_record


def swap_record(swap: Swap) -> Record:
    """The whole comparison; signal figures are null where `withheld` says why."""
    return head("swap", swap.before.stage) | {
        "changes": [_change(swap, before, after) for before, after in swap.parts],
        "matched": [
            {"part": m.ref, "asked": m.asked, "taken": m.taken, "series": m.series}
            for m in swap.matched
        ],
        "verdict": verdict(swap),
        "dangerous": dangerous(swap),
        "new_findings": [finding_record(finding) for finding in new_strain(swap)],
        "out_of_band": list(swap.moved),
        "before": side_record(swap.before),
        "after": side_record(swap.after),
    }


def _change(swap: Swap, before: Part, after: Part) -> Record:
    return {
        "part": before.ref,
        "before": {"words": changed_value(before), "value": before.now, "volts": before.volts},
        "after": {"words": changed_value(after), "value": after.now, "volts": after.volts},
        "ask_for_volts": swap.buy.get(before.ref),
    }


def side_record(side: Side) -> Record:
    corners, gains, curve = side.corners, side.gains, side.curve
    return {
        "nodes": dict(side.volts),
        "watts": dict(side.watts),
        "capacitor_volts": {
            ref: {"across": volts, "rated": side.stage.part(ref).volts}
            for ref, volts in side.across.items()
        },
        "ripple": dict(side.ripple),
        "withheld": side.withheld,
        "capacitors": [corner_record(c) for c in corners.corners] if corners else None,
        "stage": figures_record(corners.figures) if corners else None,
        "gain_decibels": (
            [{"hertz": f, "decibels": g} for f, g in zip(MARKS, gains, strict=True)]
            if gains else None
        ),
        "curve": (
            {"hertz": CURVE.tolist(), "decibels": curve.tolist()} if curve is not None else None
        ),
        "turn_on": _turn_on(side.turn_on) if side.turn_on else None,
        "no_turn_on": side.no_turn_on,
    }


def _turn_on(found: TurnOn) -> Record:
    return {
        "seconds": dict(found.seconds),
        "thump_volts": dict(found.thumps),
        "run_seconds": found.span,
    }
