"""Who rules, decides or is told: a registered person, by id, who may do it; and that both who and why are said."""

from collections.abc import Sequence

from monitor.errors import BowError
from monitor.ingest.known import either, nearest
from monitor.store import Store
from monitor.terms import AccountState, Role


class RulingError(BowError):
    """A ruling or decision that cannot be made as asked."""


def person(store: Store, written: str, among: Sequence[Role] = ()) -> str:
    """The id of a registered person, whatever its case; as written where nobody is registered.

    among: the roles that may do what is asked, where not everybody's may. An open account's role counts as well as the
    registered one: that person may do it by browser. Raises RulingError with the nearest ids.
    """
    roles = _roles(store)
    if not roles:
        return written.strip()
    known = {name.casefold(): name for name in roles}
    found = known.get(written.strip().casefold())
    if found is None:
        raise RulingError(
            "Nobody with this person id is registered.",
            got=written.strip(),
            expected=nearest(written, people(store, among)),
            mend="Write the id as it is registered, or register the person first.",
        )
    if among and not ({roles[found]} | _of_account(store, found)) & set(among):
        raise RulingError(
            f"Only people in the role {either(among)} may do this.",
            got=f"{found}, registered as {roles[found]}",
            expected=nearest(found, people(store, among)),
            mend="Give the id of one of them, or register one first.",
        )
    return found


def people(store: Store, among: Sequence[Role] = ()) -> list[str]:
    """The ids of all registered people who are not erased, or of those of them who are registered in such a role."""
    return [name for name, role in _roles(store).items() if role in (among or Role)]


def who_and_why(who: str, why: str) -> None:
    """Raises RulingError where one of them is not said."""
    if not who.strip() or not why.strip():
        raise RulingError("Who decided and why must both be said.", mend='Add --who ID and --why "the reason".')


def _roles(store: Store) -> dict[str, Role]:
    rows = store.office.people().to_pylist()
    return {row["person"]: Role(row["role"]) for row in rows if row["role"] != Role.ERASED}


def _of_account(store: Store, name: str) -> set[Role]:
    """The role by which that person signs in; none where no account is open."""
    rows = store.office.rows("accounts", account=name)[-1:]
    return {Role(row["role"]) for row in rows if row["state"] == AccountState.OPEN}
