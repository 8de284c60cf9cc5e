"""A part that draws more than a fuse bears is met with the fuse blown: both are to be renewed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import groupby

import numpy as np

from biaspredict.infer.faults import Fault, catalogue, severities
from biaspredict.infer.priors import Priors
from biaspredict.infer.supposition import Supposed
from biaspredict.model.circuit import CLOSED, OPEN, Variation
from biaspredict.model.parts import Kind, Part
from biaspredict.model.stage import GROUND
from biaspredict.predict.observe import Predictor

BLOWS = 2.1  # times its rating at which a fuse link melts for certain (IEC 60127-2, from memory)
FIRST = 0.8  # of those overloaded, fuses this near to the most overloaded go with it


@lru_cache(maxsize=4)
def known_faults(predictor: Predictor, priors: Priors) -> tuple[Fault, ...]:
    """The catalogue of the predictor's stage, each fault with the fuses that it blows."""
    return with_fuses(predictor, catalogue(predictor.stage, priors))


def as_met(predictor: Predictor, supposed: Supposed) -> Supposed:
    """What is supposed with the fuses that it blows at its degree."""
    fuses = _rated(predictor)
    if not fuses or not _may_blow(supposed.fault, fuses):
        return supposed
    (refs,) = _blown(predictor, fuses, [supposed.variation])
    return replace(supposed, fault=_having_blown(supposed.fault, refs))


def with_fuses(predictor: Predictor, faults: Sequence[Fault]) -> tuple[Fault, ...]:
    """The same faults; one that blows a fuse at some degrees stands in two, with it and without."""
    fuses = _rated(predictor)
    if not fuses:
        return tuple(faults)
    asked = [fault for fault in faults if _may_blow(fault, fuses)]
    cells = [(fault, severity) for fault in asked for severity in severities(fault)]
    blown = iter(_blown(predictor, fuses, [fault.act(severity) for fault, severity in cells]))
    found: list[Fault] = []
    may = set(map(id, asked))
    for fault in faults:
        if id(fault) not in may:
            found.append(fault)
            continue
        found += _split(fault, [next(blown) for _ in severities(fault)])
    return tuple(found)


def _rated(predictor: Predictor) -> list[Part]:
    return [p for p in predictor.stage.parts if p.kind is Kind.FUSE and p.amps is not None]


def _may_blow(fault: Fault, fuses: Sequence[Part]) -> bool:
    return not fault.silent and fault.part.split(".")[0] not in {fuse.ref for fuse in fuses}


def _blown(
    predictor: Predictor, fuses: Sequence[Part], variations: Sequence[Variation]
) -> list[tuple[str, ...]]:
    """The fuses that do not bear each variation, one after the other as they melt."""
    refs = np.array([fuse.ref for fuse in fuses])
    gone = np.zeros((len(variations), len(fuses)), dtype=bool)
    where = {GROUND: -1} | {node: i for i, node in enumerate(predictor.circuit.nodes)}
    rating = np.array([fuse.amps for fuse in fuses], dtype=float)
    ohms = np.array([max(fuse.now or 0.0, CLOSED) for fuse in fuses])
    first, second = (np.array([where[fuse.nodes[k]] for fuse in fuses]) for k in (0, 1))
    rows = np.arange(len(variations))
    for _ in fuses:
        now = [variations[i].plus(_open(refs[gone[i]])) for i in rows.tolist()]
        volts = predictor.middle(now)[:, : len(predictor.circuit.nodes)]
        volts = np.concatenate([volts, np.zeros((len(rows), 1))], axis=1)
        load = np.nan_to_num(np.abs(volts[:, first] - volts[:, second]) / ohms) / rating / BLOWS
        load[gone[rows]] = 0.0
        melts = (load > 1.0) & (load >= FIRST * load.max(axis=1, keepdims=True))
        gone[rows] |= melts
        rows = rows[melts.any(axis=1)]
        if not rows.size:
            break
    return [tuple(sorted(refs[row].tolist())) for row in gone]


def _open(refs: Iterable[str]) -> Variation:
    return Variation(settings=tuple((f"{ref}.ohms", OPEN) for ref in refs))


def _split(fault: Fault, blown: Sequence[tuple[str, ...]]) -> Iterator[Fault]:
    """A fault in stretches of degrees that blow the same fuses."""
    at, many = 0, len(blown)
    for refs, run in groupby(blown):
        count = len(list(run))
        stretch = fault
        if fault.least is not None and fault.most is not None and count < many:
            ratio = fault.most / fault.least
            stretch = replace(
                fault, least=fault.least * ratio ** (at / many),
                most=fault.least * ratio ** ((at + count) / many),
                chance=fault.chance * count / many,
            )
        at += count
        yield _having_blown(stretch, refs)


def _having_blown(fault: Fault, refs: tuple[str, ...]) -> Fault:
    if not refs:
        return fault
    words = f"{fault.words}, and has blown {' and '.join(refs)}"
    return replace(fault, words=words, act=_with(fault.act, _open(refs)), blown=refs)


def _with(act: Callable[[float], Variation], more: Variation) -> Callable[[float], Variation]:
    return lambda severity: act(severity).plus(more)
