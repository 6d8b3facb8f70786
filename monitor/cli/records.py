"""Commands that take records in: setup, register, ingest."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from monitor.cli import exits, mend_sheets, options, show

if TYPE_CHECKING:
    from monitor.pipeline.intake import Taken
    from monitor.store import Store

_Files = Annotated[
    list[Path],
    typer.Argument(
        help="CSV or XLSX files; for ingest also those of field sheets.",
        metavar="FILES...",
        exists=True,
        dir_okay=False,
        readable=True,
    ),
]
_Sender = Annotated[
    str, typer.Option("--sender", metavar="PERSON", help="Who sent the files (default your login name).")
]
_MendTo = Annotated[Path, typer.Option("--mend-to", metavar="FOLDER", help="Folder for mend sheets.")]
_MEND_TO = Path("mend")


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command(epilog=options.example("wallbow setup --store try-store --company 'the demo firm' --contact 555-0100"))(
        setup
    )
    app.command(
        epilog=options.example("wallbow company --store reports/demo/store --time-zone America/Chicago"),
    )(company)
    app.command(epilog=options.example("wallbow register --store try-store data/demo/register/*"))(register)
    app.command(epilog=options.example("wallbow ingest --store try-store data/demo/visits/2023-04-*"))(ingest)


def setup(
    store: options.StorePath = options.DEFAULT_STORE,
    company: Annotated[str, typer.Option("--company", metavar="NAME", help="Name on the pages.")] = "",
    contact: Annotated[
        str, typer.Option("--contact", metavar="TEXT", help="Whom a homeowner calls or writes to.")
    ] = "",
    parquet_at: Annotated[
        str,
        typer.Option(
            "--parquet-at",
            metavar="URI",
            help="Where the compacted files and the assessments' tables lie, e.g. s3://bucket/folder (default: in the "
            "store). It cannot be changed later.",
        ),
    ] = "",
) -> None:
    """Set up an empty store in a new or empty folder."""
    from monitor import store as stores

    named = {"name": company, "contact": contact}
    stores.create(store, company=named, created_at=options.now(), parquet_at=parquet_at)
    show.say(f"Set up an empty store in {store}. Next: wallbow register --store {store} FILES")


def company(
    store: options.StorePath = options.DEFAULT_STORE,
    name: Annotated[str | None, typer.Option("--name", metavar="NAME", help="Name on the pages.")] = None,
    contact: Annotated[
        str | None, typer.Option("--contact", metavar="TEXT", help="Whom a homeowner calls or writes to.")
    ] = None,
    time_zone: Annotated[
        str | None, typer.Option("--time-zone", metavar="NAME", help="Its time zone, e.g. America/Chicago.")
    ] = None,
    holidays: options.Holidays = None,
) -> None:
    """Show or change what the company says of itself, and its working days.

    Bad news is phoned first: a homeowner's page with new bad news goes out once `decide WALL 'called homeowner'` is on
    record, or by itself: a hard limit's at the end of that day, else at the end of the second working day after it.
    """
    from monitor import store as stores
    from monitor.pipeline import company_days

    opened = stores.open(store)
    given = {"name": name, "contact": contact, "time zone": time_zone}
    changed = {key: value for key, value in given.items() if value is not None}
    if holidays:
        changed["holidays"] = " ".join(sorted(day.isoformat() for day in holidays))
    stands = opened.office.company() | changed
    company_days.zone_of(stands)
    if changed:
        opened.office.set_company(stands)
    for key, value in sorted(stands.items()):
        show.data(f"{key}: {value}")


def register(
    files: _Files,
    store: options.StorePath = options.DEFAULT_STORE,
    sender: _Sender = "",
    mend_to: _MendTo = _MEND_TO,
) -> None:
    """Take in people, houses, walls, marks, instruments, thresholds and events.

    Which table a file or sheet holds is seen from its name or its columns. A row that cannot be taken is named, and
    written to a mend sheet; the others are taken.
    """
    from monitor import store as stores
    from monitor.errors import IntakeError
    from monitor.pipeline import intake

    opened = stores.open(store)
    code = exits.OK
    for path in files:
        try:
            tables = intake.take_register(
                opened,
                path.name,
                path.read_bytes(),
                received_at=options.moment_in(opened),
                sender=sender or options.me(),
            )
        except IntakeError as error:
            show.say(str(error))
            code = exits.NOT_TAKEN
            continue
        for taken in tables:
            code = max(code, _report(path, taken, mend_to))
    raise typer.Exit(code)


def ingest(
    files: _Files,
    store: options.StorePath = options.DEFAULT_STORE,
    sender: _Sender = "",
    mend_to: _MendTo = _MEND_TO,
    preview: Annotated[bool, typer.Option("--preview", help="Only say what would happen; write nothing.")] = False,
) -> None:
    """Take in files of readings, one visit or many, and the files that field sheets save.

    Every row ends as used, held, rejected or could-not-read, each with its reason. The same file twice adds nothing.
    Walls with new rows are judged again at once, where there was an assessment, and the list has them so.
    """
    from monitor import store as stores

    opened = stores.open(store)
    with opened.office.held_open():
        raise typer.Exit(_ingested(opened, files, sender, mend_to, preview=preview))


def _ingested(opened: "Store", files: list[Path], sender: str, mend_to: Path, *, preview: bool) -> int:
    from monitor.errors import IntakeError
    from monitor.pipeline import intake

    take = intake.preview_visit if preview else intake.take_visit
    code, walls = exits.OK, set[tuple[str, str]]()
    with show.progress("Taking in") as step:
        for number, path in enumerate(files, start=1):
            try:
                tables = take(
                    opened,
                    path.name,
                    path.read_bytes(),
                    received_at=options.moment_in(opened),
                    sender=sender or options.me(),
                    today=options.today(),
                )
            except IntakeError as error:
                show.say(str(error))
                code = exits.NOT_TAKEN
                continue
            for taken in tables:
                code = max(code, _report(path, taken, mend_to, preview=preview))
                walls.update(taken.walls)
            step(number, len(files))
    if walls:
        show.judged_again(opened, walls)
    return code


def _report(path: Path, taken: "Taken", mend_to: Path, *, preview: bool = False) -> int:
    """Say what became of a file and write its mend sheet; returns the exit code it asks for."""
    from monitor.pipeline import saying

    summary, messages = saying.of_intake(taken, preview=preview)
    show.data(summary)
    for message in messages:
        show.say(f"  {message}")
    if taken.intake.mend_sheet is None:
        return exits.OK
    if preview:
        return exits.ROWS_TO_MEND
    try:
        sheet = mend_sheets.keep(mend_to, path.name, taken.intake.holds, taken.intake.mend_sheet)
    except OSError as error:
        show.say(f"  The mend sheet could not be written to {mend_to} ({error.strerror}); choose another --mend-to.")
        return exits.ROWS_TO_MEND
    show.say(f"  The failing rows alone are in {sheet}: mend them there and send that file.")
    return exits.ROWS_TO_MEND
