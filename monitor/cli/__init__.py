"""The command `wallbow`: parse, call, show, exit code. Data goes to stdout, messages to stderr."""

import sys

import typer

from monitor.cli import exits
from monitor.cli.plain_help import PlainTyper


def commands() -> PlainTyper:
    """All commands, each room's own."""
    from monitor.cli import (
        alerts,
        links,
        looking,
        photos,
        planning,
        privacy,
        proving,
        records,
        repeating,
        review,
        serving,
        sheets,
        studies,
        writing,
    )

    app = PlainTyper(
        name="wallbow",
        help="Bow monitoring for basement walls: readings of a visit in, flagged walls and reports out.",
        epilog=exits.TABLE,
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        add_completion=False,
    )
    for room in (
        records,
        photos,
        review,
        looking,
        planning,
        sheets,
        repeating,
        writing,
        proving,
        alerts,
        privacy,
        links,
        serving,
        studies,
    ):
        room.add_to(app)
    return app


def main() -> None:
    """Run the command; every error of this package becomes one message on stderr and its exit code."""
    from monitor.errors import BowError

    try:
        commands()()
    except BowError as error:
        typer.echo(str(error), err=True)
        sys.exit(exits.of(error))
