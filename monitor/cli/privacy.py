"""Commands about people's own data: about-person, erase-person, legal-hold."""

from typing import Annotated

import typer

from monitor.cli import options, show
from monitor.terms import HoldAct

_ON_DEMO = "--store reports/demo/store"
_Person = Annotated[str, typer.Argument(help="Id of the person, as registered.", metavar="PERSON")]


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("about-person", epilog=options.example(f"wallbow about-person P05 {_ON_DEMO}"))(about_person)
    app.command(
        "erase-person",
        epilog=options.example(f"wallbow erase-person P05 {_ON_DEMO} --who O1 --why 'asked for by letter'"),
    )(erase_person)
    app.command(
        "legal-hold",
        epilog=options.example(f"wallbow legal-hold DH-02 {_ON_DEMO} --who O1 --why 'claim under the warranty'"),
    )(legal_hold)


def about_person(person: _Person, store: options.StorePath = options.DEFAULT_STORE) -> None:
    """Tell all that the store knows of a person: who asks for their data gets this, and the pack of their walls."""
    from monitor import store as stores
    from monitor.pipeline import erasing

    found = erasing.about(stores.open(store), person)
    for column, value in found.row.items():
        if value:
            show.data(f"{column}: {value:%Y-%m-%d %H:%M} UTC" if column == "known_at" else f"{column}: {value}")
    for (table, column), count in found.acted.items():
        show.data(f"named by id in {table}, column {column}: {count} {'row' if count == 1 else 'rows'}")
    for place in found.written:
        show.data(f"written in {place}")
    if found.hold:
        show.data(f"not to be erased: {found.hold['why']} ({found.hold['who']}, {found.hold['known_at']:%Y-%m-%d})")


def erase_person(
    person: _Person, who: options.Who, why: options.Why, store: options.StorePath = options.DEFAULT_STORE
) -> None:
    """Erase a person on request, for good: house, name, phone, mail address and note; the walls' records stay.

    Their rows in the received files go too. Backups and exports are yours to clear. What somebody wrote of them into a
    note of a reading or a decision is part of a record and is only told. Refused while a legal hold stands.
    """
    from monitor import store as stores
    from monitor.pipeline import erasing

    opened = stores.open(store)
    done = erasing.erase(opened, person, who=who, why=why, made_at=options.moment_in(opened))
    files = len(str(done.row["files"]).split())
    show.data(
        f"Erased of {done.row['person']}: {', '.join(str(done.row['columns']).split()) or 'nothing that was left'}; "
        f"rows emptied in {files} received {'file' if files == 1 else 'files'}."
    )
    for place in done.written:
        show.say(f"  Still written in {place}.")
    show.say("Clear backups, exports and mend sheets that hold the person's row yourself.")


def legal_hold(
    house: Annotated[
        str, typer.Argument(help="House, or 'everybody'; none: list the holds that stand.", metavar="[HOUSE]")
    ] = "",
    store: options.StorePath = options.DEFAULT_STORE,
    who: Annotated[str, typer.Option("--who", metavar="PERSON", help="Person id of who decides.")] = "",
    why: Annotated[str, typer.Option("--why", metavar="REASON", help="The reason, in your words.")] = "",
    lift: Annotated[bool, typer.Option("--lift", help="Lift the hold that stands.")] = False,
) -> None:
    """Keep all that is known of a house's people from being erased while there is a dispute; or lift that again."""
    from monitor import store as stores
    from monitor.pipeline import legal_holds

    opened = stores.open(store)
    if not house:
        for name, row in legal_holds.standing(opened).items():
            show.data(f"{name or 'everybody'}: since {row['known_at']:%Y-%m-%d}, by {row['who']}: {row['why']}")
        return
    act = HoldAct.LIFT if lift else HoldAct.PLACE
    named = legal_holds.EVERYBODY if house.casefold() == "everybody" else house
    row = legal_holds.rule(opened, named, act, who=who, why=why, made_at=options.moment_in(opened))
    show.say(f"{'Lifted' if lift else 'Placed'}: the hold on {row['house'] or 'everybody'}.")
