"""Options that several commands share, and the one place that reads the clock."""

import getpass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated

import typer

StorePath = Annotated[
    Path, typer.Option("--store", envvar="WALLBOW_STORE", help="Folder of the store.", show_default=True)
]
DEFAULT_STORE = Path("wallbow-store")
Day = Annotated[datetime | None, typer.Option("--on", formats=["%Y-%m-%d"], help="Day to judge for (default today).")]
KnownOn = Annotated[
    datetime | None,
    typer.Option(
        "--known-on",
        formats=["%Y-%m-%d", "%Y-%m-%dT%H:%M:%S"],
        help="Use only what was known by then, UTC (default now; a day counts to its end).",
    ),
]
Month = Annotated[
    str | None, typer.Option("--month", help="Month of the assessment, e.g. 2026-04 (default the newest).")
]
WallKey = Annotated[str, typer.Argument(help="Wall, written house-wall, e.g. DH-01-N.", metavar="WALL")]
Reading = Annotated[
    str, typer.Argument(help="Id of the reading, or its first signs (four or more).", metavar="READING")
]
Who = Annotated[str, typer.Option("--who", help="Person id of who decides.")]
Why = Annotated[str, typer.Option("--why", help="The reason, in your words.")]


def now() -> datetime:
    """The time now, UTC."""
    return datetime.now(UTC)


def today() -> date:
    """Today where this machine stands."""
    return datetime.now().astimezone().date()


def me() -> str:
    """Login name, as sender where none is given."""
    return getpass.getuser()


def day_or_today(day: datetime | None) -> date:
    """The day given, else today."""
    return day.date() if day else today()


def known(known_on: datetime | None) -> datetime:
    """The instant given in UTC (a bare day: its last microsecond), else now."""
    if known_on is None:
        return now()
    moment = known_on.replace(tzinfo=UTC)
    return (
        moment.replace(hour=23, minute=59, second=59, microsecond=999999)
        if moment.time() == moment.min.time()
        else moment
    )


def example(line: str) -> str:
    """The epilog of a command's help: an example that works on the demo."""
    return f"Example: {line}"
