"""Commands that write folders and archives: reports, export, pack, demo."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from monitor.cli import exits, options, show


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command(epilog=options.example("wallbow reports --store reports/demo/store --to reports/demo/pages"))(reports)
    app.command(epilog=options.example("wallbow export --store reports/demo/store --to reports/demo/export"))(export)
    app.command(
        epilog=options.example("wallbow pack DH-02-E --store reports/demo/store --to reports/demo/DH-02-E.zip")
    )(pack)
    app.command(epilog=options.example("wallbow demo"))(demo)


def reports(
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER", help="Folder for the pages.")] = Path("reports/pages"),
    store: options.StorePath = options.DEFAULT_STORE,
    month: options.Month = None,
    known_on: Annotated[
        datetime | None,
        typer.Option(
            "--known-on",
            parser=options.moment,
            metavar="DATE",
            help="Write again the pages of then, from what was known by that day (UTC, to its end), and compare them.",
        ),
    ] = None,
) -> None:
    """Write the monthly list, and for each wall the office's page, the homeowner's and the history for a sale.

    What is written goes onto the ledger, by which `verify` proves a page. With --known-on nothing goes onto it: the
    pages of then are rebuilt from the facts and compared with those published (16 where one differs).
    """
    from monitor import store as stores
    from monitor.pipeline import assessed_again, assessing, editions, news_listing, proof_words, publishing, rebuilding

    opened = stores.open(store).sparing()
    now = options.moment_in(opened)
    with show.progress("Writing pages") as step:
        if known_on is None:
            found = assessing.newest(opened, month)
            published = publishing.publish(opened, found, to, published_at=now, progress=step)
            written, off_ledger = published.files, published.unrecorded
        else:
            rebuilt = rebuilding.rebuild(opened, to, known_on=known_on, month=month, progress=step)
            written, off_ledger = rebuilt.written, ""
    show.say(f"Wrote {len(written)} files. Start at {written[0]}")
    if known_on is None and (since := assessed_again.not_published(opened, found)):
        show.say(since)
    if known_on is None and (waiting := news_listing.after_writing(editions.of(opened, found, now).news)):
        show.say(waiting)
    if known_on is not None:
        for line in proof_words.of_rebuilt(rebuilt):
            show.data(line)
        raise typer.Exit(show.unread(opened) or (exits.ALTERED if rebuilt.differing else exits.OK))
    if off_ledger:
        show.say(off_ledger)
    raise typer.Exit(show.unread(opened))


def export(
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER", help="Folder for the CSV files.")],
    store: options.StorePath = options.DEFAULT_STORE,
    known_on: options.KnownOn = None,
) -> None:
    """Write everything as CSV files with a data dictionary. The people's table is among them: mind who gets it."""
    from monitor import store as stores
    from monitor.pipeline import export as exporting

    opened = stores.open(store).sparing()
    written = exporting.export(opened, to, known_on=options.known(known_on, opened))
    show.say(f"Wrote {len(written)} files to {to}; dictionary.csv says what each column means.")
    raise typer.Exit(show.unread(opened))


def pack(
    wall: options.WallKey,
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="The archive to write, e.g. DH-02-E.zip.")],
    store: options.StorePath = options.DEFAULT_STORE,
    month: options.Month = None,
) -> None:
    """Write all about one wall into one archive: readings, geometry, events, results, settings, the engineer's page.

    The photos tied to the wall are in it. No person is named in it.
    """
    from monitor import store as stores
    from monitor.pipeline import list_rows
    from monitor.pipeline import pack as packing

    opened = stores.open(store).sparing()
    replaced = ", in place of the pack that was there" if to.exists() else ""
    files = packing.pack(opened, list_rows.newest(opened, month), wall, to)
    show.say(f"Wrote {len(files)} files into {to}{replaced}; README.txt in it says what each one is.")


def demo(
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER", help="Folder for the demo's store and pages.")] = Path(
        "reports/demo"
    ),
    sent: Annotated[
        Path, typer.Option("--sent", metavar="FOLDER", help="Folder of the raw files; made there where missing.")
    ] = Path("data/demo"),
) -> None:
    """Take the invented demo houses through the whole line: raw files in, flagged walls and pages out."""
    from monitor.demo import run as demo_run
    from monitor.pipeline import listing, saying

    with show.progress("Running the demo") as step:
        done = demo_run.run(sent, to, progress=step)
    show.say(saying.of_intakes(done.taken))
    show.say(saying.of_assessment(done.assessment))
    show.listing(listing.flagged_briefly(done.store, done.assessment), in_blocks=True)
    show.listing(listing.held(done.store, done.assessment), in_blocks=True)
    show.say(f"The whole list: wallbow flagged --store {done.store.path}")
    show.say(f"One wall: wallbow wall DH-02-E --store {done.store.path}")
    show.say(f"Pages: start at {done.index}")
