"""Lengths as people write them. Inch values: 1 in = 25.4 mm exactly (NIST SP 811, App. B; NIST Handbook 44, App. C)."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import LengthError
from monitor.lengths import (
    DENOMINATORS,
    AmbiguousLengthError,
    Length,
    MistypedLengthError,
    parse,
    parse_number,
    unit_of,
)
from monitor.units import (
    MM_PER_INCH,
    feet_text,
    fraction_text,
    inches_from_mm,
    length_text,
    mm_from_inches,
    rounding_sd_mm,
)

# Multiples of the international inch, exact by definition.
INCH_FRACTIONS_MM = {
    "1/64": 0.396875, "1/32": 0.79375, "1/16": 1.5875, "1/8": 3.175, "3/16": 4.7625, "1/4": 6.35, "5/16": 7.9375,
    "3/8": 9.525, "7/16": 11.1125, "1/2": 12.7, "9/16": 14.2875, "5/8": 15.875, "11/16": 17.4625, "3/4": 19.05,
    "13/16": 20.6375, "7/8": 22.225, "15/16": 23.8125, "63/64": 25.003125, "1 3/16": 30.1625, "2 5/8": 66.675,
    "1 ft": 304.8, "8 ft": 2438.4,
}  # fmt: skip


@pytest.mark.parametrize(("text", "mm"), INCH_FRACTIONS_MM.items())
def test_inch_fractions_are_exact_multiples_of_the_international_inch(text: str, mm: float) -> None:
    assert parse(text, "in").mm == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "1 3/16",
        '1-3/16"',
        "1 3/16 in",
        "1³⁄₁₆",
        "1 ³/₁₆",
        "1\u00a03/16”",
        "1 3⁄16 inches",
        "1.1875",
        "1 3 / 16",
        "0' 1 3/16\"",
        "1 6/32",
    ],
)
def test_one_and_three_sixteenths_in_every_writing(text: str) -> None:
    length = parse(text, "in")
    assert (length.mm, length.inches, length.unit) == (30.1625, Fraction(19, 16), "in")


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("13/16", Fraction(13, 16)),
        ("½", Fraction(1, 2)),
        ("1¼", Fraction(5, 4)),
        ("1' 2 3/8\"", Fraction(115, 8)),
        ("12-7-5/16", Fraction(2421, 16)),
        ("24 ft", Fraction(288)),
        ("8 in", Fraction(8)),
        ("2 ft 6 in", Fraction(30)),
        ("2'-6 1/2\"", Fraction(61, 2)),
        ("2.5 ft", Fraction(30)),
        ("1''", Fraction(1)),
        ("−1 3/16 in", Fraction(-19, 16)),
    ],
)
def test_inches_and_feet_are_read_exactly(text: str, inches: Fraction) -> None:
    assert parse(text, "in").inches == inches


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("30.2 mm", None, 30.2),
        ("30,2", "mm", 30.2),
        ("2440", "mm", 2440.0),
        ("3.02 cm", None, 30.2),
        ("7.3152 m", None, 7315.2),
        ("-0.5", "mm", -0.5),
        ("3,02", "cm", 30.2),
        ("24", "ft", 7315.2),
    ],
)
def test_metric_lengths_and_units_from_outside(text: str, unit: str | None, mm: float) -> None:
    assert parse(text, unit).mm == mm


@pytest.mark.parametrize(
    ("text", "inches", "note"),
    [
        ("1 3/16 strong", Fraction(39, 32), "strong: +1/32 in"),
        ("1 3/16+", Fraction(39, 32), "strong: +1/32 in"),
        ("1 3/16 in strong", Fraction(39, 32), "strong: +1/32 in"),
        ("1 3/16 - shy", Fraction(37, 32), "shy: -1/32 in"),
        ("1 3/16 shy", Fraction(37, 32), "shy: -1/32 in"),
        ("1 3/16-", Fraction(37, 32), "shy: -1/32 in"),
    ],
)
def test_strong_and_shy_are_a_thirty_second_and_are_noted(text: str, inches: Fraction, note: str) -> None:
    length = parse(text, "in")
    assert (length.inches, length.note) == (inches, note)


@pytest.mark.parametrize(
    ("text", "doubt", "mm"),
    [
        ("1 1/8?", "doubtful", 28.575),
        ("~1 1/4", "doubtful", 31.75),
        ("about 1 1/4", "doubtful", 31.75),
        ("1/8-1/4", "range", 4.7625),
        ("1 1/8 - 1 1/4", "range", 30.1625),
        ("1 1/8 to 1 1/4 in", "range", 30.1625),
    ],
)
def test_doubt_is_told_apart_from_a_range(text: str, doubt: str, mm: float) -> None:
    length = parse(text, "in")
    assert (length.doubt, length.mm) == (doubt, mm)


@pytest.mark.parametrize(
    ("text", "expected", "mend"),
    [
        ("1.3/16", "a fraction", "Did you mean 1 3/16?"),
        ("1/3/16", "a fraction", "Did you mean 1 3/16?"),
        ("1 3 16", "a fraction", "Did you mean 1 3/16?"),
        ("13/16/", "a fraction", "Did you mean 13/16?"),
        ("1 3/15", "sixteenths", "Did you mean 1 3/16?"),
        ("1 19/16", "less than 16 sixteenths", "Did you mean 2 3/16 or 1 9/16?"),
        ("19/16", "less than 16 sixteenths", "Did you mean 1 3/16 or 1 9/16 or 9/16?"),
        ("1/0", "sixteenths", "Read it again."),
        ("5' 14\"", "inches below 12 after the feet", "Write it in inches alone, or correct it."),
        ("abc", "a length", "Write it like 1 3/16 or 30.2."),
        ("1e5", "a length", "Write it like 1 3/16 or 30.2."),
        ("", "a length", "Write it like 1 3/16 or 30.2."),
        ("9" * 5000, "a length", "Write it like 1 3/16 or 30.2."),
        ("-1/8-1/4", "a length", "Write it like 1 3/16 or 30.2."),
    ],
)
def test_a_slip_is_refused_with_what_was_probably_meant(text: str, expected: str, mend: str) -> None:
    with pytest.raises(LengthError) as caught:
        parse(text, "in")
    assert (caught.value.expected, caught.value.mend) == (expected, mend)
    assert not isinstance(caught.value, AmbiguousLengthError)


@pytest.mark.parametrize(
    ("text", "unit", "mend"),
    [
        ("2,440", "mm", "Did you mean 2.440 or 2440?"),
        ("1,5", "in", "Did you mean 1.5 or 15?"),
        ("1 3/16", "mm", "Inches? Then write in."),
        ("1 3/16 in", "mm", "It says in itself: correct the unit or the value."),
        ("30.2 mm", "in", "It says mm itself: correct the unit or the value."),
        ("2 ft", "mm", "It says ft itself: correct the unit or the value."),
        ("12-7", "in", "Feet and inches, or from-to? Write 12 ft 7 in, or one number."),
    ],
)
def test_what_could_be_read_in_two_ways_is_asked_not_guessed(text: str, unit: str, mend: str) -> None:
    with pytest.raises(AmbiguousLengthError) as caught:
        parse(text, unit)
    assert caught.value.mend == mend


@pytest.mark.parametrize("text", ["1 3/16", "30", "30.2", "½"])
def test_a_missing_unit_is_never_guessed(text: str) -> None:
    with pytest.raises(LengthError, match="unit"):
        parse(text)


def test_the_written_step_is_as_fine_as_the_writing() -> None:
    steps = {
        text: parse(text, unit).step_mm
        for text, unit in [("1 3/32", "in"), ("1 1/2", "in"), ("30.2", "mm"), ("30", "mm")]
    }
    assert steps == {"1 3/32": 0.79375, "1 1/2": 1.5875, "30.2": 0.1, "30": 1.0}


def test_rounding_of_written_steps_gives_the_standard_uncertainties_of_the_gum() -> None:
    """A step d contributes d / sqrt 12 (JCGM 100:2008, F.2.2.1); the five values are that formula's."""
    texts = {"1/16 in": 0.458272, "1/32 in": 0.229136, "1/64 in": 0.114568, "1 mm": 0.288675, "0.1 mm": 0.0288675}
    for text, sd_mm in texts.items():
        assert rounding_sd_mm(parse(text).step_mm) == pytest.approx(sd_mm, abs=5e-7)


