"""Commands that look: assess, flagged, news, wall."""

from typing import Annotated

import typer

from monitor.cli import options, show


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command(epilog=options.example("wallbow assess --store reports/demo/store --on 2026-04-30"))(assess)
    app.command(epilog=options.example("wallbow flagged --store reports/demo/store --month 2026-04"))(flagged)
    app.command(epilog=options.example("wallbow news --store reports/demo/store"))(news)
    app.command(epilog=options.example("wallbow wall DH-02-E --store reports/demo/store"))(wall)


def assess(
    store: options.StorePath = options.DEFAULT_STORE,
    on: options.Day = None,
    known_on: options.KnownOn = None,
    jobs: Annotated[
        int | None,
        typer.Option("--jobs", min=1, metavar="NUMBER", help="Processes to share the walls out to (default: cores)."),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler", metavar="ADDRESS", help="Share the walls out over a cluster, e.g. tcp://host:8786."
        ),
    ] = None,
) -> None:
    """Fit every wall and judge it for a day; keeps the result in the store.

    However the walls are shared out, the results are the same. A run that was cut short goes on where it was.
    """
    from monitor import store as stores
    from monitor.pipeline import assessing, cluster, saying, workers

    opened = stores.open(store)
    with show.progress("Assessing") as step:
        assessment = assessing.assess(
            opened,
            judged_on=options.day_come(on),
            known_on=options.known(known_on, opened),
            made_at=options.moment_in(opened),
            progress=step,
            tables=("wall_results",),
            columns={"wall_results": saying.ASKS_FOR},
            many=cluster.at(scheduler) if scheduler else workers.in_processes(jobs),
        )
    show.say(saying.of_assessment(assessment))
    if overruled := opened.overruled_on(assessment.judged_on, assessment.known_until):
        show.say(saying.of_overruled(overruled))
    show.new_alerts(opened, options.moment_in(opened), assessment)


def flagged(
    store: options.StorePath = options.DEFAULT_STORE,
    month: options.Month = None,
    held: Annotated[bool, typer.Option("--held", help="List the held readings instead, with their ids.")] = False,
    as_csv: options.AsCsv = False,
) -> None:
    """List the walls of a month that need somebody, most urgent first, with reason, next step and decision.

    Reads the assessment that `assess` kept; run that first.
    """
    from monitor import store as stores
    from monitor.pipeline import assessing, listing

    opened = stores.open(store).sparing()
    assessment = assessing.newest(opened, month, tables=("suspects",) if held else ())
    found = listing.held(opened, assessment) if held else listing.monthly(opened, assessment, options.moment_in(opened))
    show.listing(found, as_csv=as_csv, in_blocks=held)
    raise typer.Exit(show.unread(opened))


def news(
    store: options.StorePath = options.DEFAULT_STORE, month: options.Month = None, as_csv: options.AsCsv = False
) -> None:
    """List the walls with bad news: whose homeowner is to be phoned first, by when, and who was told.

    A call is put on record by `decide WALL 'called homeowner'`; one that reached nobody is not. Until then, or until
    the time to phone is over (see `company --help`), the homeowner's page says that readings are being checked.
    """
    from monitor import store as stores
    from monitor.pipeline import assessing, news_listing

    opened = stores.open(store).sparing()
    show.listing(
        news_listing.listed(opened, assessing.newest(opened, month, tables=()), options.moment_in(opened)),
        as_csv=as_csv,
    )
    raise typer.Exit(show.unread(opened))


def wall(wall: options.WallKey, store: options.StorePath = options.DEFAULT_STORE, month: options.Month = None) -> None:
    """Show one wall: verdict and why, rates, findings, held and latest readings with their ids.

    A wall that was assessed again since the list, as readings came in or were ruled on, is shown so. Readings that no
    assessment has yet are listed too, marked as not yet assessed.
    """
    from monitor import store as stores
    from monitor.pipeline import assessing, wall_listing

    opened = stores.open(store).sparing()
    assessment = assessing.newest(opened, month, tables=()) if month or opened.assessments() else None
    lines, tables = wall_listing.one_wall(opened, assessment, wall)
    for line in lines:
        show.data(line)
    for table in tables:
        show.listing(table)
    raise typer.Exit(show.unread(opened))
