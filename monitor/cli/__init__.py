"""The command `wallbow`: parse, call, show, exit code. Data goes to stdout, messages to stderr."""

import gc
import os
import sys
from contextlib import suppress
from importlib import import_module
from threading import active_count
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.cli.plain_help import PlainTyper

ROOMS = {
    "records": ("setup", "company", "register", "ingest"),
    "photos": ("photos", "release-photo", "withhold-photo"),
    "review": ("release", "reject", "correct", "withdraw", "decide"),
    "looking": ("assess", "flagged", "news", "wall"),
    "planning": ("plan",),
    "sheets": ("field-sheet", "as-built-sheet"),
    "repeating": ("repeatability",),
    "writing": ("reports", "export", "pack", "demo"),
    "proving": ("backup", "verify"),
    "alerts": ("alerts", "acknowledge", "tell", "tell-by"),
    "privacy": ("about-person", "erase-person", "legal-hold"),
    "links": ("link",),
    "serving": ("serve", "account"),
    "studies": ("study", "try-limits"),
}
"""Modules beside this one, in the order of the help, and the commands that each adds."""
_LOOK_FOR_CYCLES_EVERY = 200_000
"""Objects more, twice what a command loads: that stays, and was looked through hundreds of times while it loaded."""


def commands(word: str = "") -> "PlainTyper":
    """All commands, each room's own; where a command is named, those of its room alone."""
    from monitor.cli import exits
    from monitor.cli.plain_help import PlainTyper

    app = PlainTyper(
        name="wallbow",
        help="Bow monitoring for basement walls: readings of a visit in, flagged walls and reports out.",
        epilog=exits.TABLE,
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        add_completion=False,
    )
    app.callback()(_nothing)
    for room in [room for room, words in ROOMS.items() if word in words] or ROOMS:
        import_module(f"monitor.cli.{room}").add_to(app)
    return app


def _nothing() -> None:
    """Before any command; that it is there makes one command of many even where a room has no other."""


def main() -> None:
    """Run the command; every error of this package becomes one message on stderr and its exit code."""
    make_short_work()

    import typer

    from monitor.cli import exits
    from monitor.errors import BowError

    try:
        commands(*sys.argv[1:2])()
    except BowError as error:
        typer.echo(str(error), err=True)
        sys.exit(exits.of(error))


def run() -> None:
    """Run the command in a process of its own, and end that with it.

    Putting away all that was loaded, piece by piece, would take twice as long as the interpreter's own start. What a
    command acknowledged is on the disk by then. Where threads or processes may be at work yet, they are waited for.
    """
    code: str | int = 0
    try:
        main()
    except SystemExit as left:
        code = left.code or 0
    with suppress(OSError, ValueError):  # nobody reads any more: as ever
        sys.stdout.flush()
        sys.stderr.flush()
        if isinstance(code, int) and active_count() == 1 and "multiprocessing" not in sys.modules:
            os._exit(code)
    sys.exit(code)


def make_short_work() -> None:
    """Before the heavy libraries load: spare what would take as long as many a command itself."""
    gc.set_threshold(_LOOK_FOR_CYCLES_EVERY)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # matrices here are small; a process more shares the work better
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # else the service asks every package for one
