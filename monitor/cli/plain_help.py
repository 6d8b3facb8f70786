"""Help that names values in plain words: DATE, NUMBER, TEXT, rather than a programmer's types."""

import re
from collections.abc import Callable
from typing import Any

import typer
from typer.core import TyperCommand

_TYPE = re.compile(r" <([^<>]*)>$")
_PLAIN = {"str": "TEXT", "int": "NUMBER", "int range": "NUMBER", "float": "NUMBER", "float range": "NUMBER"}


class PlainCommand(TyperCommand):
    """A command with such help."""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write what is asked for and the options, each value in a plain word."""
        for heading, kind in (("Arguments", "argument"), ("Options", "option")):
            found = [param.get_help_record(ctx) for param in self.get_params(ctx) if param.param_type_name == kind]
            lines = [(_plain(name, kind), text) for name, text in filter(None, found)]
            if lines:
                with formatter.section(heading):
                    formatter.write_dl(lines)


def _plain(name: str, kind: str) -> str:
    """'--before <str>' -> '--before TEXT'; an argument's own name says what it is; words to choose from stay."""
    match = _TYPE.search(name)
    if not match:
        return name
    if "|" in match[1]:
        return f"{name[: match.start()]} ({match[1].replace('|', ' | ')})"
    word = "" if kind == "argument" else f" {_PLAIN.get(match[1], 'VALUE')}"
    return name[: match.start()] + word


class PlainTyper(typer.Typer):
    """A Typer whose commands have such help."""

    def command(self, name: str | None = None, **more: Any) -> Callable[[Any], Any]:
        """As Typer's own, with PlainCommand as the class."""
        return super().command(name, **({"cls": PlainCommand} | more))
