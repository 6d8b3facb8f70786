"""Frozen dataclasses that cost little to define: a command defines some two hundred before it does anything.

The library's own writes six functions of source text for each such class and compiles them, which takes nearly thirty
times as long as the rest of its work, and a tenth of a command that takes in a visit. Here a class is made by it
without any of them, and gets them, the same for all, from one place. What type checkers see, and what `replace`,
`fields`, `asdict` and `FrozenInstanceError` say and do, is the library's.
"""

from dataclasses import MISSING, FrozenInstanceError, asdict, astuple, field, fields, replace
from typing import TYPE_CHECKING, Any

__all__ = ["FrozenInstanceError", "asdict", "astuple", "dataclass", "field", "fields", "replace"]

if TYPE_CHECKING:
    from dataclasses import dataclass
else:
    import dataclasses

    def dataclass(cls: type | None = None, /, *, frozen: bool = False, **more: bool) -> Any:
        """As dataclasses.dataclass; what is asked for besides frozen=True has the library do all of it."""
        if frozen and not more:
            return _frozen if cls is None else _frozen(cls)
        return dataclasses.dataclass(cls, frozen=frozen, **more)

    def _frozen(cls: type) -> type:
        if hasattr(cls, "__post_init__"):  # few look at what they are given
            return dataclasses.dataclass(cls, frozen=True)
        own = set(cls.__dict__)
        made = dataclasses.dataclass(cls, init=False, repr=False, eq=False)
        if len(made.__match_args__) < len(fields(made)):
            raise TypeError(f"{cls.__qualname__} has fields that are not given, or by name alone; no record here has")
        for name, shared in _SHARED.items():
            if name not in own:
                setattr(made, name, shared)
        return made


def _values(record: Any) -> tuple[Any, ...]:
    return tuple(getattr(record, each.name) for each in fields(record) if each.compare)


def _init(record: Any, /, *values: Any, **named: Any) -> None:
    """What the library would have written for each class: its fields in their order or by name, or their defaults."""
    names, held = record.__match_args__, record.__dict__
    held.update(zip(names, values))  # noqa: B905 (whether they are as many is seen below)
    held.update(named)
    if len(held) < len(values) + len(named) or not named.keys() <= set(names):
        raise TypeError(f"{type(record).__qualname__} takes each of {', '.join(names)} once")
    if len(held) < len(names):
        held.update({name: _default(record, name) for name in names if name not in held})


def _default(record: Any, name: str) -> Any:
    of = record.__dataclass_fields__[name]
    if of.default is not MISSING:
        return of.default
    if of.default_factory is not MISSING:
        return of.default_factory()
    raise TypeError(f"{type(record).__qualname__} lacks {name}")


def _set(record: Any, name: str, value: object) -> None:
    del record, value
    raise FrozenInstanceError(f"cannot assign to field {name!r}")


def _delete(record: Any, name: str) -> None:
    del record
    raise FrozenInstanceError(f"cannot delete field {name!r}")


def _equals(record: Any, other: object) -> bool:
    return _values(record) == _values(other) if other.__class__ is record.__class__ else NotImplemented


def _hash(record: Any) -> int:
    return hash(_values(record))


def _text(record: Any) -> str:
    said = (f"{each.name}={getattr(record, each.name)!r}" for each in fields(record) if each.repr)
    return f"{type(record).__qualname__}({', '.join(said)})"


_SHARED = {
    "__init__": _init,
    "__setattr__": _set,
    "__delattr__": _delete,
    "__eq__": _equals,
    "__hash__": _hash,
    "__repr__": _text,
}
