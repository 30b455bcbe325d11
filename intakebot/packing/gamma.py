"""Quantiles of the gamma distribution, in plain Python.

The regularised incomplete gamma function P(a, x) by its power series below a + 1 and by the continued fraction
(modified Lentz) above; the quantile by bisection. Source: Abramowitz and Stegun 6.5.29 and 6.5.31.
"""

from __future__ import annotations

import math

_TINY = 1e-300
_STEPS = 10_000


def gamma_cdf(x: float, shape: float, scale: float = 1.0) -> float:
    """P(X <= x) for a gamma variable with this shape and scale, both above 0."""
    if shape <= 0 or scale <= 0:
        raise ValueError(f"shape {shape} and scale {scale} must be above 0")
    if x <= 0:
        return 0.0
    z = x / scale
    front = math.exp(-z + shape * math.log(z) - math.lgamma(shape))
    return front * _series(shape, z) if z < shape + 1 else 1.0 - front * _fraction(shape, z)


def gamma_quantile(chance: float, mean: float, variance: float) -> float:
    """x with P(X <= x) = chance, for the gamma variable with this mean and variance (variance 0: the mean itself).

    Raises: ValueError for a chance outside (0, 1), a mean not above 0 or a negative variance.
    """
    if not (0 < chance < 1 and mean > 0 and variance >= 0):
        raise ValueError(f"chance {chance}, mean {mean}, variance {variance} are not a gamma quantile")
    if variance <= 1e-12 * mean**2:
        return mean
    shape, scale = mean**2 / variance, variance / mean
    low, high = 0.0, mean
    while gamma_cdf(high, shape, scale) < chance:
        high *= 2
    for _ in range(200):
        middle = (low + high) / 2
        if gamma_cdf(middle, shape, scale) < chance:
            low = middle
        else:
            high = middle
    return high


def _series(shape: float, z: float) -> float:
    term = total = 1.0 / shape
    for step in range(1, _STEPS):
        term *= z / (shape + step)
        total += term
        if term < total * 1e-16:
            break
    return total


def _fraction(shape: float, z: float) -> float:
    b = z + 1 - shape
    c, d = 1 / _TINY, 1 / b
    value = d
    for step in range(1, _STEPS):
        a = -step * (step - shape)
        b += 2
        d = a * d + b
        d = 1 / (d if abs(d) > _TINY else _TINY)
        c = b + a / c
        c = c if abs(c) > _TINY else _TINY
        change = c * d
        value *= change
        if abs(change - 1) < 1e-15:
            break
    return value
