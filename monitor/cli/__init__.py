"""The command `wallbow`: parse, call, show, exit code. Data goes to stdout, messages to stderr."""

import gc
import os
import sys

import typer

from monitor.cli import exits
from monitor.cli.plain_help import PlainTyper

_LOOK_FOR_CYCLES_EVERY = 100_000
"""Objects more: what is loaded stays, and was looked through hundreds of times while it loaded."""


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

    _make_short_work()
    try:
        commands()()
    except BowError as error:
        typer.echo(str(error), err=True)
        sys.exit(exits.of(error))
    finally:
        gc.freeze()  # the process ends: looking through all that it loaded for cycles takes longer than to start


def _make_short_work() -> None:
    """Before the heavy libraries load: spare what would take as long as many a command itself."""
    gc.set_threshold(_LOOK_FOR_CYCLES_EVERY)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # matrices here are small; a process more shares the work better
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # else every package installed is asked for one
