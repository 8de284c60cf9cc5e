"""Small distributions against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from biaspredict.infer.chance import chi2_tail, fast_cdf, normal_mixture_range


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


def test_quantiles_of_a_mixture() -> None:
    means, sigmas = np.array([0.0, 3.0]), np.array([1.0, 0.2])
    shares = np.array([0.7, 0.3])
    found = normal_mixture_range(means, sigmas, shares, (0.05, 0.5, 0.95))
    for level, value in zip((0.05, 0.5, 0.95), found, strict=True):
        exact = optimize.brentq(
            lambda x, level=level: float(
                (shares * stats.norm.cdf((x - means) / sigmas)).sum() - level
            ), -6, 6,
        )
        assert value == pytest.approx(exact, abs=1e-4)
