"""Values of a command line that need no library of types: texts, numbers, paths, words to choose from.

The library of commands reads each value by pydantic, which takes as long to load as many a command itself. What is not
plain, or not as it should be, is left to it, so that its words are what people see.
"""

import os
import re
from collections.abc import Callable
from enum import Enum
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

_NUMBERS = {int: re.compile(r"[0-9]+"), float: re.compile(r"[0-9]+(\.[0-9]+)?")}


def read_plainly(params: list[Any]) -> list[Any]:
    """The parameters of a command, their values read by what stands here."""
    for param in params:
        if not isinstance(param.get_runtime_param, _Plainly):
            param.get_runtime_param = _Plainly(param.get_runtime_param)
    return params


class _Plainly:
    """Reads the values of one parameter, in the place of what the library would make for it. own: makes that."""

    def __init__(self, own: Callable[[], Any]) -> None:
        self._own = own

    def __call__(self) -> "_Plainly":
        """What the library asks for, to read values by."""
        return self

    def coerce(self, value: Any, param: Any, ctx: Any) -> Any:
        """The value as its command takes it. Raises the library's own error for one that cannot be."""
        is_many = param.multiple or param.nargs == -1
        if value is None:
            return () if is_many else None
        kind, info = param.type_descriptor.annotation, param.type_descriptor.parameter_info
        try:
            if get_origin(kind) is list and is_many and not isinstance(value, str):
                return [_read(get_args(kind)[0], info, each) for each in value]
            return _read(kind, info, value)
        except ValueError:
            return self._own().coerce(value, param=param, ctx=ctx)


def _read(kind: Any, info: Any, value: Any) -> Any:
    """One value, of a text or as it stands. Raises ValueError where that is not plain."""
    if isinstance(kind, type) and type(value) is kind and kind is not str:
        return value  # a default
    if not isinstance(value, str):
        raise ValueError
    if info.parser:
        return info.parser(value)
    if get_origin(kind) is Literal and value in get_args(kind):
        return value
    if kind is str:
        return value
    if kind in _NUMBERS:
        return _number(kind, info, value)
    if kind is Path:
        return _path(info, Path(value))
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind(value)
    raise ValueError


def _number(kind: type[int] | type[float], info: Any, value: str) -> float:
    if not _NUMBERS[kind].fullmatch(value):
        raise ValueError
    found = kind(value)
    if (info.min is not None and found < info.min) or (info.max is not None and found > info.max):
        raise ValueError
    return found


def _path(info: Any, path: Path) -> Path:
    if not info.file_okay or info.writable or info.resolve_path or info.allow_dash or info.path_type:
        raise ValueError
    if path.exists() and (not os.access(path, os.R_OK) or (path.is_dir() and not info.dir_okay)):
        raise ValueError
    if info.exists and not path.exists():
        raise ValueError
    return path
