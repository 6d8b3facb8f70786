"""How well numbers fit what was expected of them: sums of squared standardised residuals with shared errors.

Plain numbers in and out; small matrices, so plain Python.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import erfc, exp, log, pi, sqrt

Vector = Sequence[float]


@dataclass(frozen=True)
class Direction:
    """What all readings of a set-up may share, as a column; unit variance, or of any size where it is free."""

    column: Vector
    is_free: bool = False


@dataclass(frozen=True)
class Weights:
    """P, the inverse of the covariance less its free directions; how many are free; log of the determinant."""

    matrix: Sequence[Vector]
    free: int
    log_determinant: float

    def times(self, vector: Vector) -> list[float]:
        """P v."""
        return [_dot(row, vector) for row in self.matrix]

    def square(self, vector: Vector) -> float:
        """v' P v."""
        return max(0.0, _dot(vector, self.times(vector)))


def weights(own: Vector, directions: Sequence[Direction]) -> Weights:
    """Of independent variances `own` and what is shared: (diag(own) + sum b b')^-1, free directions projected out.

    One direction after the other: P - P b b' P / (1 + b' P b), or / (b' P b) where it is free (the limit of a large
    variance). A free direction that the ones before leave nothing of is left out.
    """
    matrix = [[1 / variance if i == j else 0.0 for j in range(len(own))] for i, variance in enumerate(own)]
    log_determinant, free = sum(map(log, own)), 0
    for direction in directions:
        done = Weights(matrix, free, log_determinant)
        image = done.times(direction.column)
        size = _dot(direction.column, image)
        if direction.is_free and size <= 1e-9 * sum(b * b / v for b, v in zip(direction.column, own, strict=True)):
            continue
        divisor = size if direction.is_free else 1 + size
        matrix = [[cell - a * b / divisor for cell, b in zip(row, image, strict=True)]
                  for row, a in zip(matrix, image, strict=True)]  # fmt: skip
        log_determinant += log(divisor)
        free += direction.is_free
    return Weights(matrix, free, log_determinant)


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
