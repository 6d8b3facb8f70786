"""The commands that make sheets for the technicians."""

from pathlib import Path
from typing import Annotated

import typer

from monitor.cli import options, show


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command(
        "field-sheet",
        epilog=options.example(
            "wallbow field-sheet --wall DH-01-N --wall DH-02-E --store reports/demo/store --on 2026-05-04 --to sheets"
        ),
    )(field_sheet)
    app.command(
        "as-built-sheet",
        epilog=options.example("wallbow as-built-sheet DH-09-E --store reports/demo/store --on 2026-05-04 --to sheets"),
    )(as_built_sheet)


def field_sheet(
    walls: Annotated[
        list[str] | None,
        typer.Option("--wall", metavar="WALL", help="A wall, e.g. DH-01-N; as often as there are walls."),
    ] = None,
    store: options.StorePath = options.DEFAULT_STORE,
    by_plan: Annotated[bool, typer.Option("--route", help="The walls due by the visit plan on the day.")] = False,
    most: Annotated[int, typer.Option("--most", min=1, max=60, help="With --route: at most so many walls.")] = 12,
    on: options.Day = None,
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER", help="Folder for the sheet.")] = Path("sheets"),
    blind: Annotated[
        bool,
        typer.Option("--blind", help="Hide what is expected until a value is typed, so that nobody reads towards it."),
    ] = False,
) -> None:
    """Make the sheet for a visit or a day's route: one file to print, or to fill in on a phone without signal.

    It says what each mark read last, what is expected of it and from where to where that is fine: the range that
    `ingest` holds readings to. The file that it saves goes in by `ingest`.
    """
    from monitor import store as stores
    from monitor.pipeline import assessing, field_sheets

    if by_plan == bool(walls):
        raise typer.BadParameter("Name walls with --wall, or ask for those due with --route.")
    opened, day = stores.open(store), options.day_or_today(on)
    assessment = (
        assessing.newest(opened, tables=("plan",) if by_plan else ()) if by_plan or opened.assessments() else None
    )
    keys = field_sheets.route(assessment, day, most) if assessment and by_plan else walls or []
    sheet = field_sheets.field_sheet(
        opened, keys, day=day, known_on=options.moment_in(opened), assessment=assessment, blind=blind
    )
    path = field_sheets.write(sheet, to)
    for wall in sheet.walls:
        show.data(
            f"{wall.key}: {sum(len(line.marks) for line in wall.lines)} readings"
            + (f", twice ({wall.second_why})" if wall.second_why else "")
        )
    show.say(f"Wrote {path}. Open it in a browser: print it, or send it to the phone.")


def as_built_sheet(
    wall: options.WallKey,
    store: options.StorePath = options.DEFAULT_STORE,
    on: options.Day = None,
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER", help="Folder for the sheet.")] = Path("sheets"),
) -> None:
    """Make the sheet for the day a wall is reinforced: the reading before, the work in its order, the reading after.

    One file to print, or to fill in on a phone without signal. The file that it saves goes in by `ingest`: the record
    of the work and what became of marks into the register, and the readings of before and after.
    """
    from monitor import store as stores
    from monitor.pipeline import assessing, field_sheets

    opened = stores.open(store)
    assessment = assessing.newest(opened, tables=()) if opened.assessments() else None
    sheet = field_sheets.as_built_sheet(
        opened, wall, day=options.day_or_today(on), known_on=options.moment_in(opened), assessment=assessment
    )
    show.say(f"Wrote {field_sheets.write(sheet, to)}. Open it in a browser: print it, or send it to the phone.")
