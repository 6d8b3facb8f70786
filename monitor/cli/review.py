"""Commands by which people rule on readings and decide about walls: release, reject, correct, withdraw, decide."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from monitor.cli import options, show
from monitor.terms import Act, LengthUnit, Step

if TYPE_CHECKING:
    from monitor.store import Store

_ON_DEMO = "--store reports/demo/store --who O1"


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command(
        epilog=options.example(f"wallbow release ID {_ON_DEMO} --why 'read again from a fresh set-up, the same'")
        + " (ID from: wallbow wall DH-06-E --store reports/demo/store)"
    )(release)
    app.command(epilog=options.example(f"wallbow reject ID {_ON_DEMO} --why 'rule held crooked, see photo'"))(reject)
    app.command(epilog=options.example(f"wallbow correct ID '1 3/16' --unit in {_ON_DEMO} --why 'slip of the pen'"))(
        correct
    )
    app.command(epilog=options.example(f"wallbow withdraw ID {_ON_DEMO} --why 'ruled on the wrong reading'"))(withdraw)
    app.command(
        epilog=options.example(f"wallbow decide DH-02-E 'call engineer' {_ON_DEMO} --why 'slides at the base'")
    )(decide)


def release(
    reading: options.Reading, who: options.Who, why: options.Why, store: options.StorePath = options.DEFAULT_STORE
) -> None:
    """Release a held reading: from now on it is used."""
    _rule(reading, Act.RELEASE, who, why, store)


def reject(
    reading: options.Reading, who: options.Who, why: options.Why, store: options.StorePath = options.DEFAULT_STORE
) -> None:
    """Reject a reading: it is kept and shown, and not used."""
    _rule(reading, Act.REJECT, who, why, store)


def correct(
    reading: options.Reading,
    value: Annotated[str, typer.Argument(help="The value as it should have been written, e.g. '1 3/16'.")],
    who: options.Who,
    why: options.Why,
    unit: Annotated[LengthUnit, typer.Option("--unit", help="Unit of the value.")],
    store: options.StorePath = options.DEFAULT_STORE,
) -> None:
    """Correct a reading: the old value stays on record beside the new one."""
    _rule(reading, Act.CORRECT, who, why, store, value=value, unit=unit.value)


def withdraw(
    reading: options.Reading, who: options.Who, why: options.Why, store: options.StorePath = options.DEFAULT_STORE
) -> None:
    """Withdraw the last ruling on a reading: what stood before stands again."""
    _rule(reading, Act.WITHDRAW, who, why, store)


def decide(
    wall: options.WallKey,
    step: Annotated[Step, typer.Argument(metavar="STEP", help=f"What is done next: {', '.join(Step)}.")],
    who: options.Who,
    why: options.Why,
    owner: Annotated[
        str, typer.Option("--owner", metavar="PERSON", help="Person id of who does it (default who decides).")
    ] = "",
    due: options.Due = None,
    store: options.StorePath = options.DEFAULT_STORE,
) -> None:
    """Record what was decided about a wall: `flagged` shows it at once, the pages from the next assessment on."""
    from monitor import store as stores
    from monitor.pipeline import review as work

    opened = stores.open(store)
    decision = work.decide(
        opened,
        wall,
        step,
        who=who,
        why=why,
        owner=owner,
        due=due,
        made_at=options.moment_in(opened),
        today=options.today(),
    )
    _note_of_people(opened)
    show.say(
        f"Recorded for {wall}: {decision['step']}, by {decision['owner']}" + (f", due {due:%Y-%m-%d}." if due else ".")
    )


def _rule(reading: str, act: Act, who: str, why: str, store: Path, *, value: str = "", unit: str = "") -> None:
    from monitor import store as stores
    from monitor.pipeline import review as work

    opened = stores.open(store)
    ruling = work.rule(
        opened, reading, act, who=who, why=why, made_at=options.moment_in(opened), value=value, unit=unit
    )
    _note_of_people(opened)
    show.say(f"Recorded: {ruling['act']} of reading {ruling['reading_id']}.")
    show.judged_again(opened, {(str(ruling["house"]), str(ruling["wall"]))})


def _note_of_people(store: "Store") -> None:
    from monitor.pipeline import who

    if not who.people(store):
        show.say("Nobody is registered, so the person is kept as written; register people to have ids checked.")
