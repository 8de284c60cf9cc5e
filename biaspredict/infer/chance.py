"""Small distributions: the chi-squared tail and quantiles of a mixture of normals."""

from __future__ import annotations

import math

import numpy as np

from biaspredict.engine.solver import Floats

FINE = 1e-5  # share of the narrowest standard deviation to which a quantile is sought
LEAST = 1e-6  # share of a mixture below which a part of it is left out
ROUNDS = 60
FAR, TINY = 38.0, 1e-300  # standard deviations and densities that doubles still hold


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


def mixture_quantiles(means: Floats, sigmas: Floats, shares: Floats, levels: Floats) -> Floats:
    """Quantiles (S, L) of S mixtures of up to C normals (S, C); shares are 0 where there is none.

    By Newton's method in a bracket that halves where Newton does not.
    """
    there = shares > LEAST
    weights = np.where(there, shares, 0.0)
    weights /= weights.sum(axis=1, keepdims=True)
    ends = np.where(there, means - 6 * sigmas, np.inf), np.where(there, means + 6 * sigmas, -np.inf)
    low = np.repeat(ends[0].min(axis=1)[:, None], len(levels), axis=1)
    high = np.repeat(ends[1].max(axis=1)[:, None], len(levels), axis=1)
    fine = FINE * np.where(there, sigmas, np.inf).min(axis=1)
    found = 0.5 * (low + high)
    left, stepped = np.arange(len(means)), high - low
    for _ in range(ROUNDS):
        if not left.size:
            break
        at, spread = found[left], sigmas[left, None, :]
        z = (at[:, :, None] - means[left, None, :]) / spread
        bell = _bell(z)
        over = (_cdf(z, bell) * weights[left, None, :]).sum(axis=2) - levels
        density = (bell / spread * weights[left, None, :]).sum(axis=2)
        low[left] = np.where(over < 0.0, at, low[left])
        high[left] = np.where(over < 0.0, high[left], at)
        step = -over / np.maximum(density, TINY)
        astray = (at + step <= low[left]) | (at + step >= high[left])
        astray |= np.abs(step) > 0.5 * stepped[left]
        step = np.where(astray, 0.5 * (low[left] + high[left]) - at, step)
        found[left], stepped[left] = at + step, np.abs(step)
        left = left[np.abs(step).max(axis=1) > fine[left]]
    return np.asarray(found)


def fast_cdf(z: Floats) -> Floats:
    """Standard normal distribution function to 1e-7, vectorised.

    Abramowitz and Stegun 1964, 26.2.17.
    """
    return _cdf(z, _bell(z))


def _bell(z: Floats) -> Floats:
    """Standard normal density."""
    return np.asarray(np.exp(-0.5 * np.minimum(np.abs(z), FAR) ** 2) / math.sqrt(2.0 * math.pi))


def _cdf(z: Floats, bell: Floats) -> Floats:
    """The distribution function where the density is known."""
    t = 1.0 / (1.0 + 0.2316419 * np.abs(z))
    poly = t * (
        0.319381530
        + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429)))
    )
    tail = bell * poly
    return np.asarray(np.where(z >= 0, 1.0 - tail, tail))
