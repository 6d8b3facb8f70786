"""The commands of links, by which people without an account see one page: link new, list, log, end, sale, folder."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from monitor.cli import options, show
from monitor.cli.plain_help import PlainTyper
from monitor.terms import LinkTo

if TYPE_CHECKING:
    from monitor.pipeline.links import Link
    from monitor.store import Store

_ON_DEMO = "--store reports/demo/store"
_BY_O1 = f"{_ON_DEMO} --who O1"
_Id = Annotated[str, typer.Argument(help="Id of the link, or its first signs (four or more).", metavar="LINK")]
_Person = Annotated[str, typer.Option("--person", metavar="PERSON", help="Person id of whom it is for.")]
_Url = Annotated[
    str, typer.Option("--public-url", metavar="URL", help="Address of the service or host, put before the link.")
]
_Folder = Annotated[
    Path | None, typer.Option("--folder", metavar="FOLDER", help="Write its pages there too, for a host of files.")
]


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    link = PlainTyper(
        help="Links for people without an account: each opens one page of one wall, until a day or until it is ended.",
        epilog=options.example(f"wallbow link list {_ON_DEMO}"),
        no_args_is_help=True,
        rich_markup_mode=None,
    )
    link.command("new", epilog=options.example(f"wallbow link new DH-05-N {_BY_O1} --why 'asked for it'"))(new)
    link.command("list", epilog=options.example(f"wallbow link list {_ON_DEMO}"))(list_links)
    link.command(
        "log",
        epilog=options.example(f"wallbow link log ID {_ON_DEMO}") + f" (ID from: wallbow link list {_ON_DEMO})",
    )(log)
    link.command(
        "end",
        epilog=options.example(f"wallbow link end ID {_BY_O1} --why 'sent to the wrong address'"),
    )(end)
    link.command("sale", epilog=options.example(f"wallbow link sale DH-05 {_BY_O1} --why 'the house was sold'"))(sale)
    link.command("folder", epilog=options.example(f"wallbow link folder reports/links {_ON_DEMO}"))(folder)
    app.add_typer(link, name="link")


def new(
    wall: options.WallKey,
    who: options.Who,
    why: options.Why,
    store: options.StorePath = options.DEFAULT_STORE,
    opens: Annotated[
        LinkTo, typer.Option("--opens", help="The homeowner's page, the history for a sale, or the engineer's pack.")
    ] = LinkTo.HOMEOWNER,
    until: options.Until = None,
    person: _Person = "",
    public_url: _Url = "",
    to: _Folder = None,
    mail: Annotated[
        Path | None,
        typer.Option("--mail", metavar="FILE", help="Write a mail with it to --person into this file (.eml), to send."),
    ] = None,
    language: Annotated[str, typer.Option("--language", metavar="CODE", help="Of the mail: en or es.")] = "en",
) -> None:
    """Make a link. Its address is shown this once: only a hash of it is kept.

    Until when, where --until does not say it: 12 months, or 60 days past the wall's next visit where that is later; 3
    months for the history, 1 month for the pack.
    """
    from monitor.pipeline import link_mails, links
    from monitor.report.language import codes

    if mail and not public_url:
        raise typer.BadParameter("A mail needs the whole address: give --public-url.")
    if language not in codes():
        raise typer.BadParameter(f"'{language}' is none of {', '.join(codes())}.")
    opened = _opened(store)
    if mail:
        link_mails.recipient(opened, person)  # before the link is made
    link, token = links.make(
        opened,
        wall,
        opens,
        who=who,
        why=why,
        made_at=options.moment_in(opened),
        today=options.today(),
        expires_on=until,
        person_id=person,
    )
    _told([(link, token)], public_url, "/" if to else "/h/")
    if to:
        _write(opened, to, token)
    if mail:
        _mail(opened, mail, link, f"{public_url.rstrip('/')}{'/' if to else '/h/'}{token}/", language)


def list_links(
    store: options.StorePath = options.DEFAULT_STORE,
    wall: Annotated[str, typer.Option("--wall", metavar="WALL", help="Of this wall only.")] = "",
    as_csv: options.AsCsv = False,
) -> None:
    """List the links: what each opens, until when, for whom, and how often it was opened."""
    from monitor.pipeline import links
    from monitor.pipeline.link_listing import listing

    opened = _opened(store)
    show.listing(listing(opened, links.every(opened, wall), options.today()), as_csv=as_csv)


def log(link: _Id, store: options.StorePath = options.DEFAULT_STORE, as_csv: options.AsCsv = False) -> None:
    """Tell when a link was opened, and what came of it; from where is not kept."""
    from monitor.pipeline import links
    from monitor.pipeline.link_listing import openings

    opened = _opened(store)
    show.listing(openings(opened, links.find(opened, link)), as_csv=as_csv)


def end(
    link: _Id, who: options.Who, why: options.Why, store: options.StorePath = options.DEFAULT_STORE, to: _Folder = None
) -> None:
    """End a link for good: it opens a page that says nothing of any wall. A saved copy cannot be called back."""
    from monitor.pipeline import links

    opened = _opened(store)
    found = links.find(opened, link)
    links.end(opened, found, who=who, why=why, made_at=options.moment_in(opened))
    show.say(f"Ended: the link {found.row['link_id']} to {'-'.join(found.key)}.")
    if to:
        _write(opened, to)


def sale(
    house: Annotated[str, typer.Argument(help="House that was sold, e.g. DH-05.", metavar="HOUSE")],
    who: options.Who,
    why: options.Why,
    store: options.StorePath = options.DEFAULT_STORE,
    person: _Person = "",
    public_url: _Url = "",
) -> None:
    """After a sale: end all links of a house, and make its new owner one for each wall."""
    from monitor.pipeline import links

    opened = _opened(store)
    ended, made = links.after_sale(
        opened, house, who=who, why=why, made_at=options.moment_in(opened), today=options.today(), person_id=person
    )
    show.say(f"{len(ended)} {'link' if len(ended) == 1 else 'links'} ended.")
    _told(made, public_url)


def folder(
    to: Annotated[Path, typer.Argument(help="Folder with a folder for each link.", metavar="FOLDER")],
    store: options.StorePath = options.DEFAULT_STORE,
) -> None:
    """Write the pages of all links of a folder anew, for a host of files; ended links are left a page without a wall.

    On such a host nobody counts who opens a link, and a link ends only once its folder is written and uploaded again:
    run this at least every month, after each `wallbow link end`, and when news was told by phone.
    """
    _write(_opened(store), to)


def _write(opened: "Store", to: Path, token: str = "") -> None:
    from monitor.pipeline import link_folders

    done = link_folders.write(opened, to, at=options.moment_in(opened), today=options.today(), token=token)
    standing = sum(one.opens == "shown" for one in done)
    show.say(
        f"{to}: {standing} with pages, {len(done) - standing} that open nothing any more. On a host of files a link "
        "ends only when this folder is written and uploaded again."
    )


def _told(made: "Sequence[tuple[Link, str]]", public_url: str, path: str = "/h/") -> None:
    show.say("The address is shown this once; whoever has it sees the page. Put it into no subject of a mail.")
    for link, token in made:
        show.data(f"{public_url.rstrip('/')}{path}{token}/")
        row = link.row
        show.say(f"  {'-'.join(link.key)}, {row['opens']}, until {row['expires_on']}; id {row['link_id']}.")


def _mail(opened: "Store", file: Path, link: "Link", address: str, language: str) -> None:
    from monitor.pipeline import link_mails

    file.write_bytes(link_mails.made(opened, link, address, code=language, at=options.moment_in(opened)))
    show.say(f"The mail is in {file}: send it, and then delete the file, for it opens the page.")


def _opened(store: Path) -> "Store":
    from monitor import store as stores

    return stores.open(store)
