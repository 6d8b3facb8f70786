"""Sentences of many rows at once: a template whose names are filled from columns of texts.

What a column says of a row is written once for each value that differs, then taken by every row that has it.
"""

from collections.abc import Callable, Sequence
from string import Formatter
from typing import TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from monitor.schema.arrays import array_of
from monitor.trend.columns import Array, Flags, Rows, Whole, dates, flags

Text: TypeAlias = pa.Array | str
"""A text for every row, or one for all of them."""
Made = TypeVar("Made")

_CLOSE = 1e-6
"""A number this near the middle between two steps, in steps, is written by itself."""
_FEW = 4
"""So few numbers are written one by one: to see which are alike takes longer."""
_EARLIEST = np.datetime64("1970-01-01")


def said(template: str, **parts: Text) -> pa.Array:
    """The template with each name in braces replaced by that part, for every row; one part at least is a column."""
    pieces: list[Text] = []
    for words, name, _, _ in Formatter().parse(template):
        pieces += [words] if words else []
        pieces += [parts[name]] if name is not None else []
    return pc.binary_join_element_wise(*pieces, "")


def where(mask: Flags, text: Text, otherwise: Text = "") -> pa.Array:
    """One text where the mask (rows,) is true, another where it is not."""
    return pc.if_else(array_of(mask), text, otherwise)


def given(mask: Flags, text: Text) -> pa.Array:
    """The text where the mask (rows,) is true, else null."""
    return pc.if_else(array_of(mask), text, pa.scalar(None, pa.string()))


def same(texts: pa.Array, word: str) -> Flags:
    """Whether a text is that word (rows,)."""
    return flags(pc.equal(texts, word))


def joined(separator: str, *parts: pa.Array) -> pa.Array:
    """What there is of the parts, null where there is none, with that between them; '' where there is nothing."""
    # The kernel leaves out a row of nothing but nulls altogether, so an empty text goes before.
    behind = pc.binary_join_element_wise("", *parts, separator, null_handling="skip")
    return pc.utf8_slice_codeunits(behind, len(separator))


def listed(*parts: pa.Array) -> pa.Array:
    """What there is of the parts as a list in words: 'a', 'a and b', 'a, b and c'; '' where there is nothing."""
    there = np.stack([np.asarray(part.is_valid().to_numpy(zero_copy_only=False), dtype=bool) for part in parts])
    before = there.cumsum(axis=0) - there
    is_last = before + 1 == there.sum(axis=0)
    pieces: list[Text] = []
    for part, nothing_before, last in zip(parts, before == 0, is_last, strict=True):
        separator = np.where(nothing_before, 0, np.where(last, 2, 1))
        pieces.append(pc.binary_join_element_wise(pick(("", ", ", " and "), separator), part, ""))
    return joined("", *pieces)


def pick(words: Sequence[str], number: npt.NDArray[np.integer]) -> pa.Array:
    """The word of that number, for each row."""
    return pa.array([str(word) for word in words], pa.string()).take(array_of(number))


def written(values: npt.ArrayLike, write: Callable[[float], str], step: float | None = None) -> pa.Array:
    """Numbers as texts (rows,), null for NaN.

    step: numbers nearest the same multiple of it are written alike, so that only the multiples need to be written.
    """
    found = np.asarray(values, dtype=np.float64)
    if step is not None:
        with np.errstate(invalid="ignore"):  # what is infinite has no multiple near it, and stays as it is
            multiple = np.rint(found / step)
            found = np.where(np.abs(found / step - multiple) < 0.5 - _CLOSE, multiple * step, found)
    if found.size <= _FEW:
        return pa.array(
            [None if np.isnan(value) else write(value) for value in found.reshape(-1).tolist()], pa.string()
        )
    distinct, number = np.unique(found, return_inverse=True)
    words = [None if np.isnan(value) else write(float(value)) for value in distinct]
    return pa.array(words, pa.string()).take(array_of(number.reshape(-1)))


def rewritten(texts: pa.Array, write: Callable[[str], str]) -> pa.Array:
    """Texts made of other texts, null for null."""
    coded = texts.dictionary_encode()
    return pa.array([write(text) for text in coded.dictionary.to_pylist()], pa.string()).take(coded.indices)


def iso(days: Array) -> pa.Array:
    """Days as dates are written: '2026-04-12' (rows,), null for NaN."""
    return dates(days).cast(pa.string())


def months(days: Array) -> pa.Array:
    """Days as month and year: 'April 2026' (rows,), null for NaN."""
    return written(month_of(days), lambda month: (_EARLIEST.astype("M8[M]") + int(month)).item().strftime("%B %Y"))


def month_of(days: Array) -> Array:
    """The month of a day, counted from January 1970 as 0 (rows,), NaN for none."""
    known = np.isfinite(days)
    found = (_EARLIEST + np.where(known, days, 0).astype(np.intp)).astype("M8[M]").astype(np.intp)
    return np.where(known, found, np.nan)


def decided(rows: Rows, *options: tuple[Flags | bool, Callable[[Rows], Made]]) -> list[Made]:
    """What the options make of the rows: each row falls to the first one whose mask (rows,) is true for it."""
    return [make(part) for part, make in _split(rows, options)]


def chosen(rows: Rows, *options: tuple[Flags | bool, Callable[[Rows], Text]]) -> pa.Array:
    """The text of each row, by the first option whose mask (rows,) is true for it; one is true for every row."""
    pieces, place = [], []
    for part, make in _split(rows, options):
        text = make(part)
        pieces.append(pa.repeat(text, len(part)) if isinstance(text, str) else text)
        place.append(part.at)
    if not pieces:
        return pa.array([], pa.string())
    order: Whole = np.argsort(np.concatenate(place), kind="stable")
    return pa.concat_arrays(pieces).take(array_of(order))


def _split(
    rows: Rows, options: Sequence[tuple[Flags | bool, Callable[[Rows], Made]]]
) -> list[tuple[Rows, Callable[[Rows], Made]]]:
    left = np.ones(len(rows), dtype=bool)
    parts = []
    for mask, make in options:
        taken = left & mask
        if taken.any():
            parts.append((rows.only(taken), make))
        left &= ~taken
    return parts
