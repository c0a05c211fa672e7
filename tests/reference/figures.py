"""What a topic's check is made of, and how a figure's differences are told."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass
class Topic:
    """One topic with the library that it is held against."""

    name: str
    against: str
    inputs: Callable
    figures: Callable


@dataclass
class Figure:
    """The differences of one figure, and the bound on their largest (or on another quantile)."""

    name: str
    differences: np.ndarray
    bound: float
    quantile: float = 1.0

    def __post_init__(self):
        self.differences = np.abs(np.asarray(self.differences, dtype=float))

    def holds(self):
        # NaN is not at most the bound, and nothing compared is nothing shown.
        return self.differences.size > 0 and bool(np.quantile(self.differences, self.quantile) <= self.bound)

    def __str__(self):
        if self.differences.size == 0:
            return f"  FAILED  {self.name}: nothing was compared"
        p50, p95, largest = np.quantile(self.differences, [0.5, 0.95, 1.0])
        of = "largest" if self.quantile == 1.0 else f"p{self.quantile * 100:g}"
        verdict = "held  " if self.holds() else "FAILED"
        return (
            f"  {verdict}  {self.name}: p50 {p50:.1e}, p95 {p95:.1e}, largest {largest:.1e}"
            f" ({of} bound {self.bound:.1e}, n {self.differences.size:,})"
        )


def column(answers, *path):
    """One figure of all answers, by its path."""
    values = answers
    for step in path:
        values = [value[step] for value in values]
    return np.array(values, dtype=float)


def relative(ours, theirs):
    return np.asarray(ours) / np.asarray(theirs) - 1.0


def turn(ours_deg, theirs_deg):
    """Difference of two directions in degrees, the short way round."""
    return (np.asarray(ours_deg) - np.asarray(theirs_deg) + 180.0) % 360.0 - 180.0
