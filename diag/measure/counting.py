"""What a count can and cannot say: intervals, comparisons and sample sizes.

All shares are 0 to 1, all counts whole numbers. Wilson's score interval as given by the Rossman/Chance
applet page "CIformulas"; the exact interval is Clopper and Pearson's (from memory); Fisher's exact test
and the two-proportion sample size are textbook forms (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from diag.errors import MeasureError

_TINY = 1e-300


def normal_cdf(x: float) -> float:
    """Return the share of a standard normal below x."""
    return 0.5 * math.erfc(-x / math.sqrt(2))


def normal_ppf(share: float) -> float:
    """Return the standard normal value with this share below it, 0 < share < 1."""
    from statistics import NormalDist

    return NormalDist().inv_cdf(share)


def beta_cdf(x: float, a: float, b: float) -> float:
    """Return the regularised incomplete beta function I_x(a, b) for 0 <= x <= 1, a and b above 0."""
    if x <= 0 or x >= 1:
        return 0.0 if x <= 0 else 1.0
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    front = math.exp(log_front)
    if x < (a + 1) / (a + b + 2):
        return min(1.0, front * _beta_fraction(x, a, b) / a)
    return max(0.0, 1.0 - front * _beta_fraction(1 - x, b, a) / b)


def _beta_fraction(x: float, a: float, b: float) -> float:
    """Continued fraction of the incomplete beta function, evaluated by Lentz's method."""
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1)
    d = 1.0 / (d if abs(d) > _TINY else _TINY)
    h = d
    for m in range(1, 2000):
        for top in (m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
                    -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))):
            d = 1.0 + top * d
            d = 1.0 / (d if abs(d) > _TINY else _TINY)
            c = 1.0 + top / c
            c = c if abs(c) > _TINY else _TINY
            h *= c * d
        if abs(c * d - 1.0) < 1e-14:
            break
    return h


def chi2_sf(x: float, df: float) -> float:
    """Return the chance that chi-square with `df` degrees of freedom exceeds x."""
    a, x = df / 2, x / 2
    if x <= 0:
        return 1.0
    front = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1:
        term = total = 1 / a
        n = a
        while term > total * 1e-16:
            n += 1
            term *= x / n
            total += term
        return max(0.0, 1.0 - front * total)
    b, c, d = x + 1 - a, 1 / _TINY, 1 / (x + 1 - a)
    h = d
    for i in range(1, 5000):
        an = -i * (i - a)
        b += 2
        d = 1 / (an * d + b or _TINY)
        c = b + an / c or _TINY
        h *= c * d
        if abs(c * d - 1) < 1e-15:
            break
    return front * h


def _solve(function: Callable[[float], float], target: float, high: float) -> float:
    """Return where a rising function reaches the target, by halving; x is from 0 to `high`."""
    low = 0.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        low, high = (middle, high) if function(middle) < target else (low, middle)
    return 0.5 * (low + high)


def beta_ppf(share: float, a: float, b: float) -> float:
    """Return x with I_x(a, b) = share."""
    return _solve(lambda x: beta_cdf(x, a, b), share, 1.0)


def chi2_ppf(share: float, df: float) -> float:
    """Return x with `share` of chi-square below it."""
    return _solve(lambda x: 1 - chi2_sf(x, df), share, df + 20 * math.sqrt(2 * df) + 50)


def binomial_cdf(k: int, n: int, p: float) -> float:
    """Return the chance of at most k events among n when each has chance p."""
    if k < 0:
        return 0.0
    return 1.0 if k >= n else 1.0 - beta_cdf(p, k + 1, n - k)


def _checked(k: int, n: int) -> None:
    if n <= 0 or not 0 <= k <= n:
        raise MeasureError(f"{k} of {n} is not a share.", remedy="Count at most as many as were looked at.")


