"""Who rules, decides or is told: a registered person, by id; and that both who and why are said."""

from monitor.errors import BowError
from monitor.ingest.known import nearest
from monitor.store import Store
from monitor.terms import Role


class RulingError(BowError):
    """A ruling or decision that cannot be made as asked."""


def person(store: Store, written: str) -> str:
    """The id of a registered person, whatever its case; as written where nobody is registered.

    Raises RulingError with the nearest ids.
    """
    known = {name.casefold(): name for name in people(store)}
    if not known:
        return written.strip()
    found = known.get(written.strip().casefold())
    if found is None:
        raise RulingError(
            "Nobody with this person id is registered.",
            got=written.strip(),
            expected=nearest(written, known.values()),
            mend="Write the id as it is registered, or register the person first.",
        )
    return found


def people(store: Store) -> list[str]:
    """The ids of all registered people who are not erased."""
    return [row["person"] for row in store.office.people().to_pylist() if row["role"] != Role.ERASED]


def who_and_why(who: str, why: str) -> None:
    """Raises RulingError where one of them is not said."""
    if not who.strip() or not why.strip():
        raise RulingError("Who decided and why must both be said.", mend='Add --who ID and --why "the reason".')
