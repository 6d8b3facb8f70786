"""Values of the command line read plainly are those that the library of commands reads by itself."""

from pathlib import Path
from typing import Any

import pytest
import typer
from typer._click import Context  # the library's own place for it

from monitor.cli import commands, plain_values
from monitor.cli.plain_values import read_plainly

TEXTS = (
    *("", " ", "x", "-", "5", "05", " 5", "5.0", "0.5", "5_0", "1e3", "-3", "+3", "٣", "nan", "61", "99999"),
    *("true", "2026-04-30", "2026-04", "2026-04-30T17:00:00", "mm", "MM", "plumb", "PLUMB", "full", "visit sooner"),
    *(".", "no such file", "a file"),
)


def params(command: Any, ctx: Any) -> list[tuple[Any, Any]]:
    """Every parameter of a command and of those below it, with its context."""
    own = [(param, ctx) for param in command.params]
    below = getattr(command, "commands", {}).items()
    return own + [each for name, one in below for each in params(one, Context(one, info_name=name, parent=ctx))]


def answer(read: Any, param: Any, ctx: Any, value: Any) -> Any:
    try:
        found = read.coerce(value, param=param, ctx=ctx)
        return type(found), found
    except typer.BadParameter as error:
        return error.message


def test_every_parameter_reads_every_text_as_the_library_does(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a file").write_text("")
    left = 0
    command = typer.main.get_command(commands())
    for param, ctx in params(command, Context(command)):
        own = param.get_runtime_param()
        read_plainly([param])
        plain = param.get_runtime_param()
        assert plain is not own
        many = param.multiple or param.nargs == -1
        for value in (None, *(((text,) for text in TEXTS) if many else TEXTS), *([(), (".", "x")] if many else [])):
            assert answer(plain, param, ctx, value) == answer(own, param, ctx, value), (param.name, value)
        left += param.default is not None
        assert answer(plain, param, ctx, param.default) == answer(own, param, ctx, param.default), param.name
    assert left > 50


def test_what_is_plain_is_not_left_to_the_library(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a file").write_text("")
    given = {
        "store": ".",
        "files": ("a file",),
        "jobs": "2",
        "years": "2.5",
        "month": "2026-04",
        "step": "visit sooner",
    }
    command = typer.main.get_command(commands())
    seen = set()
    for param, ctx in params(command, Context(command)):
        if param.name in given:
            plain = plain_values._Plainly(lambda: pytest.fail("left to the library"))
            plain.coerce(given[param.name], param, ctx)
            seen.add(param.name)
    assert seen == set(given)
