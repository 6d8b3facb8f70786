"""A link as a mail, for whoever sends it: made into a file outside the store, which keeps no address of a link."""

from datetime import datetime

from monitor.errors import SettingsError
from monitor.pipeline import assessing
from monitor.pipeline.links import Link
from monitor.report import link_mail
from monitor.report.language import language
from monitor.store import Store
from monitor.telling import mail
from monitor.terms import LinkTo


def recipient(store: Store, person: str) -> str:
    """The mail address of a person, whatever the case of the id. Raises SettingsError where there is none."""
    people = {row["person"].casefold(): str(row["email"]) for row in store.office.people().to_pylist()}
    found = people.get(person.strip().casefold(), "")
    if not found:
        raise SettingsError(
            "The mail has nobody to go to.",
            got=person or "no --person",
            expected="a registered person with a mail address",
            mend="Give --person, and register that person's mail address.",
        )
    return found


def made(store: Store, link: Link, address: str, *, code: str, at: datetime) -> bytes:
    """The mail to the person whom the link is for (RFC 5322). Raises SettingsError where they have no mail address.

    address: of the link, in full. code: of the language.
    """
    words = language(code)
    opens = LinkTo(link.row["opens"])
    found = mail.made(
        link.row["link_id"],
        sender=store.telling().sender,
        to=recipient(store, link.row["person"]),
        subject=link_mail.subject(words, opens, assessing.newest(store).judged_on),
        body=link_mail.body(words, address, link.row["expires_on"], store.office.company()),
        at=at,
        is_automatic=False,
    )
    return bytes(found)
