"""Where a mend sheet is written: in a folder of its own, under the first file's name, over no other sheet."""

import re
from itertools import count
from pathlib import Path

_OF_A_SHEET = re.compile(r"\.[a-z]+\.mend(-\d+)?$")


def keep(folder: Path, sent_as: str, holds: str, sheet: bytes) -> Path:
    """Write a mend sheet of a file that was sent under some name; the path it has now. Raises OSError.

    The sheet of a mend sheet bears the first file's name, too. One with other content is never written over, for
    somebody may be at work in it: the next gets a number.
    """
    folder.mkdir(parents=True, exist_ok=True)
    stem = _OF_A_SHEET.sub("", Path(sent_as).stem)
    for number in count(1):
        path = folder / f"{stem}.{holds}.mend{f'-{number}' if number > 1 else ''}.csv"
        if not path.exists():
            path.write_bytes(sheet)
            return path
        if path.read_bytes() == sheet:
            return path
    raise AssertionError("numbers do not end")
