"""Help that names values in plain words: DATE, NUMBER, TEXT, rather than a programmer's types."""

import re
from collections.abc import Callable
from difflib import get_close_matches
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

_ALIKE = 0.7
"""Twice the letters that two words share, of all their letters: 'flag' for 'flagged' is just above it."""
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


class PlainGroup(TyperGroup):
    """Commands of which one is suggested for an unknown word only where it may be a slip of the pen for it."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """As Typer's own, which suggests what shares three letters in five ('plan' for 'upload')."""
        self.suggest_commands = bool(get_close_matches(args[0], self.commands, cutoff=_ALIKE))
        return super().resolve_command(ctx, args)


class PlainTyper(typer.Typer):
    """A Typer whose commands have such help."""

    def __init__(self, **more: Any) -> None:
        super().__init__(**({"cls": PlainGroup} | more))

    def command(self, name: str | None = None, **more: Any) -> Callable[[Any], Any]:
        """As Typer's own, with PlainCommand as the class."""
        return super().command(name, **({"cls": PlainCommand} | more))
