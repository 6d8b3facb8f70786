"""Options that several commands share, and the one place that reads the clock."""

import getpass
import re
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from monitor.store import Store


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text.strip()) if len(text.strip()) == 10 else _no_day(text)
    except ValueError:
        return _no_day(text)


def _no_day(text: str) -> date:
    raise typer.BadParameter(f"'{text}' is no date. Write it like 2026-04-30.")


def moment(text: str) -> datetime:
    """An instant in UTC; a bare day counts to its last microsecond."""
    day, _, clock = text.strip().partition("T")
    if not clock:
        return datetime.combine(_day(day), time.max, tzinfo=UTC)
    try:
        return datetime.strptime(text.strip(), "%Y-%m-%dT%H:%M:%S").replace(tzinfo=UTC)
    except ValueError:
        raise typer.BadParameter(
            f"'{text}' is no date or moment. Write it like 2026-04-30 or 2026-04-30T17:00:00."
        ) from None


def _month(text: str) -> str:
    if not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", text.strip(), re.ASCII):
        raise typer.BadParameter(f"'{text}' is no month. Write it like 2026-04.")
    return text.strip()


StorePath = Annotated[
    Path, typer.Option("--store", envvar="WALLBOW_STORE", help="Folder of the store.", metavar="FOLDER")
]
DEFAULT_STORE = Path("wallbow-store")
Day = Annotated[
    date | None,
    typer.Option("--on", parser=_day, metavar="DATE", help="Day to judge for, e.g. 2026-04-30 (default today)."),
]
Due = Annotated[
    date | None, typer.Option("--due", parser=_day, metavar="DATE", help="By when, e.g. 2026-05-15; today or later.")
]
Until = Annotated[
    date | None, typer.Option("--until", parser=_day, metavar="DATE", help="Last day on which it opens anything.")
]
Holidays = Annotated[
    list[date] | None,
    typer.Option("--holiday", parser=_day, metavar="DATE", help="A day on which nobody works; give all of them anew."),
]
Visit = Annotated[
    date | None, typer.Option("--visit", parser=_day, metavar="DATE", help="Day of the visit, e.g. 2026-04-14.")
]
KnownOn = Annotated[
    datetime | None,
    typer.Option(
        "--known-on",
        parser=moment,
        metavar="DATE",
        help="Use only what was known by then, UTC (default now; a day counts to its end).",
    ),
]
Month = Annotated[
    str | None,
    typer.Option(
        "--month", parser=_month, metavar="MONTH", help="Month of the assessment, e.g. 2026-04 (default the newest)."
    ),
]
WallKey = Annotated[str, typer.Argument(help="Wall, written house-wall, e.g. DH-01-N.", metavar="WALL")]
Reading = Annotated[
    str, typer.Argument(help="Id of the reading, or its first signs (four or more).", metavar="READING")
]
Who = Annotated[str, typer.Option("--who", metavar="PERSON", help="Person id of who decides, as registered.")]
Why = Annotated[str, typer.Option("--why", metavar="REASON", help="The reason, in your words.")]
AsCsv = Annotated[bool, typer.Option("--csv", help="CSV on stdout, for scripts.")]


def now() -> datetime:
    """The time now, UTC."""
    return datetime.now(UTC)


def today() -> date:
    """Today where this machine stands."""
    return datetime.now().astimezone().date()


def me() -> str:
    """Login name, as sender where none is given."""
    return getpass.getuser()


def day_or_today(day: date | None) -> date:
    """The day given, else today."""
    return day or today()


def day_come(day: date | None) -> date:
    """The day given, else today; one that is not even tomorrow's is refused, as nothing is known of it.

    Tomorrow is here somewhere already.
    """
    if day_or_today(day) > today() + timedelta(days=1):
        raise typer.BadParameter(
            f"{day} is still to come. Walls are judged for a day that is here, today by default; see `wallbow plan` "
            "for the visits to come.",
            param_hint="--on",
        )
    return day_or_today(day)


def moment_in(store: "Store") -> datetime:
    """The time now, or the moment after the newest fact of a store where the clock is behind that, which is said."""
    from monitor.pipeline import moments

    found = moments.not_before(store, now())
    if found.said:
        _say_once(found.said)
    return found.at


@cache
def _say_once(text: str) -> None:
    typer.echo(text, err=True)


def known(known_on: datetime | None, store: "Store") -> datetime:
    """The instant given, else now, by which everything in the store is known; never one to come."""
    moment = moment_in(store)
    return min(known_on, moment) if known_on else moment


def example(line: str) -> str:
    """The epilog of a command's help: an example that works on the demo."""
    return f"Example: {line}"
