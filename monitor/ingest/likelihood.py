"""How well numbers fit what was expected of them: sums of squared residuals, weighed by their covariance.

Plain numbers in and out; small matrices, so plain Python.
"""

from collections.abc import Sequence
from math import erfc, exp, log, pi, sqrt

from monitor.records import dataclass

Vector = Sequence[float]


@dataclass(frozen=True)
class Weights:
    """P, the inverse of the covariance less its free columns; how many are free; log of the determinant."""

    matrix: Sequence[Vector]
    free: int
    log_determinant: float

    def times(self, vector: Vector) -> list[float]:
        """P v."""
        return [_dot(row, vector) for row in self.matrix]

    def square(self, vector: Vector) -> float:
        """v' P v."""
        return max(0.0, _dot(vector, self.times(vector)))


def weights(covariance: Sequence[Vector], free: Sequence[Vector] = ()) -> Weights:
    """The inverse of a covariance, with columns `free` that may be of any size projected out, one after the other:

    P - P b b' P / (b' P b), the limit of a large variance. A column that the ones before leave nothing of is left out.
    """
    matrix, log_determinant = _inverse(covariance)
    done = Weights(matrix, 0, log_determinant)
    for column in free:
        image = done.times(column)
        size = _dot(column, image)
        if size <= 1e-9 * sum(b * b * matrix[i][i] for i, b in enumerate(column)):
            continue
        left = [[cell - a * b / size for cell, b in zip(row, image, strict=True)]
                for row, a in zip(done.matrix, image, strict=True)]  # fmt: skip
        done = Weights(left, done.free + 1, done.log_determinant + log(size))
    return done


def _inverse(covariance: Sequence[Vector]) -> tuple[list[list[float]], float]:
    """Inverse and log determinant of a positive definite matrix, by elimination without exchange of rows."""
    size = len(covariance)
    rows = [[*row, *(1.0 if i == j else 0.0 for j in range(size))] for i, row in enumerate(covariance)]
    log_determinant = 0.0
    for i in range(size):
        pivot = rows[i][i]
        log_determinant += log(pivot)
        top = [cell / pivot for cell in rows[i]]
        rows = [
            top if j == i else [c - row[i] * t for c, t in zip(row, top, strict=True)] for j, row in enumerate(rows)
        ]
    return [row[size:] for row in rows], log_determinant


def chance_beyond(square: float, degrees: int) -> float:
    """Chance that a sum of `degrees` squared standard normal numbers is larger: the closed forms of chi square.

    Even: e^-h sum h^k / k!; odd: erfc(sqrt h) + e^-h sqrt(h / pi) sum h^k / (3/2 ... k+1/2), h = square / 2.
    """
    half = square / 2
    if degrees <= 0:
        return 1.0
    if degrees % 2 == 0:
        term = total = exp(-half)
        for k in range(1, degrees // 2):
            term *= half / k
            total += term
        return total
    total = erfc(sqrt(half))
    term = 2 * sqrt(half / pi) * exp(-half)
    for k in range(1, (degrees + 1) // 2):
        total += term
        term *= half / (k + 0.5)
    return total


def _dot(one: Vector, other: Vector) -> float:
    return sum(a * b for a, b in zip(one, other, strict=True))
