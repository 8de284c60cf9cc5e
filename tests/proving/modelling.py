"""How far simple transistors are from richer ones: `python -m tests.proving.modelling`.

The tool computes with ideal junctions, one gain and one Early voltage, all at one temperature.
Here the same stage is solved twice by the truth's own route: with such devices, and with rich ones
that agree with them in gain, V_BE and leakage at the rated current but have terminal ohms, falling
gain, soft diodes and their own heat. What differs is the model's error, not a spread of parts.
With `--faulted` each is solved once more with a drawn fault: how much further the two part, by how
far the fault moves the node.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from biaspredict.model.devices import Bipolar, Diode
from biaspredict.model.stage import GROUND, Stage

from . import adapter, devices
from .draws import Draws
from .faults import apply
from .lots import single
from .specimen import Specimen
from .spice import Runner
from .study import drawn_circuits
from .truth import draw_specimen, solve

SPECIMENS = 40
COOL = 25.0
FAULTED = 60
FAR = 0.3  # volts
SHARE = 0.003  # of the volts, beside the fixed part


def simple(specimen: Specimen) -> Specimen:
    """Ideal devices all at the ambient temperature: what the tool supposes."""
    plain = {"ise": 0.0, "ikf": 1e6, "ikr": 1e6, "var": 1e6, "own_heat": 0.0, "icbo_ohmic": 0.0}
    plain |= {"rb": 1e-3, "re": 1e-3, "rc": 1e-3, "icbo_ideality": 2.0, "kelvin_per_watt": 0.0}
    for ref, body in specimen.bodies.items():
        device = body.part.device
        if isinstance(device, Bipolar):
            sat = device.vbe_amps / math.expm1(device.vbe / devices.VT25)
            changes = {**plain, "is": sat, "bf": device.gain.middle, "vaf": device.early or 1e6}
            specimen = specimen.but(ref, **changes)
        elif isinstance(device, Diode):
            sat = device.drop_amps / math.expm1(device.drop / devices.VT25)
            ideal = {"is": sat, "n": 1.0, "rs": 1e-3, "own_heat": 0.0}
            specimen = specimen.but(ref, **ideal)
    return replace(specimen, ambient=COOL)


def rich(specimen: Specimen, draw: Draws) -> Specimen:
    """The same gains, volts and leakages at the rated currents; the rest drawn."""
    for ref, body in specimen.bodies.items():
        device = body.part.device
        if isinstance(device, Bipolar):
            values = devices.draw_bipolar(device, draw, Draws())
            specimen = specimen.with_body(ref, replace(body, values=values))
        elif isinstance(device, Diode):
            values = devices.draw_diode(device, draw, Draws())
            specimen = specimen.with_body(ref, replace(body, values=values))
    return replace(specimen, ambient=COOL)


def errors(runner: Runner, stage: Stage, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Volts of the simple stage (nodes,), and how far each rich one is off (specimens, nodes)."""
    middle = draw_specimen(stage, None)
    draw = Draws(np.random.default_rng(seed))
    every = [simple(middle), *(rich(middle, draw) for _ in range(SPECIMENS))]
    nodes = [n for n in stage.nodes if n != GROUND]
    rows = [[s.volts[n] for n in nodes] for s in solve(runner, every) if s is not None]
    volts = np.array(rows)
    return volts[0], volts[1:] - volts[0]


def _line(name: str, volts: np.ndarray, off: np.ndarray) -> str:
    size = np.abs(off)
    fixed = np.sqrt(np.maximum(off**2 - (SHARE * volts) ** 2, 0.0))
    figures = (np.median(size), np.percentile(size, 95), np.sqrt((fixed**2).mean()))
    half, most, rest = (1e3 * float(x) for x in figures)
    return f"  {name:<30}{half:8.1f}{most:9.1f}{rest:16.1f}"


def report(names: Sequence[str] = ()) -> str:
    """A line a circuit: median and 95 % point of the difference, and its size beside SHARE."""
    lines = [
        f"{SPECIMENS} rich specimens a circuit; millivolts",
        f"  {'circuit':<30}{'median':>8}{'95 %':>9}{f'rms over {SHARE:.1%}':>16}",
    ]
    with Runner() as runner:
        for path in drawn_circuits():
            if names and path.stem not in names:
                continue
            stage = adapter.load(path)
            if stage.rails:
                lines.append(_line(path.stem, *errors(runner, stage, 1)))
    return "\n".join(lines)


def parted(runner: Runner, stage: Stage, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Volts (M,) by which a fault moves a node of the simple stage, and volts (M,) by which the
    rich stage is off there beyond what it was off without the fault."""
    middle = draw_specimen(stage, None)
    draw, choose = Draws(np.random.default_rng(seed)), Draws(np.random.default_rng(seed + 1))
    nodes = [n for n in stage.nodes if n != GROUND]
    usual = next(iter(solve(runner, [simple(middle)])))
    if usual is None:
        return np.empty(0), np.empty(0)
    moved, off = [], []
    for _ in range(FAULTED):
        fault = single(stage, usual.volts, choose)[0]
        both = [simple(middle), rich(middle, draw)]
        solved = solve(runner, [*both, *(apply(s, fault) for s in both)])
        if any(s is None for s in solved):
            continue
        rows = np.array([[s.volts[n] for n in nodes] for s in solved if s is not None])
        moved.append(np.abs(rows[2] - rows[0]))
        off.append(np.abs((rows[3] - rows[2]) - (rows[1] - rows[0])))
    return np.concatenate(moved), np.concatenate(off)


def report_faulted(names: Sequence[str] = ()) -> str:
    """A line a circuit: of nodes moved by more than FAR, the error as a share of the move."""
    lines = [
        f"{FAULTED} single faults a circuit; nodes moved by more than {FAR} V:",
        f"  {'further error over the move':<30}{'nodes':>8}{'median':>9}{'68 %':>9}{'90 %':>9}",
    ]
    every: list[np.ndarray] = []
    with Runner() as runner:
        for path in drawn_circuits():
            stage = adapter.load(path)
            if not stage.rails or (names and path.stem not in names):
                continue
            moved, off = parted(runner, stage, 1)
            far = (moved > FAR) & np.isfinite(off)
            share = off[far] / moved[far]
            every.append(share)
            lines.append(_line_of_shares(path.stem, share))
    return "\n".join((*lines, _line_of_shares("all", np.concatenate(every))))


def _line_of_shares(name: str, share: np.ndarray) -> str:
    if not share.size:
        return f"  {name:<30}{0:8}"
    figures = "".join(f"{np.percentile(share, point):9.2%}" for point in (50, 68, 90))
    return f"  {name:<30}{share.size:8}{figures}"


if __name__ == "__main__":
    print(report_faulted() if "--faulted" in sys.argv[1:] else report())
