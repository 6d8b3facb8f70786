"""The command that shows the visit plan."""

from typing import Annotated

import typer

from monitor.cli import options, show


def add_to(app: typer.Typer) -> None:
    """Add this room's command."""
    app.command(epilog=options.example("wallbow plan --store reports/demo/store --quarter 2026Q3"))(plan)


def plan(
    store: options.StorePath = options.DEFAULT_STORE,
    month: options.Month = None,
    quarter: Annotated[str, typer.Option("--quarter", metavar="QUARTER", help="Quarter to plan, e.g. 2026Q3.")] = "",
    months: Annotated[
        int, typer.Option("--months", min=1, max=60, help="No quarter: so many months from the assessment's day.")
    ] = 3,
    as_csv: Annotated[bool, typer.Option("--csv", help="CSV on stdout, for scripts.")] = False,
) -> None:
    """List the walls to visit: overdue ones by risk, then by what a visit would settle, each with the reason.

    Says what the visit could show and what a second set-up would bring. Reads the assessment that `assess` kept.
    """
    from monitor import store as stores
    from monitor.pipeline import assessing, visit_plan

    opened = stores.open(store)
    assessment = assessing.newest(opened, month, tables=())
    first, last = visit_plan.span(assessment, quarter, months)
    show.listing(visit_plan.visits(opened, assessment, first, last), as_csv=as_csv)
