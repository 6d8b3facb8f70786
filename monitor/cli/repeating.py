"""The command that estimates and shows the company's own repeatability."""

from typing import Annotated

import typer

from monitor.cli import options, show


def add_to(app: typer.Typer) -> None:
    """Add this room's command."""
    app.command(epilog=options.example("wallbow repeatability --store reports/demo/store --on 2026-04-30"))(
        repeatability
    )


def repeatability(
    store: options.StorePath = options.DEFAULT_STORE,
    on: options.Day = None,
    known_on: options.KnownOn = None,
    only_show: Annotated[bool, typer.Option("--show", help="Only show what was estimated last.")] = False,
    technicians: Annotated[
        bool, typer.Option("--technicians", help="Add each technician's set-ups against the others'. Private.")
    ] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="CSV on stdout, for scripts.")] = False,
) -> None:
    """Estimate from your own walls how well you read, by method; every later assessment rests on it.

    Shows the sd of one reading and of one set-up beside the instruments' defaults. Keeps the estimate in the store;
    run it again when many visits have come in.
    """
    from monitor import store as stores
    from monitor.pipeline import listing
    from monitor.pipeline import repeatability as own

    opened, day = stores.open(store), options.day_or_today(on)
    known = options.known(known_on, opened)
    made = options.moment_in(opened)
    if not only_show and not own.estimate(opened, judged_on=day, known_on=known, made_at=made):
        show.say("No reading counts yet, so nothing was estimated: the defaults hold.")
    known = max(known, made)
    show.listing(listing.repeatability(opened, judged_on=day, known_on=known), as_csv=as_csv)
    if technicians:
        show.listing(listing.technicians(opened, judged_on=day, known_on=known), as_csv=as_csv)
