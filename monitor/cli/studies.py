"""Commands that simulate: study, try-limits."""

import csv
import sys
from typing import Annotated, Literal

import typer

from monitor.cli import options, show
from monitor.terms import Method

_Seed = Annotated[int, typer.Option("--seed", min=0, help="Same seed, same walls, same numbers.")]


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command(epilog=options.example("wallbow study --only 'one mark, string, 4 visits'"))(study)
    app.command(
        "try-limits",
        epilog=options.example(
            "wallbow try-limits --store reports/demo/store --on 2026-04-30 --after '1/16 in' --walls 20"
        ),
    )(try_limits)


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
    from monitor.pipeline.listed import Listing
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


def try_limits(
    store: options.StorePath = options.DEFAULT_STORE,
    on: options.Day = None,
    before: Annotated[
        str, typer.Option("--before", help="Inward movement a year before reinforcement, e.g. '1/8 in'.")
    ] = "",
    after: Annotated[str, typer.Option("--after", help="The same after it, e.g. '1/16 in' or '2 mm'.")] = "",
    method: Annotated[
        Method | None, typer.Option("--method", help="No store: walls all read by this method, in its ordinary way.")
    ] = None,
    company_walls: Annotated[int, typer.Option("--company-walls", min=1, help="With --method: how many.")] = 100,
    visits_a_year: Annotated[
        float, typer.Option("--visits-a-year", min=0.2, max=52, help="With --method: how often each is visited.")
    ] = 2.0,
    walls: Annotated[int, typer.Option("--walls", min=5, help="Walls simulated for each number.")] = 200,
    years: Annotated[float, typer.Option("--years", min=1, max=20, help="How long they are visited.")] = 5.0,
    seed: _Seed = 1,
    as_csv: Annotated[bool, typer.Option("--csv", help="CSV on stdout, for scripts.")] = False,
) -> None:
    """Try thresholds on a simulated company like your own, before you agree them with your engineer.

    Says how many false flags a year to expect, how late a wall at twice the threshold is found, and how many still
    walls can be called holding. Walls, marks, methods, visit habits, variances and thresholds not given are the
    store's; with --method no store is needed.
    """
    from monitor import store as stores
    from monitor.config import Settings
    from monitor.study import company as companies
    from monitor.study import limits, limits_table

    if method is not None:
        own = companies.ordinary(method, company_walls, visits_a_year, Settings())
    else:
        own = companies.from_store(stores.open(store), options.day_or_today(on))
    own = companies.with_thresholds(own, before, after)
    total = limits.looks_about(own, walls, years)
    with show.progress("Simulating") as step:
        tried = list(limits.try_limits(own, walls=walls, years=years, seed=seed, progress=show.counted(step, total)))
    show.listing(limits_table.listing(own, tried, years=years, seed=seed), as_csv=as_csv)
