"""Lengths as carpenters write them, read exactly: 1 3/16, 1-3/16", 1' 2 3/8", 12-7-5/16, 1¼, 30.2 mm, 30,2.

Everything is a Fraction until the last step. A unit is never guessed; what can be read in two ways is not read.
"""

import re
import unicodedata
from collections.abc import Sequence
from fractions import Fraction

from monitor.errors import LengthError
from monitor.records import dataclass
from monitor.units import INCHES_PER_FOOT, MM_PER_INCH, SIXTEENTH_MM, fraction_text, mm_from_inches

DENOMINATORS = (2, 4, 8, 16, 32, 64)
STRONG_INCHES = Fraction(1, 32)
"""What 'strong' adds and 'shy' takes away (common practice, no source)."""

_LONGEST_TEXT = 60
_UNIT_WORDS = {
    "in": ("in", "in.", "inch", "inches", '"', "ins"),
    "ft": ("ft", "ft.", "foot", "feet", "'"),
    "mm": ("mm", "mm.", "millimetre", "millimetres", "millimeter", "millimeters"),
    "cm": ("cm", "cm.", "centimetre", "centimetres", "centimeter", "centimeters"),
    "m": ("m", "metre", "metres", "meter", "meters"),
}
_UNIT_OF_WORD = {word: unit for unit, words in _UNIT_WORDS.items() for word in words}
_METRIC_MM = {"mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000)}

_DECIMAL = r"[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+"
_FRACTION = r"[0-9]+/[0-9]+"
_INCHES = rf"(?:(?P<whole>[0-9]+)(?:\s+|\s*-\s*))?(?P<part>{_FRACTION})|(?P<number>{_DECIMAL})"
_PLAIN = re.compile(_INCHES)
_FEET = re.compile(rf"(?P<feet>{_DECIMAL})\s*(?:ft\.?|foot|feet|')(?:\s*-?\s*(?:{_INCHES}))?")
_DASHED_FEET = re.compile(rf"(?P<feet>[0-9]+)-(?P<whole>[0-9]+)(?:-|\s+)(?P<part>{_FRACTION})")
_RANGE = re.compile(
    rf"(?P<low>(?:[0-9]+[ -])?{_FRACTION}|{_DECIMAL})\s*(?:-|\bto\b)\s*(?P<high>(?:[0-9]+[ -])?{_FRACTION}|{_DECIMAL})"
)
_UNIT_AT_END = re.compile(
    r"(?P<rest>.*[0-9.,/])\s*(?P<unit>\"|in\.?|ins|inch|inches|mm\.?|cm\.?|m|[a-z]*met(?:re|er)s?)"
)
_STRENGTH = re.compile(r"(?P<rest>.*?\S)\s*(?P<word>\+|-\s*shy|-|\bstrong|\bfull|\bshy|\bscant)")
_SLIPS = (
    (re.compile(r"([0-9]+)[.,]([0-9]+/[0-9]+)"), r"\1 \2"),
    (re.compile(r"([0-9]+)/([0-9]+/[0-9]+)"), r"\1 \2"),
    (re.compile(r"((?:[0-9]+ )?[0-9]+/[0-9]+)/+"), r"\1"),
    (re.compile(r"((?:[0-9]+[ -])?[0-9]+)\s*[/\\]+\s*([0-9]+)"), r"\1/\2"),
    (re.compile(r"([0-9]+) +([0-9]+) +(2|4|8|16|32|64)"), r"\1 \2/\3"),
)


class AmbiguousLengthError(LengthError):
    """A text with more than one reasonable reading: a person must say which."""


class UnitMissingError(LengthError):
    """A number that names no unit, where none was given either."""


class MistypedLengthError(LengthError):
    """A text that is no length; meant: what its writer may have meant, nearest first."""

    def __init__(self, got: str, expected: str, meant: Sequence[str]) -> None:
        mend = f"Did you mean {' or '.join(meant)}?"
        super().__init__("This cannot be read as a length.", got=got, expected=expected, mend=mend)
        self.meant = tuple(meant)


@dataclass(frozen=True)
class Length:
    """One length read from text.

    mm: exact, rounded once; inches: exact, None where written in metric units; unit: 'in' or 'mm';
    step_mm: finest step that the writing itself shows, at most 1/16 in or 1 mm; doubt: '', 'doubtful' ('1 1/8?') or
    'range' ('1/8-1/4', then mm is the middle); note: what was added or understood; feet: whether feet were written.
    """

    mm: float
    inches: Fraction | None
    unit: str
    step_mm: float
    doubt: str = ""
    note: str = ""
    feet: bool = False


@dataclass(frozen=True)
class _Number:
    """An exact number, its finest written step, and whether feet were written; in its own unit."""

    value: Fraction
    step: Fraction
    unit: str
    feet: bool = False


def unit_of(word: str) -> str:
    """The unit that a word names: 'in', 'ft', 'mm', 'cm', 'm', or '' where it names none."""
    return _UNIT_OF_WORD.get(tidy(word).lower(), "")


def tidy(text: str) -> str:
    """Text with one kind of space, quote, dash, slash and digit: '1³⁄₁₆″' -> '1 3/16"'."""
    out: list[str] = []
    raised = False
    for char in text:
        form = unicodedata.normalize("NFKC", char)
        is_raised = "<super>" in unicodedata.decomposition(char)
        is_fraction = "<fraction>" in unicodedata.decomposition(char)
        if (is_fraction or (is_raised and not raised)) and out and out[-1].isdigit():
            out.append(" ")
        raised = is_raised
        out.extend(form)
    joined = "".join(out).translate(_LOOKALIKES).replace("''", '"')
    return " ".join(joined.split())


_LOOKALIKES = str.maketrans(
    {
        **dict.fromkeys("⁄∕÷", "/"),
        **dict.fromkeys("‐‑‒–—−", "-"),
        **dict.fromkeys("“”„‟″", '"'),
        **dict.fromkeys("‘’‚‛′`´", "'"),
    }
)


def parse(text: str, unit: str | None = None) -> Length:
    """The length that `text` says; `unit` ('in', 'mm', 'ft', 'cm', 'm') counts where the text names none.

    Raises LengthError (with got, expected, mend), and AmbiguousLengthError where a person has to choose.
    """
    given = unit_of(unit) if unit else ""
    if unit and not given:
        raise _error(unit, "a unit, in or mm", "Write in or mm.")
    body = re.sub(r"\s*/\s*", "/", tidy(text).lower())
    if not body or len(body) > _LONGEST_TEXT:
        raise _error(text[:_LONGEST_TEXT], "a length", "Write it like 1 3/16 or 30.2.")
    body, doubtful = _without_doubt(body)
    sign, body = (-1, body[1:].lstrip()) if body.startswith("-") else (1, body)
    body, shift, note = _without_strength(body)
    body, own = _without_unit(body)
    named = own or ("ft" if _FEET.fullmatch(body) else "")
    if given and named and (given in _METRIC_MM) != (named in _METRIC_MM):
        raise AmbiguousLengthError(
            "two units",
            got=text,
            expected=f"a length in {given}",
            mend=f"It says {named} itself: correct the unit or the value.",
        )
    ends = _RANGE.fullmatch(body)
    if ends and sign > 0 and not _PLAIN.fullmatch(body) and not _DASHED_FEET.fullmatch(body):
        return _range(text, ends, own or given)
    number = _number(text, body, own or given)
    return _length(number, text, sign=sign, shift=shift, note=note, doubt="doubtful" if doubtful else "")


def parse_number(text: str) -> Fraction:
    """An exact number without a unit, whole, decimal or with a fraction: '3 1/2', '2.5', '½'; raises LengthError."""
    match = _PLAIN.fullmatch(tidy(text))
    if not match or len(text) > _LONGEST_TEXT:
        raise _error(text[:_LONGEST_TEXT], "a number", "Write it like 2 1/2 or 2.5.")
    return _inches(text, match)[0]


def _without_doubt(body: str) -> tuple[str, bool]:
    """Body less '?', '~', 'about', and whether one was there."""
    bare = re.sub(r"^(?:~|≈|about\b|approx\.?|ca\.?(?=[ 0-9]))\s*|\s*\?+$", "", body)
    return bare, bare != body


def _without_strength(body: str) -> tuple[str, Fraction, str]:
    """Body less 'strong', '+', 'shy' or '-' at its end, what that adds in inches, and the note of it."""
    match = _STRENGTH.fullmatch(body)
    if not match:
        return body, Fraction(0), ""
    strong = match["word"] in ("+", "strong", "full")
    shift = STRONG_INCHES if strong else -STRONG_INCHES
    return match["rest"], shift, f"{'strong' if strong else 'shy'}: {'+' if strong else '-'}1/32 in"


def _without_unit(body: str) -> tuple[str, str]:
    """Body less a unit at its end (feet stay: inches may follow them), and that unit."""
    match = _UNIT_AT_END.fullmatch(body)
    unit = _UNIT_OF_WORD.get(match["unit"], "") if match else ""
    return (match["rest"], unit) if match and unit else (body, "")


def _number(text: str, body: str, unit: str) -> _Number:
    """The exact number in the body, in inches or in a metric unit."""
    feet = _FEET.fullmatch(body) or _DASHED_FEET.fullmatch(body)
    if feet and unit not in _METRIC_MM:
        return _feet(text, feet)
    plain = _PLAIN.fullmatch(body)
    if not plain:
        raise _slip(text, body)
    if not unit:
        _inches(text, plain, metric=True)  # a writing fault is named before a missing unit
        raise UnitMissingError(
            "A length without a unit.", got=text, expected="a length with its unit", mend="Add in or mm."
        )
    if unit in _METRIC_MM and plain["part"]:
        raise AmbiguousLengthError(
            "a fraction in millimetres", got=text, expected=f"{unit} without a fraction", mend="Inches? Then write in."
        )
    value, step = _inches(text, plain, metric=unit in _METRIC_MM)
    if unit == "ft":
        return _Number(value * INCHES_PER_FOOT, step, "in", feet=True)
    return _Number(value, step, unit)


def _feet(text: str, match: re.Match[str]) -> _Number:
    """Feet, with or without inches, in inches."""
    groups = match.groupdict()
    feet = _decimal(text, match["feet"], metric=False)
    if not (groups.get("part") or groups.get("number")):
        return _Number(feet * INCHES_PER_FOOT, Fraction(1, 16), "in", feet=True)
    inches, step = _inches(text, match)
    if inches >= INCHES_PER_FOOT:
        raise _error(text, "inches below 12 after the feet", "Write it in inches alone, or correct it.")
    return _Number(feet * INCHES_PER_FOOT + inches, step, "in", feet=True)


def _inches(text: str, match: re.Match[str], *, metric: bool = False) -> tuple[Fraction, Fraction]:
    """Value and finest written step of the whole, part and number groups of a match."""
    groups = match.groupdict()
    if groups.get("part"):
        whole = int(groups["whole"] or 0)
        top, bottom = (int(n) for n in groups["part"].split("/"))
        _check_fraction(text, whole, top, bottom)
        return whole + Fraction(top, bottom), Fraction(1, bottom)
    number = groups["number"]
    digits = len(re.split("[.,]", number)[1]) if re.search("[.,]", number) else 0
    return _decimal(text, number, metric=metric), Fraction(1, 10**digits)


def _check_fraction(text: str, whole: int, top: int, bottom: int) -> None:
    lead = f"{whole} " if whole else ""
    if bottom not in DENOMINATORS:
        near = min(DENOMINATORS, key=lambda d: (abs(d - bottom), d != 16))
        if bottom > 0 and top < near:
            raise MistypedLengthError(text, "sixteenths", [f"{lead}{top}/{near}"])
        raise _error(text, "sixteenths", "Read it again.")
    if top >= bottom:
        carried = fraction_text(whole + Fraction(top, bottom))
        digit = str(top)[1:]
        other = [f"{lead}{int(digit)}/{bottom}"] if digit and 0 < int(digit) < bottom else []
        meant = dict.fromkeys([carried, *([] if whole else _spaced(str(top), bottom)), *other])
        raise MistypedLengthError(text, f"less than {bottom} {_NAMES[bottom]}", list(meant))


def _spaced(top: str, bottom: int) -> list[str]:
    """What a fraction may have meant that lost the space after its inches: 21/8, 2 1/8."""
    parts = [(top[:at], top[at:]) for at in range(1, len(top))]
    return [f"{inches} {rest}/{bottom}" for inches, rest in parts if rest[0] != "0" and int(rest) < bottom]


_NAMES = {2: "halves", 4: "quarters", 8: "eighths", 16: "sixteenths", 32: "thirty-seconds", 64: "sixty-fourths"}


def _decimal(text: str, number: str, *, metric: bool) -> Fraction:
    """A decimal number; a comma is a decimal comma in metric units, unless three digits follow it."""
    if "," in number:
        if not metric or re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", number):
            raise AmbiguousLengthError(
                "a comma that can be read in two ways",
                got=text,
                expected="a point before decimals, and nothing between thousands",
                mend=f"Did you mean {number.replace(',', '.')} or {number.replace(',', '')}?",
            )
        number = number.replace(",", ".")
    return Fraction(number if number[-1] != "." else number[:-1])


def _range(text: str, ends: re.Match[str], unit: str) -> Length:
    """The middle of a range such as '1/8-1/4', marked as one."""
    if unit not in _METRIC_MM and "/" not in ends[0] and " to " not in ends[0]:
        raise AmbiguousLengthError(
            "a dash between whole numbers",
            got=text,
            expected="one length",
            mend="Feet and inches, or from-to? Write 12 ft 7 in, or one number.",
        )
    low, high = (_number(text, ends[end].strip(), unit) for end in ("low", "high"))
    middle = _Number((low.value + high.value) / 2, min(low.step, high.step), low.unit)
    return _length(middle, text, doubt="range", note="the middle of a range")


def _length(
    number: _Number, text: str, *, sign: int = 1, shift: Fraction = Fraction(0), note: str = "", doubt: str = ""
) -> Length:
    """A Length of an exact number in inches or a metric unit."""
    if number.unit in _METRIC_MM:
        if shift:
            raise _error(text, "a number of millimetres", "Write what was read; strong and shy are for sixteenths.")
        scale = _METRIC_MM[number.unit]
        step = min(1.0, float(number.step * scale))
        return Length(float(sign * number.value * scale), None, "mm", step, doubt, note)
    inches = sign * (number.value + shift)
    step = min(SIXTEENTH_MM, float(number.step) * MM_PER_INCH)
    return Length(mm_from_inches(inches), inches, "in", step, doubt, note, number.feet)


def _slip(text: str, body: str) -> LengthError:
    """The error for a text that is no length, with the likely meaning where there is one."""
    for pattern, repair in _SLIPS:
        meant = pattern.fullmatch(body)
        candidate = meant.expand(repair) if meant else ""
        match = _PLAIN.fullmatch(candidate)
        if match and match["part"]:
            top, bottom = (int(n) for n in match["part"].split("/"))
            if bottom in DENOMINATORS and top < bottom:
                return MistypedLengthError(text, "a fraction", [candidate])
    return _error(text, "a length", "Write it like 1 3/16 or 30.2.")


def _error(got: str, expected: str, mend: str) -> LengthError:
    return LengthError("This cannot be read as a length.", got=got, expected=expected, mend=mend)