@given(st.integers(0, 64 * 40), st.sampled_from(DENOMINATORS))
def test_what_units_writes_lengths_reads(steps: int, denominator: int) -> None:
    inches = Fraction(steps, denominator)
    length = parse(fraction_text(inches), "in")
    assert length.inches == inches
    assert parse(length_text(length.mm, "in", denominator=denominator)) == parse(f"{fraction_text(inches)} in")


@given(st.integers(0, 64 * 400))
def test_every_sixty_fourth_is_exact_and_equals_its_millimetres(n: int) -> None:
    inches = Fraction(n, 64)
    mm = parse(fraction_text(inches), "in").mm
    assert Fraction(mm).limit_denominator(10**7) == inches * Fraction(254, 10)
    assert mm == parse(f"{float(inches * Fraction(254, 10)):.6f}", "mm").mm


RAISED, LOWERED = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹"), str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉")


@given(st.integers(0, 40), st.integers(1, 15), st.sampled_from((1, 2, 4)))
def test_every_spelling_of_a_fraction_is_the_same_length(whole: int, sixteenths: int, finer: int) -> None:
    top, bottom = sixteenths * finer, 16 * finer
    part = f"{top}/{bottom}"
    raised = f"{top}".translate(RAISED) + "⁄" + f"{bottom}".translate(LOWERED)
    reduced = Fraction(sixteenths, 16)
    spelt = [
        f"{whole} {part}", f"{whole}-{part}", f'{whole}-{part}"', f"{whole} {part} in", f"{whole} {part} inches",
        f"{whole}\u00a0{part}″", f"{whole}{raised}", f"{whole} {reduced.numerator}/{reduced.denominator}",
        f"{float(whole + reduced)}", f"  {whole}   {top} / {bottom} ", f"{whole} {top}∕{bottom}", f"0' {whole} {part}",
    ]  # fmt: skip
    if whole >= 12:
        spelt[-1] = f"{whole // 12}' {whole % 12} {part}\""
        spelt += [f"{whole // 12}-{whole % 12}-{part}", f"{whole // 12} ft {whole % 12} {part} in"]
    assert {parse(text, "in").inches for text in spelt} == {whole + reduced}


