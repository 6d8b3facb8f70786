"""Commands that keep records provable: verify (the store whole, or a page as we wrote it), backup."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from monitor.cli import exits, options, show

if TYPE_CHECKING:
    from monitor.results import Proof
    from monitor.store import Store


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command(epilog=options.example("wallbow backup --store reports/demo/store --to reports/demo/backup"))(backup)
    app.command(epilog=options.example("wallbow verify --store reports/demo/store"))(verify)


def verify(
    store: options.StorePath = options.DEFAULT_STORE,
    page: Annotated[
        Path | None,
        typer.Option(
            "--page", metavar="FILE", exists=True, dir_okay=False, readable=True, help="A page's file, as it was sent."
        ),
    ] = None,
    number: Annotated[
        str | None, typer.Option("--number", metavar="NUMBER", help="A page's number, e.g. fc2a-d9c1-9cb7.")
    ] = None,
) -> None:
    """Prove the store whole: every file, hash, count and schema. Exit code 14 where damage is found.

    With --page or --number: say whether that page is as we wrote it (16 where it was altered, 13 where it is unknown),
    and whether another has taken its place, which one and why (17).
    """
    from monitor import store as stores

    if page and number:
        raise typer.BadParameter("Give --page or --number, not both.")
    opened = stores.open(store)
    raise typer.Exit(_of_page(opened, page, number) if page or number else _of_store(opened))


def backup(
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER", help="New or empty folder for the copy.")],
    store: options.StorePath = options.DEFAULT_STORE,
) -> None:
    """Copy the store as of one moment, while others may go on writing, and prove the copy whole (14 where it is not).

    The copy is a store: to restore it put it where the store was, or open it where it is. Copy the folder by other
    means only while nobody writes.
    """
    from monitor import store as stores
    from monitor.store.backup import back_up

    proof = back_up(stores.open(store), to)
    show.say(f"The copy is in {to}.")
    raise typer.Exit(_told(proof))


def _of_page(store: "Store", page: Path | None, number: str | None) -> int:
    from monitor.pipeline import page_proof, proof_words

    proof = page_proof.of_file(store, page.read_bytes()) if page else page_proof.of_number(store, number or "")
    for line in proof_words.of_page(proof):
        show.data(line)
    codes = {page_proof.Standing.ALTERED: exits.ALTERED, page_proof.Standing.UNKNOWN: exits.NOT_FOUND}
    return codes.get(proof.standing, exits.SUPERSEDED if proof.is_superseded else exits.OK)


def _of_store(store: "Store") -> int:
    from monitor.store.verify import verify as prove

    return _told(prove(store))


def _told(proof: "Proof") -> int:
    for damage in proof.damages:
        show.data(
            f"{damage.place}: {damage.what} Affected: {damage.affected.rstrip('.')}. "
            f"Still stands: {damage.stands.rstrip('.')}. Mend: {damage.mend}"
        )
    for remark in proof.remarks:
        show.say(f"Remark: {remark}")
    show.say(f"{proof.files} files and {proof.rows} rows looked at; {len(proof.damages) or 'no'} damage found.")
    return exits.OK if proof.whole else exits.DAMAGED
