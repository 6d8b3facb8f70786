"""Secrets from the environment, or from a file that it names; they stand in no store, log or message."""

import os
from pathlib import Path

from monitor.errors import SettingsError, Where

MAIL_PASSWORD = "WALLBOW_MAIL_PASSWORD"
WEBHOOK_SECRET = "WALLBOW_WEBHOOK_SECRET"


def secret(name: str) -> str:
    """The secret in that variable, else in the file that the variable NAME_FILE names, without its line end; else ''.

    Raises SettingsError where that file cannot be read.
    """
    file = os.environ.get(f"{name}_FILE", "")
    if name in os.environ or not file:
        return os.environ.get(name, "")
    try:
        return Path(file).read_text(encoding="utf-8").rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(
            f"The file that {name}_FILE names cannot be read.",
            where=Where(file=file),
            got=getattr(error, "strerror", None) or "no text in UTF-8",
            mend="Name a file with one line of text that this user may read.",
        ) from error
