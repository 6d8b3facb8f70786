"""JSON documents: frozen records of checked values, as text and back, and what is said of one that cannot be.

A record that is made in code is taken at its word; `of_json`, `of_values` and `checked` look at every value.
"""

import json
import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from functools import reduce
from typing import Any, TypeVar

import msgspec
from msgspec import DecodeError, Struct, ValidationError

_PLACE = re.compile(r" - at (?:`key` in )?`\$\.?(.*)`$")
_SOME = "[...]"
_AT_BYTE = re.compile(r"(?:JSON is malformed: )?(.*) \(byte ([0-9]+)\)")
_SHOWN = 60
_TYPES = {
    "float": "a number",
    "int": "a whole number",
    "str": "a text",
    "bool": "true or false",
    "object": "names with values in braces",
    "array": "a list",
}
_BOUNDS = {">": "greater than", ">=": "at least", "<": "less than", "<=": "at most"}


class Document(Struct, frozen=True, forbid_unknown_fields=True):
    """A record that a file holds as a JSON object; a name that it does not know is refused."""


T = TypeVar("T", bound=Document)


class RefusedError(ValueError):
    """A value that a document may not have. cell: where in it, such as `rules.alpha`; why: in plain words."""

    def __init__(self, cell: str, why: str) -> None:
        super().__init__(f"{cell}: {why}" if cell else why)
        self.cell = cell
        self.why = why


class NotJsonError(RefusedError):
    """A text that is no JSON. why: what is wrong, in which line and column (both from 1, in signs), and that line."""

    def __init__(self, data: bytes, said: str, at: int) -> None:
        before, text = (part.decode("utf-8", "replace") for part in (data[:at], data))
        number, column = before.count("\n") + 1, len(before) - before.rfind("\n")
        line = text.split("\n")[number - 1].strip()
        shown = f"{line[:_SHOWN]}…" if len(line) > _SHOWN else line
        where = f"line {number}, column {column}"
        super().__init__("", f"it is not JSON: {said} in {where}{f', which is `{shown}`' if shown else ''}")


def of_json(kind: type[T], data: bytes | str) -> T:
    """A document of its text. Raises RefusedError."""
    try:
        return msgspec.json.decode(data, type=kind, strict=False)  # not strict: 3.0 and "3" are whole numbers as well
    except ValidationError as error:
        raise _refused(error, kind, lambda: json.loads(data)) from error
    except (DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise _not_json(error, data.encode() if isinstance(data, str) else data) from error


def of_hand(kind: type[T], data: bytes) -> T:
    """A document of a text that a person may have typed: as of_json, but no name may stand twice in one object."""
    found = of_json(kind, data)  # first: what it takes is JSON, and nested no deeper than the document
    json.loads(data, object_pairs_hook=_once_each)
    return found


def of_values(kind: type[T], values: Mapping[str, Any]) -> T:
    """A document of its values by name. Raises RefusedError."""
    try:
        return msgspec.convert(values, kind, strict=False)
    except ValidationError as error:
        raise _refused(error, kind, lambda: values) from error


def checked(document: T) -> T:
    """A document that was made in code, every value looked at. Raises RefusedError."""
    return of_values(type(document), values_of(document))


def values_of(document: Document) -> dict[str, Any]:
    """Its values by name, those of documents within it in the same way."""
    return dict(msgspec.to_builtins(document))


def to_json(document: Document) -> str:
    """Its text, on one line."""
    return msgspec.json.encode(document).decode()


def _once_each(pairs: Sequence[tuple[str, Any]]) -> Mapping[str, Any]:
    for name, count in Counter(name for name, _ in pairs).items():
        if count > 1:
            raise RefusedError(name, f"it is given {count} times")
    return dict(pairs)


def _not_json(error: Exception, data: bytes) -> RefusedError:
    try:
        data.decode()
    except UnicodeDecodeError as bad:
        return NotJsonError(data, "a sign that is not UTF-8", bad.start)
    if match := _AT_BYTE.fullmatch(str(error)):
        return NotJsonError(data, match[1], int(match[2]))
    if isinstance(error, DecodeError):
        return NotJsonError(data, "it ends too early", len(data.rstrip()))
    return RefusedError("", f"it is not JSON: {error}")


def _refused(error: ValidationError, kind: type[Document], values: Callable[[], Any]) -> RefusedError:
    """What the library says of the first value that cannot be, as place and plain words."""
    said = str(error)
    match = _PLACE.search(said)
    within = match[1] if match else ""
    if _SOME in within:
        with suppress(ValueError, LookupError, TypeError, RecursionError):  # cut off after it, or in a list: no name
            within = _named(within, kind, values())
    if isinstance(error.__cause__, RefusedError):
        return RefusedError(_joined(within, error.__cause__.cell), error.__cause__.why)
    said = said[: match.start()] if match else said
    if name := re.fullmatch(r"Object contains unknown field `(.*)`", said):
        return RefusedError(_joined(within, name[1]), "there is no such entry")
    if name := re.fullmatch(r"Object missing required field `(.*)`", said):
        return RefusedError(_joined(within, name[1]), "it is missing")
    return RefusedError(within, _in_plain_words(said))


def _named(within: str, kind: type[Document], values: Mapping[str, Any]) -> str:
    """A place with the entry of a mapping by name, where the library says only that it is one: the first that fails."""
    path, _, rest = within.partition(_SOME)
    for name in _at(values, path):
        try:
            msgspec.convert(_with_one(values, path.split("."), name), kind, strict=False)
        except ValidationError:
            return f"{path}.{name}{rest}"
    return within


def _at(values: Any, path: str) -> Any:
    return reduce(lambda within, name: within[name], path.split("."), values)


def _with_one(values: Mapping[str, Any], path: Sequence[str], name: str) -> Mapping[str, Any]:
    """The same values, but of the mapping at that path one entry alone."""
    first, *rest = path
    return {**values, first: _with_one(values[first], rest, name) if rest else {name: values[first][name]}}


def _joined(*parts: str) -> str:
    return ".".join(filter(None, parts))


def _in_plain_words(said: str) -> str:
    if said == "Number out of range":
        return "it is too large"
    if other := re.fullmatch(r"Expected `(.*)`, got `(.*)`", said):
        wanted, found = other.groups()
        if (wanted, found) == ("int", "float"):
            return "it should be a whole number, not one with a fraction"
        return f"it should be {_types(wanted)}, not {_types(found)}"
    if bound := re.fullmatch(r"Expected `.*`( of length)? ([<>]=?) (.*)", said):
        of, sign, number = bound.groups()
        limit = f"{_BOUNDS[sign]} {float(number):g}"
        return f"it should have {limit} {'sign' if float(number) == 1 else 'signs'}" if of else f"it should be {limit}"
    if word := re.fullmatch(r"Invalid enum value (.*)", said):
        return f"{word[1]} is none of the words it may be"
    return said


def _types(names: str) -> str:
    return " or ".join(_TYPES.get(name, name) for name in names.split(" | "))
