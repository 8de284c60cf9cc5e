"""Small distributions: the chi-squared tail and quantiles of a mixture of normals."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from biaspredict.engine.solver import Floats

FINE = 1e-5  # share of the narrowest standard deviation to which a quantile is sought


def chi2_tail(value: float, degrees: int) -> float:
    """P(chi-squared with `degrees` degrees of freedom exceeds `value`).

    Regularised upper incomplete gamma function Q(degrees/2, value/2), by its finite series
    (Abramowitz and Stegun 1964, 26.4.4 and 26.4.5).
    """
    if not math.isfinite(value):
        return 0.0
    if value <= 0 or degrees <= 0:
        return 1.0
    half = value / 2.0
    if degrees % 2 == 0:
        term, total = 1.0, 1.0
        for k in range(1, degrees // 2):
            term *= half / k
            total += term
        return math.exp(-half) * total if half < 700 else 0.0
    total = math.erfc(math.sqrt(half))
    if half > 700:
        return 0.0
    term = math.sqrt(half) * math.exp(-half) / math.gamma(1.5)
    for k in range(1, (degrees + 1) // 2):
        total += term
        term *= half / (k + 0.5)
    return min(total, 1.0)


def normal_mixture_range(
    means: Floats, sigmas: Floats, shares: Floats, levels: Sequence[float]
) -> tuple[float, ...]:
    """Quantiles of a mixture of normals by bisection on its distribution function."""
    keep = shares > 1e-6
    means, sigmas, shares = means[keep], sigmas[keep], shares[keep] / shares[keep].sum()
    wanted = np.array(levels, dtype=float)
    low = np.full(len(wanted), (means - 6 * sigmas).min())
    high = np.full(len(wanted), (means + 6 * sigmas).max())
    for _ in range(60):
        if (high - low).max(initial=0.0) <= FINE * sigmas.min():
            break
        middle = 0.5 * (low + high)
        below = fast_cdf((middle[:, None] - means) / sigmas) @ shares < wanted
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return tuple((0.5 * (low + high)).tolist())


def fast_cdf(z: Floats) -> Floats:
    """Standard normal distribution function to 1e-7, vectorised.

    Abramowitz and Stegun 1964, 26.2.17.
    """
    size = np.abs(z)
    t = 1.0 / (1.0 + 0.2316419 * size)
    poly = t * (
        0.319381530
        + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429)))
    )
    tail = np.exp(-0.5 * np.minimum(size, 38.0) ** 2) / math.sqrt(2.0 * math.pi) * poly
    return np.asarray(np.where(z >= 0, 1.0 - tail, tail))