@given(st.integers(0, 64 * 12 * 16))
def test_lengths_of_walls_are_read_as_they_are_shown(sixteenths: int) -> None:
    inches = Fraction(sixteenths, 16)
    assert parse(feet_text(mm_from_inches(inches), "in")).inches == inches
    millimetres = sixteenths * 10
    assert parse(feet_text(millimetres, "mm")).mm == millimetres


@given(st.integers(0, 64 * 400), st.sampled_from(("in", "mm")))
def test_inches_and_millimetres_are_there_and_back_the_same(n: int, unit: str) -> None:
    mm = mm_from_inches(Fraction(n, 64))
    assert inches_from_mm(mm) == pytest.approx(n / 64, rel=1e-15)
    assert parse(f"{mm!r} mm").mm == mm
    shown = parse(length_text(mm, unit)).mm
    assert abs(shown - mm) <= (MM_PER_INCH / 32 if unit == "in" else 0.05) + 1e-9


def _outcome(text: str, unit: str | None) -> Length | LengthError:
    try:
        return parse(text, unit)
    except LengthError as error:
        return error


@given(
    st.text(max_size=30) | st.text(alphabet="0123456789 /-.,'\"inftm½³⁄₁₆+?~", max_size=14),
    st.sampled_from([None, "in", "mm", "ft"]),
)
def test_any_text_is_read_or_refused_with_a_mend(text: str, unit: str | None) -> None:
    outcome = _outcome(text, unit)
    if isinstance(outcome, LengthError):
        assert outcome.mend
        assert outcome.expected
    else:
        assert 0 < outcome.step_mm <= 1.5875
        assert (outcome.inches is None) == (outcome.unit == "mm")


def test_units_are_known_by_their_usual_words() -> None:
    assert [unit_of(word) for word in ("Inches", '"', "″", "MM", "ft.", "yards", "")] == [
        "in",
        "in",
        "in",
        "mm",
        "ft",
        "",
        "",
    ]


def test_plain_numbers_are_read_with_fractions_too() -> None:
    assert [parse_number(text) for text in ("3 1/2", "2.5", "½", "12")] == [
        Fraction(7, 2),
        Fraction(5, 2),
        Fraction(1, 2),
        12,
    ]


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("21/8", ("2 5/8", "2 1/8", "1/8")),
        ("113/16", ("7 1/16", "1 13/16", "11 3/16", "13/16")),
        ("2 3\\16", ("2 3/16",)),
        ("2 15//16", ("2 15/16",)),
        ('3\\8"', ("3/8",)),
    ],
)
def test_a_lost_space_and_a_slash_typed_wrongly_are_offered_and_never_taken(text: str, meant: tuple[str, ...]) -> None:
    with pytest.raises(MistypedLengthError) as error:
        parse(text, "in")
    assert error.value.meant == meant
