"""The records of `lesson`."""

from __future__ import annotations

from collections.abc import Sequence

from biaspredict.infer.supposition import Outcome, Side
from biaspredict.model.parts import Kind
from biaspredict.model.stage import GROUND, Stage
from biaspredict.predict.hand.beside import Beside
from biaspredict.predict.hand.records import Borrowed, Guess
from biaspredict.predict.hand.signal import SignalByHand
from biaspredict.predict.lesson import SHORT_CUTS, Lesson, Line
from biaspredict.predict.load_line import LoadLine
from biaspredict.predict.sway import STEP, WARMER, Steady
from biaspredict.quantities import Unit
from biaspredict.report.data import Record, head

UNITS = {Unit.VOLT: "V", Unit.AMPERE: "A", Unit.RATIO: "ratio"}


def lesson_record(found: Lesson) -> Record:
    """Steps by hand beside the solved stage, and what follows from it."""
    return head("lesson", found.stage) | {
        "counts": {
            "own_base_current": found.reckoning.own,
            "base_current_of_what_follows": found.reckoning.following,
            "collector_and_emitter_apart": found.reckoning.difference,
        },
        "lines": [line_record(line) for line in found.lines],
        "left_out": list(found.asleep),
        "nodes": [
            {
                "node": cut.node,
                "hand": cut.hand,
                "solved": cut.solved,
                "short_cuts": {
                    name: volts for (name, _), volts in zip(SHORT_CUTS, cut.short, strict=True)
                },
            }
            for cut in found.nodes
        ],
        "load_lines": [load_record(line) for line in found.loads],
        "parts": [{"part": p.ref, "for": p.words} for p in found.purposes],
        "sets": {
            "up_by": STEP,
            "nodes": [
                {"node": s.node, "moves": [{"by": p.name, "volts": p.volts} for p in s.pulls]}
                for s in found.sways
            ],
        },
        "steady": {"warmer_by": WARMER, "transistors": [steady_record(s) for s in found.steady]},
        "signal": signal_record(found.signal) if found.signal is not None else None,
        "no_signal": found.withheld,
    }


def line_record(line: Line) -> Record:
    if isinstance(line, Guess):
        return {
            "kind": "guess", "node": line.node, "volts": line.volts, "about": line.about,
            "unit": UNITS[line.unit], "wanted": line.wanted,
            "tries": [{"volts": v, "one": a, "other": b} for v, a, b in line.tries],
        }
    if isinstance(line, Borrowed):
        return {"kind": "borrowed", "node": line.node, "volts": line.volts}
    return step_record(line)


def step_record(line: Beside) -> Record:
    step = line.step
    return {
        "kind": "step",
        "about": step.about,
        "title": step.title,
        "sum": step.sum,
        "quantity": step.key.what.value,
        "of": step.key.name,
        "unit": UNITS[step.key.unit],
        "hand": step.hand,
        "solved": line.solved,
        "agrees": line.agrees,
        "bettered_later": step.rough,
        "notes": list(step.notes),
        "because": [
            {
                "quantity": c.key.what.value, "of": c.key.name, "taken": c.taken,
                "solved": c.solved, "effect": c.effect,
            }
            for c in line.causes
        ],
    }


def load_record(line: LoadLine) -> Record:
    return {
        "part": line.ref, "open_volts": line.open_volts, "ohms": line.ohms, "v_ce": line.vce,
        "amps": line.amps, "saturated_volts": line.left,
    }


def steady_record(one: Steady) -> Record:
    names = ("as_it_is", "least_gain", "most_gain", "warmer")
    return {
        "part": one.ref,
        "gain": list(one.gains),
        "amps": dict(zip(names, one.amps, strict=True)),
        "volts_across": dict(zip(names, one.vce, strict=True)),
    }


def signal_record(way: SignalByHand) -> Record:
    return {
        "transistors": [
            {
                "part": s.ref, "amps": s.amps, "own_ohms": s.inner,
                "emitter_ohms": s.own.ohms if s.own is not None else None,
                "load_ohms": s.load.ohms, "follows": s.follows, "reaches_it": s.share,
                "gain": s.gain,
            }
            for s in way.strides
        ],
        "gain": {"hand": way.gain, "solved": way.solved_gain},
        "input_ohms": {"hand": way.input_ohms, "solved": way.solved_input_ohms},
        "output_ohms": way.output_ohms,
        "brings_back": list(way.feedback),
    }


def what_if_record(stage: Stage, found: Sequence[Outcome]) -> Record:
    return head("what-if", stage) | {"answers": [supposed_record(one) for one in found]}


def supposed_record(found: Outcome) -> Record:
    """The answer to one what-if; `then` is null where no operating point was found."""
    fault = found.supposed.fault
    return {
        "part": fault.part,
        "fault": fault.mode,
        "words": fault.words,
        "degree": found.supposed.severity if fault.graded else None,
        "unit": fault.unit if fault.graded else None,
        "sound": _side(found.stage, found.before),
        "then": _side(found.stage, found.after) if found.after is not None else None,
        "moved": list(found.moved),
    }


def _side(stage: Stage, side: Side) -> Record:
    return {
        "nodes": {node: side.volts[node] for node in stage.nodes if node != GROUND},
        "transistors": {
            ref: {"region": s.region.value, "amps": s.ic}
            for ref, s in side.states.items()
            if stage.part(ref).kind in (Kind.TRANSISTOR, Kind.FET)
        },
    }
