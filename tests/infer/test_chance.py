"""Small distributions against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from biaspredict.engine.solver import Floats
from biaspredict.infer.chance import chi2_tail, fast_cdf, mixture_quantiles


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 7, 12, 25, 31])
@pytest.mark.parametrize("value", [0.0, 0.3, 2.0, 9.7, 40.0, 300.0])
def test_chi_squared_tail(degrees: int, value: float) -> None:
    assert chi2_tail(value, degrees) == pytest.approx(stats.chi2.sf(value, degrees), rel=1e-8)


def test_chi_squared_tail_of_what_does_not_solve() -> None:
    assert chi2_tail(float("inf"), 3) == 0.0


def test_fast_normal_distribution() -> None:
    """Within the 1e-7 that the source promises."""
    z = np.linspace(-9, 9, 2001)
    assert np.abs(fast_cdf(z) - stats.norm.cdf(z)).max() < 1e-7


def exact(means: Floats, sigmas: Floats, shares: Floats, level: float) -> float:
    def over(x: float) -> float:
        return float((shares * stats.norm.cdf((x - means) / sigmas)).sum() - level)

    ends = (means - 9 * sigmas).min(), (means + 9 * sigmas).max()
    return float(optimize.brentq(over, *ends, xtol=1e-12))


def test_quantiles_of_mixtures() -> None:
    """Many at once, each of other size: narrow in wide ones, and apart with nothing between."""
    rng = np.random.default_rng(8)
    means = np.round(rng.normal(size=(40, 6)), 1)
    means[:10] *= 30.0
    sigmas = 10.0 ** rng.uniform(-3.0, 0.5, size=means.shape)
    shares = rng.dirichlet(np.full(6, 0.5), size=40)
    shares[shares < 1e-3] = 0.0
    shares[:, 4:][::3] = 0.0
    shares /= shares.sum(axis=1, keepdims=True)
    found = mixture_quantiles(means, sigmas, shares, np.array([0.05, 0.5, 0.95]))
    for k in range(len(means)):
        there = shares[k] > 0
        some = means[k][there], sigmas[k][there], shares[k][there]
        for level, value in zip((0.05, 0.5, 0.95), found[k], strict=True):
            below = float((some[2] * stats.norm.cdf((value - some[0]) / some[1])).sum())
            right = exact(*some, level)
            # where nothing lies between two of them any place between is the quantile
            assert value == pytest.approx(right, abs=1e-4 * some[1].min()) or (
                below == pytest.approx(level, abs=2e-7)
            )
