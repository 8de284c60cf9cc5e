"""Random numbers for the truth, with a quiet twin that always gives the middle."""

from __future__ import annotations

import math

import numpy as np


class Draws:
    """Draws of the few laws the truth uses; without a generator each gives its middle."""

    def __init__(self, rng: np.random.Generator | None = None) -> None:
        self.rng = rng

    def normal(self, sigma: float) -> float:
        return 0.0 if self.rng is None else float(self.rng.normal(0.0, sigma))

    def uniform(self, low: float, high: float) -> float:
        return (low + high) / 2 if self.rng is None else float(self.rng.uniform(low, high))

    def log(self, low: float, high: float) -> float:
        """Log-uniform between two positive limits."""
        return math.exp(self.uniform(math.log(low), math.log(high)))

    def spread(self, middle: float, sigma: float) -> float:
        """Log-normal about a positive middle."""
        return middle * math.exp(self.normal(sigma))

    def inside(self, low: float, high: float) -> float:
        """Log-normal whose central 95 % lies between two positive limits."""
        return self.spread(math.sqrt(low * high), math.log(high / low) / (2 * 1.96))

    def chance(self, share: float) -> bool:
        return False if self.rng is None else bool(self.rng.random() < share)
