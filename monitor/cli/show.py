"""How results are shown in a terminal: tables and data on stdout, messages and progress on stderr."""

import csv
import io
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from monitor.pipeline.listing import Listing

SECONDS_BEFORE_BAR = 2.0


def say(text: str) -> None:
    """A message to the person."""
    typer.echo(text, err=True)


def data(text: str) -> None:
    """A line of data."""
    typer.echo(text)


def listing(found: "Listing", *, as_csv: bool = False) -> None:
    """A listing as a table for people, or as CSV for scripts; what closes it goes to stderr."""
    if as_csv:
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerows([found.headers, *found.rows])
        typer.echo(out.getvalue(), nl=False)
    else:
        _table(found)
    if found.closing:
        say(found.closing)


def _table(found: "Listing") -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    shown = Table(title=found.title, box=box.SIMPLE_HEAD, title_justify="left", pad_edge=False)
    for header in found.headers:
        shown.add_column(header, overflow="fold")
    for row in found.rows:
        shown.add_row(*(Text(cell) for cell in row))
    console = Console() if sys.stdout.isatty() else Console(width=160)
    console.print(shown)


@contextmanager
def progress(what: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on stderr that appears only where the work takes more than two seconds."""
    from rich.console import Console
    from rich.progress import Progress

    began = time.monotonic()
    with Progress(console=Console(stderr=True), transient=True, disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task(what, total=None, visible=False)

        def step(done: int, total: int) -> None:
            bar.update(task, completed=done, total=total, visible=time.monotonic() - began > SECONDS_BEFORE_BAR)

        yield step


def counted(step: Callable[[int, int], None], total: int) -> Callable[[int], None]:
    """A step that adds up what is done, for work whose total is known beforehand, about."""
    done = 0

    def more(count: int) -> None:
        nonlocal done
        done += count
        step(min(done, total), total)

    return more
