"""Typical slips in writing down a length: what else may have been on the rule when this was written.

Named to people, never applied. Which slips are typical is common practice, no source.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache

from monitor.errors import LengthError
from monitor.lengths import Length, parse
from monitor.units import INCHES_PER_FOOT, fraction_text, mm_from_inches

_SIXTEENTHS = 16
_FINEST = 64
_ALIKE = ("17", "38", "56", "69", "59", "08", "35", "49")
"""Digits that are taken for one another."""


@lru_cache(maxsize=4096)  # the same few inches and sixteenths are written on wall after wall
def candidates(value_raw: str, unit: str) -> tuple[tuple[str, float], ...]:
    """What a value may have been meant as, as its writer would have typed it, with its millimetres; nearest first.

    unit: 'in' or 'mm', where the text names none. In fractions of an inch: a whole inch more or less; the ten of a
    numerator lost or added (3/16, 13/16); digits that look alike (5/16, 9/16); the tick counted from the wrong end of
    the inch (3/8, 5/8); another denominator (3/8, 3/16); whole and numerator run together (1 3/16, 13/16) or exchanged
    (1 3/16, 3 1/16). In decimals: digits exchanged or alike, an inch or ten millimetres more or less, the point moved
    by one place. A minus may have slipped in. The value itself is not among them; a text that is no length has none.
    """
    try:
        length = parse(value_raw, unit or None)
    except LengthError:
        return ()
    if length.mm < 0:
        return ((value_raw.strip().lstrip("-‐‑‒–—− "), -length.mm),)
    if length.inches is not None and ("/" in value_raw or _FINEST % length.inches.denominator == 0):
        pairs = [(_inches_raw(inches, length), mm_from_inches(inches)) for inches in _of_fraction(length.inches)]
    elif length.inches is not None:
        pairs = [(_decimal_raw(inches), mm_from_inches(inches)) for inches in _of_decimal(length.inches, (1,))]
    else:
        tens = (10, 100) if abs(length.mm) > 100 else (10,)
        pairs = [(_decimal_raw(mm), float(mm)) for mm in _of_decimal(Fraction(str(round(length.mm, 4))), tens)]
    told = {round(mm, 9): (raw, mm) for raw, mm in reversed(pairs) if mm > 0 and abs(mm - length.mm) > 1e-9}
    return tuple(sorted(told.values(), key=lambda pair: (abs(pair[1] - length.mm), pair[0])))


def likely(value_raw: str, unit: str, wanted_mm: float, within_mm: float) -> tuple[str, float] | None:
    """The slip's true value that lies nearest `wanted_mm`, at most `within_mm` from it; None where there is none."""
    near = [pair for pair in candidates(value_raw, unit) if abs(pair[1] - wanted_mm) <= within_mm]
    return min(near, key=lambda pair: (abs(pair[1] - wanted_mm), pair[0]), default=None)


def _inches_raw(inches: Fraction, length: Length) -> str:
    """Inches as their writer writes them: '1 3/16', or 12' 7 5/16" where feet were written."""
    if not length.feet:
        return fraction_text(inches)
    feet, rest = divmod(inches, INCHES_PER_FOOT)
    return f"{feet}' {fraction_text(rest)}\""


def _of_fraction(inches: Fraction) -> Iterator[Fraction]:
    whole, part = divmod(inches, 1)
    for other in (whole - 1, whole + 1):
        yield other + part
    top, bottom = part.numerator, part.denominator
    if not top:
        return
    for other in (top - 10, top + 10, *_alike(top)):
        if 0 < other < bottom:
            yield whole + Fraction(other, bottom)
    yield whole + 1 - part
    for other in (bottom // 2, bottom * 2):
        if top < other <= max(bottom, _SIXTEENTHS) and other > 1:
            yield whole + Fraction(top, other)
    if 10 < top < 20 and whole == 0:
        yield 1 + Fraction(top - 10, bottom)
    if whole == 1 and top + 10 < bottom:
        yield Fraction(top + 10, bottom)
    if 0 < whole < bottom:
        yield top + Fraction(whole, bottom)


def _of_decimal(number: Fraction, steps: Sequence[int]) -> Iterator[Fraction]:
    """Numbers that are one slip away from one written with a point; steps: what may be counted wrongly."""
    text = _decimal_raw(abs(number))
    for i, digit in enumerate(text):
        for other in _look_alikes(digit):
            yield Fraction(text[:i] + other + text[i + 1 :])
        following = text[i + 1 : i + 2]
        if digit.isdecimal() and following.isdecimal():
            yield Fraction(text[:i] + following + digit + text[i + 2 :])
    for step in steps:
        yield from (abs(number) - step, abs(number) + step)
    yield from (abs(number) / 10, abs(number) * 10)


def _decimal_raw(number: Fraction) -> str:
    return f"{float(number):.4f}".rstrip("0").rstrip(".")


def _look_alikes(digit: str) -> list[str]:
    return [other for pair in _ALIKE if digit in pair for other in pair if other != digit]


def _alike(top: int) -> list[int]:
    """Numerators of the same number of digits that look like this one."""
    text = str(top)
    found = [text[:i] + other + text[i + 1 :] for i in range(len(text)) for other in _look_alikes(text[i])]
    return [int(other) for other in found if not other.startswith("0")]