def wilson(k: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return Wilson's interval for k of n. Raises MeasureError when k is not within 0 to n, or n is 0."""
    _checked(k, n)
    z = normal_ppf(0.5 + confidence / 2)
    p, z2 = k / n, z * z
    centre = (p + z2 / (2 * n)) / (1 + z2 / n)
    half = z * math.sqrt(p * (1 - p) / n + z2 / (4 * n * n)) / (1 + z2 / n)
    return (0.0 if k == 0 else max(0.0, centre - half)), (1.0 if k == n else min(1.0, centre + half))


def exact_interval(k: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the exact (never too narrow) interval for k of n. Raises MeasureError as `wilson` does."""
    _checked(k, n)
    tail = (1 - confidence) / 2
    low = 0.0 if k == 0 else beta_ppf(tail, k, n - k + 1)
    return low, 1.0 if k == n else beta_ppf(1 - tail, k + 1, n - k)


def share_error(k: int, n: int) -> float:
    """Return a standard error of k/n that does not vanish at 0 and n (one event added on both sides)."""
    _checked(k, n)
    p = (k + 1) / (n + 2)
    return math.sqrt(p * (1 - p) / n)


def needed_for_wilson_margin(p: float, margin: float, confidence: float = 0.95) -> int:
    """Return the smallest n whose Wilson half-width at share p is at most `margin`."""
    z = normal_ppf(0.5 + confidence / 2)

    def half(n: float) -> float:
        return z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / (1 + z * z / n)

    low, high = 1, 2
    while half(high) > margin:
        low, high = high, high * 2
    while low < high:
        middle = (low + high) // 2
        low, high = (middle + 1, high) if half(middle) > margin else (low, middle)
    return low


def needed_to_tell(p1: float, p2: float, power: float = 0.8, confidence: float = 0.95) -> int:
    """Return how many per sample it takes to tell share p1 from share p2. Raises MeasureError when equal."""
    if p1 == p2:
        raise MeasureError("Equal shares cannot be told apart.", remedy="Give two different shares.")
    za, zb = normal_ppf(0.5 + confidence / 2), normal_ppf(power)
    mean = (p1 + p2) / 2
    spread = za * math.sqrt(2 * mean * (1 - mean)) + zb * math.sqrt(p1 * (1 - p1) + p2 * (1 - p2))
    return math.ceil((spread / (p1 - p2)) ** 2)


def difference(k1: int, n1: int, k2: int, n2: int) -> tuple[float, float]:
    """Return k1/n1 - k2/n2 and its standard error. Raises MeasureError."""
    error = math.hypot(share_error(k1, n1), share_error(k2, n2))
    return k1 / n1 - k2 / n2, error


def fisher(k1: int, n1: int, k2: int, n2: int) -> float:
    """Return the two-sided chance of so unlike counts when both shares are equal (Fisher's exact test).

    Above 20,000 events together the normal form is used. Raises MeasureError.
    """
    _checked(k1, n1)
    _checked(k2, n2)
    k = k1 + k2
    if min(k, n1 + n2 - k) > 20_000:
        return two_proportion(k1, n1, k2, n2)

    def log_weight(i: int) -> float:
        return _log_choose(n1, i) + _log_choose(n2, k - i)

    first, last = max(0, k - n2), min(k, n1)
    weights = [log_weight(i) for i in range(first, last + 1)]
    top, seen = max(weights), weights[k1 - first]
    total = math.fsum(math.exp(w - top) for w in weights)
    return min(1.0, math.fsum(math.exp(w - top) for w in weights if w <= seen + 1e-7) / total)


def _log_choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def two_proportion(k1: int, n1: int, k2: int, n2: int) -> float:
    """Return the two-sided chance of so unlike counts by the pooled normal test."""
    pooled = (k1 + k2) / (n1 + n2)
    error = math.sqrt(pooled * (1 - pooled) * (1 / n1 + 1 / n2))
    return 1.0 if error == 0 else 2 * normal_cdf(-abs(k1 / n1 - k2 / n2) / error)


def poisson_interval(k: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the exact interval for the mean of a count k."""
    tail = (1 - confidence) / 2
    low = 0.0 if k == 0 else chi2_ppf(tail, 2 * k) / 2
    return low, chi2_ppf(1 - tail, 2 * k + 2) / 2


def sd_factors(n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the factors that turn a standard deviation from n values into its interval."""
    if n < 2:
        raise MeasureError("A spread needs at least two values.", remedy="Measure more.")
    tail = (1 - confidence) / 2
    return math.sqrt((n - 1) / chi2_ppf(1 - tail, n - 1)), math.sqrt((n - 1) / chi2_ppf(tail, n - 1))


def of_many(chance: float, looked_at: int) -> float:
    """Return the chance that the most striking of `looked_at` equal rows is at least so striking (Sidak)."""
    return -math.expm1(looked_at * math.log1p(-min(chance, 1 - 1e-16)))


def holm(chances: Sequence[float], risk: float = 0.05) -> list[bool]:
    """Return which of several tests stand when all together may be wrong with chance `risk` (Holm)."""
    order = sorted(range(len(chances)), key=lambda i: (chances[i], i))
    stand = [False] * len(chances)
    for rank, i in enumerate(order):
        if chances[i] > risk / (len(chances) - rank):
            break
        stand[i] = True
    return stand
