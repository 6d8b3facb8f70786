"""How well the readings of a set-up fit what was expected, as they are said and as they may have been meant."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from math import log

from monitor.ingest.draft import Draft
from monitor.ingest.expectation import Expected
from monitor.ingest.likelihood import Weights, chance_beyond, weights
from monitor.records import dataclass
from monitor.terms import Kind, State
from monitor.units import length_text

IMPLAUSIBLE = 1e-3
"""As said, readings are in doubt where chance goes so far in less than this share of good visits."""
PLAUSIBLE = 1e-2
"""Another reading of them is offered only if chance goes as far as it must in more than this share."""
RATIO = 1e3
"""And only if it makes the numbers so many times as likely. A good visit meets that in less than 1 of RATIO cases for
each other reading that is tried (Markov's inequality: the expectation of that ratio is 1)."""


@dataclass(frozen=True)
class Placed:
    """A reading held against the expectation of a mark: its own, or another's it may have been meant for."""

    draft: Draft
    target: Expected
    deflection_mm: float

    @property
    def off_mm(self) -> float:
        """How far inward of the expectation it lies."""
        return self.deflection_mm - self.target.mean_mm


@dataclass(frozen=True)
class Fit:
    """Sum of squared standardised residuals, its degrees of freedom, and the log of the likelihood."""

    square: float
    degrees: int
    log_likelihood: float

    @property
    def chance(self) -> float:
        """Chance that good readings are off by more."""
        return chance_beyond(self.square, self.degrees)

    def __add__(self, other: "Fit") -> "Fit":
        return Fit(self.square + other.square, self.degrees + other.degrees, self.log_likelihood + other.log_likelihood)


def placed(drafts: Sequence[Draft], expected: Mapping[str, Expected]) -> list[Placed]:
    """The used readings of which something is expected, each against its own mark."""
    return [
        Placed(draft, expected[draft.values["mark"]], draft.values["deflection_mm"])
        for draft in drafts
        if draft.values["mark"] in expected and draft.state is State.USED
    ]


def blocks(readings: Sequence[Placed]) -> list[list[Placed]]:
    """Readings that share the errors of one set-up."""
    groups: dict[tuple[int, str], list[Placed]] = defaultdict(list)
    for reading in readings:
        groups[_block(reading)].append(reading)
    return list(groups.values())


def _block(reading: Placed) -> tuple[int, str]:
    return reading.draft.values["setup"], reading.target.line


def weigh(readings: Sequence[Placed], *more: Sequence[float]) -> Weights:
    """The weights of the readings' residuals; `more`: columns of any size that are allowed besides."""
    return weigh_targets([reading.target for reading in readings], [_block(reading) for reading in readings], *more)


def weigh_targets(targets: Sequence[Expected], keys: Sequence[tuple[int, str]], *more: Sequence[float]) -> Weights:
    """The weights of residuals of one reading for each target; readings of one key share the errors of a set-up."""
    covariance = [
        [
            one.spread[other.mark] + (one.errors[other.mark] if key == at else 0.0)
            for other, at in zip(targets, keys, strict=True)
        ]
        for one, key in zip(targets, keys, strict=True)
    ]
    anywhere = {key: None for target, key in zip(targets, keys, strict=True) if target.is_free}
    offsets = [[float(key == at) for at in keys] for key in anywhere]
    return weights(covariance, [*offsets, *more])


def fit(readings: Sequence[Placed], *more: Sequence[float], log_stretch: float = 0.0) -> Fit:
    """How well readings fit; log_stretch: log of how many mm the deflection changes for one of the reading."""
    by = weigh(readings, *more)
    square = by.square([reading.off_mm for reading in readings])
    likelihood = log_stretch * len(readings) - (square + by.log_determinant) / 2
    return Fit(square, len(readings) - by.free, likelihood)


def explains(said: Fit, meant: Fit) -> bool:
    """Whether numbers that are implausible as said are plausible, and far more likely, as they may have been meant."""
    return (
        said.chance < IMPLAUSIBLE
        and meant.degrees == said.degrees
        and meant.chance > PLAUSIBLE
        and meant.log_likelihood - said.log_likelihood > log(RATIO)
    )


def expected_mm(reading: Placed, among: Sequence[Placed]) -> float:
    """The deflection that reading should have been.

    Where a set-up stands anywhere, its offset is taken from the readings of the same one in `among`.
    """
    mates = next(block for block in blocks(among) if any(mate.draft is reading.draft for mate in block))
    if not reading.target.is_free:
        return reading.target.mean_mm
    shares = [mate.target.sd_mm**-2 for mate in mates]
    offset_mm = sum(share * mate.off_mm for share, mate in zip(shares, mates, strict=True)) / sum(shares)
    return reading.target.mean_mm + offset_mm


def value_mm(draft: Draft, deflection: float) -> float:
    """The number that would have been written for a deflection, in the draft's own kind."""
    change = deflection - draft.values["deflection_mm"]
    return float(draft.values["value_mm"] + (change if draft.values["kind"] == Kind.DEFLECTION else -change))


def value_text(draft: Draft, deflection: float) -> str:
    """The same, in the draft's own unit."""
    return length_text(value_mm(draft, deflection), draft.values["unit"])


def worst(readings: Sequence[Placed]) -> Placed:
    """The reading that is furthest off for its size of error."""
    return max(readings, key=lambda one: abs(one.deflection_mm - expected_mm(one, readings)) / one.target.sd_mm)
