"""Commands that simulate: study."""

import csv
import sys
from typing import Annotated, Literal

import typer

from monitor.cli import options, show

_Seed = Annotated[int, typer.Option("--seed", min=0, help="Same seed, same walls, same numbers.")]


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command(epilog=options.example("wallbow study --only 'one mark, string, 4 visits'"))(study)


def study(
    size: Annotated[
        Literal["small", "full"], typer.Option("--size", help="small: a few minutes; full: an hour, for the docs.")
    ] = "small",
    only: Annotated[str, typer.Option("--only", help="Only the cells with this text in their name.")] = "",
    seed: _Seed = 1,
    as_csv: Annotated[bool, typer.Option("--csv", help="CSV on stdout, row by row, for scripts.")] = False,
) -> None:
    """Try the model on simulated walls whose truth is known, and hold it to its targets.

    Prints for each kind of wall how often the 95 % bounds hold, how much of the list of moving walls is false, how
    late a wall at twice the threshold is found, how many still walls are called holding, and how many moving ones
    wrongly so; each with its 95 % interval. Judged with the default thresholds and variances.
    """
    from monitor.config import Settings
    from monitor.pipeline.listing import Listing
    from monitor.study import grid, run, table

    cells = run.chosen(grid.size(size), only)
    writer = csv.writer(sys.stdout, lineterminator="\n")
    if as_csv:
        writer.writerow(table.columns())
    done = []
    with show.progress("Simulating") as step:
        for row in run.study(cells, Settings(), seed=seed, progress=show.counted(step, cells.looks)):
            done.append(row)
            if as_csv:
                writer.writerow(table.values(row))
                sys.stdout.flush()
    missed = sum(bool(table.misses(row)) for row in done)
    closing = f"{sum(row.looks for row in done)} looks at walls; {missed} of {len(done)} cells miss a target."
    if as_csv:
        show.say(closing)
        return
    name = f"{size} size, seed {seed}"
    show.listing(Listing(f"How often the 95 % bounds hold ({name})", table.BOUNDS, list(map(table.bounds_texts, done))))
    show.listing(Listing(f"What the verdicts come to ({name})", table.LISTS, list(map(table.lists_texts, done))))
    for text in filter(None, map(table.miss_text, done)):
        show.data(f"Missed: {text}")
    show.say(closing)
