"""Least squares on columns, one after another (Gram and Schmidt); knows no prints."""

import math
from collections.abc import Sequence

DEPENDENT = 1e-9
"""A column of which less is left, as a share, says nothing that others did not."""

Column = Sequence[float]


def marks(batches: Sequence[str], batch: str) -> list[float]:
    """Mark with 1 where a repeat is of a batch, with 0 elsewhere."""
    return [float(b == batch) for b in batches]


def dot(a: Column, b: Column) -> float:
    """Give the inner product."""
    return math.fsum(x * y for x, y in zip(a, b, strict=True))


def upright(columns: Sequence[Column]) -> list[list[float]]:
    """Give unit columns at right angles that span the same; dependent ones are left out."""
    kept: list[list[float]] = []
    for column in columns:
        left = beside(kept, column)
        size = dot(left, left)
        if size > DEPENDENT * max(1.0, dot(column, column)):
            kept.append([x / math.sqrt(size) for x in left])
    return kept


def beside(units: Sequence[Column], values: Column) -> list[float]:
    """Give what unit columns at right angles leave of values."""
    rest = list(values)
    for unit in units:
        along = dot(rest, unit)
        rest = [r - along * u for r, u in zip(rest, unit, strict=True)]
    return rest
