"""Linear least squares by Householder's reflections, which lose no digits to squared numbers.

Rows and columns of plain floats; knows no model. Source: textbook method (Golub and Van Loan).
"""

from collections.abc import Sequence
from math import fsum, sqrt

Column = list[float]

_SINGULAR = 1e-14


class SingularError(ValueError):
    """The columns do not tell their parameters apart."""


def solve(
    columns: Sequence[Sequence[float]], values: Sequence[float]
) -> tuple[Column, list[Column]]:
    """Minimise the sum of squares of values - columns x; returns x and the triangle R.

    R is given by rows of its upper triangle. Raises SingularError.
    """
    try:
        return _solved(columns, values)
    except SingularError:
        raise
    except (ArithmeticError, ValueError) as error:  # fsum meets what is no number
        raise SingularError("the numbers run out of range") from error


def _solved(
    columns: Sequence[Sequence[float]], values: Sequence[float]
) -> tuple[Column, list[Column]]:
    work, right = [list(column) for column in columns], list(values)
    triangle: list[Column] = []
    norms = [_norm(column) for column in work]
    for n in range(len(work)):
        triangle.append(_reflect(work, right, n))
        if not abs(triangle[n][0]) > _SINGULAR * norms[n]:  # so too where it is no number
            raise SingularError("the parameters cannot be told apart")
    return _back(triangle, right), triangle


def _norm(column: Sequence[float]) -> float:
    return sqrt(fsum(value * value for value in column))


def _reflect(work: list[Column], right: Column, n: int) -> Column:
    """Clear column n below its diagonal, in all that follow; returns row n of R."""
    mirror = work[n][n:]
    length = _norm(mirror)
    if not length:
        return [0.0] * (len(work) - n)
    diagonal = -length if mirror[0] > 0 else length
    mirror[0] -= diagonal
    scale = 2 / fsum(value * value for value in mirror)
    for column in (*work[n + 1 :], right):
        tail = column[n:]
        share = scale * fsum(a * b for a, b in zip(mirror, tail, strict=True))
        column[n:] = [b - share * a for a, b in zip(mirror, tail, strict=True)]
    return [diagonal, *(column[n] for column in work[n + 1 :])]


def _back(triangle: list[Column], right: Sequence[float]) -> Column:
    found: Column = []
    for n in reversed(range(len(triangle))):
        known = fsum(a * b for a, b in zip(triangle[n][1:], found, strict=True))
        found.insert(0, (right[n] - known) / triangle[n][0])
    return found


def inverse_square(triangle: list[Column]) -> list[Column]:
    """Give the inverse of R'R, whose diagonal holds the variances of the parameters."""
    size = len(triangle)
    rows: list[Column] = []
    for n in range(size):
        unit = [1.0 if m == n else 0.0 for m in range(size)]
        rows.append(_back(triangle, unit))
    return [[fsum(row[i] * row[j] for row in rows) for j in range(size)] for i in range(size)]
