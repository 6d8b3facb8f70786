"""How results are shown in a terminal: tables and data on stdout, messages and progress on stderr."""

import csv
import io
import itertools
import shutil
import sys
import textwrap
import time
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import typer

from monitor.cli import exits

if TYPE_CHECKING:
    from datetime import datetime

    from monitor.pipeline.listed import Listing
    from monitor.results import Assessment
    from monitor.store import Store

SECONDS_BEFORE_BAR = 2.0
TABLE_WIDTH = 120
"""Narrower than that a table with sentences in it cannot be read."""
PIPED_WIDTH = 160
_AT_ONCE = 1000
"""Rows that are written at a time."""


def say(text: str) -> None:
    """A message to the person."""
    typer.echo(text, err=True)


def data(text: str) -> None:
    """A line of data."""
    typer.echo(text)


def unread(store: "Store") -> int:
    """Say what of a store was damaged and read past; the exit code that asks for."""
    from monitor.pipeline import damaged, keys

    if not store.unread:
        return exits.OK
    for sentence in damaged.sentences(store, keys.of(store.current("walls"))):
        say(sentence)
    return exits.DAMAGED


def listing(found: "Listing", *, as_csv: bool = False, in_blocks: bool = False) -> None:
    """A listing for people or as CSV for scripts; what closes it goes to stderr.

    For people a table, or where the terminal is narrow (or in_blocks) the listing's blocks of lines.
    """
    if as_csv:
        _csv(found)
    elif found.blocks and (in_blocks or _width() < TABLE_WIDTH):
        _blocks(found)
    else:
        _table(found)
    if found.closing:
        say(found.closing)


def judged_again(store: "Store", walls: "Collection[tuple[str, str]]") -> None:
    """Say what walls are judged to be with what came in or was ruled on, and which alerts that brought."""
    from monitor.cli import options
    from monitor.pipeline import verdict_listing

    now = options.moment_in(store)
    for line in verdict_listing.judged_again(store, walls, judged_on=options.today(), known_on=now):
        say(line)
    new_alerts(store, now, walls=walls)


def new_alerts(
    store: "Store",
    at: "datetime",
    assessment: "Assessment | None" = None,
    walls: "Collection[tuple[str, str]] | None" = None,
) -> None:
    """Say which alerts an assessment or files brought; they are on record when this returns. walls: of files."""
    from monitor.pipeline import alert_listing, alerting

    for line in alert_listing.of_look(store, alerting.look(store, at=at, walls=walls), assessment):
        say(line)


def _csv(found: "Listing") -> None:
    """Some rows at a time: a long list is never all there."""
    rows = itertools.chain([found.headers], found.rows)
    while some := list(itertools.islice(rows, _AT_ONCE)):
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerows(some)
        typer.echo(out.getvalue(), nl=False)


def _table(found: "Listing") -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    shown = Table(title=found.title, box=box.SIMPLE_HEAD, title_justify="left", pad_edge=False)
    headers, rows = found.wide or (found.headers, found.rows)
    for header in headers:
        shown.add_column(header, overflow="fold")
    for row in rows:
        shown.add_row(*(Text(cell) for cell in row))
    Console(width=_width()).print(shown)


def _blocks(found: "Listing") -> None:
    """Row after row, the first line to the margin and the others below it, indented; whole words on each line."""
    width = min(_width(), TABLE_WIDTH)
    data(found.title)
    for block in found.blocks:
        data("")
        for number, text in enumerate(block):
            indent = "  " if number else ""
            data(textwrap.fill(text, width, initial_indent=indent, subsequent_indent="  ", break_on_hyphens=False))
    data("")


def _width() -> int:
    """Columns to write in: the terminal's, where it is one."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else PIPED_WIDTH


def _nobody_sees(done: int, total: int) -> None:
    del done, total


@contextmanager
def progress(what: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on stderr that appears only where the work takes more than two seconds, and somebody may see it."""
    if not sys.stderr.isatty():
        yield _nobody_sees
        return
    from rich.console import Console
    from rich.progress import Progress

    began = time.monotonic()
    with Progress(console=Console(stderr=True), transient=True) as bar:
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
