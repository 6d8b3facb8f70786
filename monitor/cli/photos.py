"""Commands for photos: photos (tie and list), release-photo, withhold-photo."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from monitor.cli import exits, options, show
from monitor.terms import PhotoAct

if TYPE_CHECKING:
    from monitor.pipeline.photo_intake import Given

_ON_DEMO = "--store reports/demo/store --who O1"
_Photo = Annotated[str, typer.Argument(help="Id of the photo, or its first signs (four or more).", metavar="PHOTO")]


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command(epilog=options.example(f"wallbow photos data/demo/photos {_ON_DEMO}"))(photos)
    app.command(
        "release-photo",
        epilog=options.example(f"wallbow release-photo ID {_ON_DEMO} --why 'the owner asked for it'")
        + " (ID from: wallbow photos --store reports/demo/store)",
    )(release_photo)
    app.command(
        "withhold-photo",
        epilog=options.example(f"wallbow withhold-photo ID {_ON_DEMO} --why 'things of the family in it'"),
    )(withhold_photo)


def photos(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            help="Photos, or folders of them; none: list those in the store.", metavar="FILES...", exists=True
        ),
    ] = None,
    store: options.StorePath = options.DEFAULT_STORE,
    who: Annotated[
        str, typer.Option("--who", metavar="PERSON", help="Person id of who ties them, as registered.")
    ] = "",
    house: Annotated[str, typer.Option("--house", metavar="HOUSE", help="House they were taken at.")] = "",
    wall: Annotated[str, typer.Option("--wall", metavar="WALL", help="Wall of that house, e.g. N.")] = "",
    visit: options.Visit = None,
    mark: Annotated[str, typer.Option("--mark", metavar="MARK", help="Mark that they show.")] = "",
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="A note, kept with each.")] = "",
    as_csv: options.AsCsv = False,
) -> None:
    """Tie photos (JPEG, PNG) to the readings that name them, or to what --house, --wall, --visit and --mark say.

    Place, time, device, thumbnails and texts are taken out; the picture is not changed, and your files stay as they
    are. Case, folder and ending of a name may differ. What could be meant in two ways is held and told (10), what is
    no picture refused (11). No photo is shown to a homeowner before `release-photo`. Pages show what was known when
    their assessment was made: run `wallbow assess` after.
    """
    from monitor import store as stores
    from monitor.pipeline import keys, photo_intake, photo_listing
    from monitor.pipeline.photo_intake import Fate, Shown

    opened = stores.open(store)
    if not files:
        key = keys.registered(opened, keys.written(house, wall)) if house or wall else None
        show.listing(photo_listing.listed(opened, key), as_csv=as_csv)
        return
    shown = Shown(house, wall, visit, mark)
    taken = photo_intake.tie(opened, list(_given(files)), shown, who=who, made_at=options.moment_in(opened), note=note)
    summary, lines = photo_listing.of_taken(taken)
    show.data(summary)
    for line in lines:
        show.say(line)
    codes = {Fate.REFUSED: exits.NOT_TAKEN, Fate.HELD: exits.ROWS_TO_MEND}
    raise typer.Exit(max((code for fate, code in codes.items() if taken.count(fate)), default=exits.OK))


def release_photo(
    photo: _Photo, who: options.Who, why: options.Why, store: options.StorePath = options.DEFAULT_STORE
) -> None:
    """Release a photo: the homeowner's page and the history show it, from the next assessment on."""
    _rule(photo, PhotoAct.RELEASE, who, why, store)


def withhold_photo(
    photo: _Photo, who: options.Who, why: options.Why, store: options.StorePath = options.DEFAULT_STORE
) -> None:
    """Withhold a photo that was released: pages made from the next assessment on do not show it."""
    _rule(photo, PhotoAct.WITHHOLD, who, why, store)


def _rule(photo: str, act: PhotoAct, who: str, why: str, store: Path) -> None:
    from monitor import store as stores
    from monitor.pipeline import keys
    from monitor.pipeline import photos as standing

    opened = stores.open(store)
    ruling = standing.rule(opened, photo, act, who=who, why=why, made_at=options.moment_in(opened))
    wall = keys.written(ruling["house"], ruling["wall"])
    show.say(
        f"Recorded: {ruling['act']} of photo {ruling['photo_id'][:8]} of {wall}. "
        "Run `wallbow assess` and `wallbow reports` for the pages to follow."
    )


def _given(files: list[Path]) -> "Iterator[Given]":
    """Files as given, and those in folders in the order of their names, by the path from the folder; no hidden ones."""
    from monitor.pipeline.photo_intake import Given

    for path in files:
        found = [path] if path.is_file() else sorted(each for each in path.rglob("*") if each.is_file())
        for each in found:
            name = each.name if each == path else each.relative_to(path).as_posix()
            if each == path or not any(part.startswith(".") for part in name.split("/")):
                yield Given(name, each.read_bytes, each.stat().st_size)
