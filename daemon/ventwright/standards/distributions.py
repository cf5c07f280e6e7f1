"""Distributions that intervals and tests need: Student's t, F and chi-squared, in plain Python.

Knows numbers only. Checked against scipy to twelve digits; the normal one is in the standard
library. Source of the series and fractions: NIST Digital Library of Mathematical Functions,
sections 8.7, 8.9 and 8.17 (formulas from memory).
"""

from collections.abc import Callable
from math import exp, inf, lgamma, log, log1p

_TINY = 1e-300
_CLOSE = 1e-16
_MOST = 10_000


def beta_share(a: float, b: float, x: float) -> float:
    """Give the regularised incomplete beta function, 0 to 1, of x in 0 to 1; a and b above 0."""
    if x <= 0 or x >= 1:
        return 0.0 if x <= 0 else 1.0
    if x > (a + 1) / (a + b + 2):
        return 1 - beta_share(b, a, 1 - x)
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x))
    return front / (a * _fraction(lambda n: _beta_term(a, b, x, n)))


def _beta_term(a: float, b: float, x: float, n: int) -> float:
    m = n // 2
    if n % 2:
        return -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
    return m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))


def _fraction(term: Callable[[int], float]) -> float:
    """Work out 1 + t1/(1 + t2/(1 + ...)) by the method of Lentz."""
    value, c, d = 1.0, 1.0, 0.0
    for n in range(1, _MOST):
        d = 1 / ((1 + term(n) * d) or _TINY)
        c = (1 + term(n) / c) or _TINY
        value *= c * d
        if abs(c * d - 1) < _CLOSE:
            break
    return value


def gamma_share(a: float, x: float) -> float:
    """Give the regularised lower incomplete gamma function, 0 to 1; a above 0, x at least 0."""
    if x <= 0:
        return 0.0
    front = exp(a * log(x) - x - lgamma(a))
    if x > a + 1:
        return 1 - front * _upper_fraction(a, x)
    term = total = 1 / a
    for n in range(1, _MOST):
        term *= x / (a + n)
        total += term
        if term < total * _CLOSE:
            break
    return front * total


def _upper_fraction(a: float, x: float) -> float:
    b = x + 1 - a
    c, d = inf, 1 / b
    value = d
    for n in range(1, _MOST):
        step, b = -n * (n - a), b + 2
        d = 1 / ((step * d + b) or _TINY)
        c = (b + step / c) or _TINY
        value *= c * d
        if abs(c * d - 1) < _CLOSE:
            break
    return value


def t_tail(t: float, df: float) -> float:
    """Give the chance that Student's t lies farther from 0 than `t`, both ends; df above 0."""
    if t * t < df:
        return 1 - beta_share(0.5, df / 2, t * t / (df + t * t))
    return beta_share(df / 2, 0.5, df / (df + t * t))


def f_tail(f: float, above: float, below: float) -> float:
    """Give the chance of an F at least as large, with `above` and `below` degrees of freedom."""
    return beta_share(below / 2, above / 2, below / (below + above * f)) if f > 0 else 1.0


def chi2_tail(value: float, df: float) -> float:
    """Give the chance of a chi-squared at least as large; df above 0."""
    return 1 - gamma_share(df / 2, value / 2)


def t_quantile(confidence: float, df: float) -> float:
    """Give t so that -t to t holds Student's t with `confidence`, above 0 and below 1.

    Infinite where no degree of freedom is left.
    """
    return _root(lambda t: t_tail(t, df), 1 - confidence) if df > 0 else inf


def chi2_quantile(share: float, df: float) -> float:
    """Give the value below which chi-squared lies with a chance of `share`, 0 to 1; df above 0."""
    return _root(lambda value: chi2_tail(value, df), 1 - share)


def _root(tail: Callable[[float], float], wanted: float) -> float:
    """Find where a falling function of a positive number comes down to `wanted`."""
    low, high = 0.0, 1.0
    while tail(high) > wanted:
        low, high = high, 2 * high
    while (middle := (low + high) / 2) not in (low, high):
        if tail(middle) > wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2
