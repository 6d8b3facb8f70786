"""A mail as RFC 5322 has it; what would break out of a header is refused, never passed on."""

from datetime import datetime
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP

from monitor.errors import SettingsError

_POLICY = SMTP.clone(max_line_length=200)
"""Folded at the usual 78, a subject begins with a space, and an address to click breaks in two; 998 is the limit."""


def made(
    mail_id: str, *, sender: str, to: str, subject: str, body: str, at: datetime, is_automatic: bool = True
) -> EmailMessage:
    """A mail in plain text; of the same arguments the same bytes.

    mail_id: its Message-ID is made from it, so that one sent again is known to be the same. Raises SettingsError where
    an address is none, or a header would hold a line break.
    """
    mail = EmailMessage(policy=_POLICY)
    try:
        mail["From"] = Address(addr_spec=sender)
        mail["To"] = Address(addr_spec=to)
        mail["Subject"] = subject
        mail["Date"] = at
        mail["Message-ID"] = f"<{mail_id}@{sender.rpartition('@')[2]}>"
        if is_automatic:
            mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: nobody's absence is to answer it
    except (ValueError, IndexError, MessageError) as error:
        raise SettingsError(
            "This mail cannot be addressed.", got=str(error), mend="Mend the mail address, or the sender's."
        ) from error
    mail.set_content(body)
    return mail
