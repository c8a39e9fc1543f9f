"""What a number of trials lets one say: bounds on a chance, percentiles with bounds, rank correlation.

Sources: Clopper and Pearson, Biometrika 26 (1934), exact bounds of a binomial chance, here by the incomplete beta function
(continued fraction: Numerical Recipes, section "Incomplete Beta Function", from memory); order statistics (textbook);
Spearman's rank correlation with mean ranks for ties (textbook).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Chance:
    """`count` of `runs`, with the exact bounds of its chance at a confidence (two-sided)."""

    count: int
    runs: int
    low: float
    high: float
    confidence: float

    @property
    def share(self) -> float:
        return self.count / self.runs if self.runs else math.nan


def beta_share(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function I_x(a, b), 0 <= x <= 1."""
    if x <= 0.0 or x >= 1.0:
        return 0.0 if x <= 0.0 else 1.0
    front = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x))
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _fraction(a, b, x) / a
    return 1.0 - front * _fraction(b, a, 1.0 - x) / b


def _fraction(a: float, b: float, x: float) -> float:
    """The continued fraction of the incomplete beta function."""
    tiny = 1e-300
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1.0)
    d = 1.0 / (d if abs(d) > tiny else tiny)
    h = d
    for m in range(1, 10_000):
        for step in (m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)), -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))):
            d = 1.0 + step * d
            c = 1.0 + step / c
            d = 1.0 / (d if abs(d) > tiny else tiny)
            c = c if abs(c) > tiny else tiny
            h *= d * c
        if abs(d * c - 1.0) < 1e-15:
            break
    return h


def beta_inverse(share: float, a: float, b: float) -> float:
    """x with I_x(a, b) = share, by bisection."""
    low, high = 0.0, 1.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        low, high = (middle, high) if beta_share(a, b, middle) < share else (low, middle)
    return 0.5 * (low + high)


def chance(count: int, runs: int, confidence: float = 0.95) -> Chance:
    """Clopper-Pearson bounds of a chance seen `count` times in `runs`. Without runs: 0 to 1."""
    if runs == 0:
        return Chance(0, 0, 0.0, 1.0, confidence)
    outside = 0.5 * (1.0 - confidence)
    low = 0.0 if count == 0 else beta_inverse(outside, count, runs - count + 1)
    high = 1.0 if count == runs else beta_inverse(1.0 - outside, count + 1, runs - count)
    return Chance(count, runs, low, high, confidence)


@dataclass(frozen=True)
class Percentile:
    """A percentile of the trials, and bounds of the true one at a confidence; a bound the trials cannot give is None."""

    share: float
    value: float
    low: float | None
    high: float | None


def percentile(sorted_values: Floats, share: float, confidence: float = 0.95) -> Percentile:
    """One percentile of sorted values. Bounds by order statistics: the number of trials below the true percentile is
    binomial, whatever the distribution."""
    n = sorted_values.size
    value = float(np.interp(share * (n - 1), np.arange(n), sorted_values))
    outside = 0.5 * (1.0 - confidence)
    below = _binomial_quantile(n, share, outside)
    above = _binomial_quantile(n, share, 1.0 - outside)
    low = float(sorted_values[below - 1]) if below >= 1 else None
    high = float(sorted_values[above]) if above < n else None
    return Percentile(share, value, low, high)


def _binomial_quantile(n: int, p: float, share: float) -> int:
    """Smallest k with P(X <= k) >= share for X binomial (n, p); P(X <= k) = I_(1-p)(n-k, k+1)."""
    low, high = 0, n
    while low < high:
        k = (low + high) // 2
        if k >= n or beta_share(n - k, k + 1, 1.0 - p) >= share:
            high = k
        else:
            low = k + 1
    return low


def ranks(values: Floats) -> Floats:
    """Ranks from 1, equal values sharing their mean rank."""
    order = np.argsort(values, kind="stable")
    ordered = values[order]
    first = np.concatenate([[True], ordered[1:] != ordered[:-1]])
    group = np.cumsum(first) - 1
    starts = np.flatnonzero(first)
    ends = np.append(starts[1:], values.size)
    found = np.empty(values.size)
    found[order] = (0.5 * (starts + ends - 1) + 1.0)[group]
    return found


def rank_correlation(a: Floats, b: Floats) -> float:
    """Spearman's rho, -1 to 1; 0 where one of them does not vary."""
    x, y = ranks(a), ranks(b)
    x, y = x - x.mean(), y - y.mean()
    scale = math.sqrt(float(x @ x) * float(y @ y))
    return float(x @ y) / scale if scale > 0.0 else 0.0
