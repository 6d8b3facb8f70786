"""Photos tied to readings: an index, and the files themselves without what the camera wrote into them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

import pyarrow as pa

from monitor import schema
from monitor.errors import ReportError
from monitor.pipeline.jpeg import NotJpegError, bare
from monitor.report.context import Key, Row

FOLDER = "photos"
NOT_GIVEN = "the file was not given"
STRIPPED = "place, time and device taken out"


@dataclass(frozen=True)
class Photos:
    """rows: of schema.PHOTOS without house and wall; files: bytes by their name in the pack."""

    rows: Sequence[Mapping[str, Any]]
    files: Mapping[str, bytes]

    def table(self, key: Key) -> pa.Table:
        """Table schema.PHOTOS."""
        rows = [{"house": key[0], "wall": key[1], **row} for row in self.rows]
        return pa.Table.from_pylist(rows, schema=schema.find("photos"))


def packed(readings: Sequence[Row], folder: Path | None) -> Photos:
    """Photos that readings name, in the order of the readings; files are taken from a folder, found by their name.

    Raises ReportError where the folder is none. A file that is no JPEG is left out, and the index says so.
    """
    if folder is not None and not folder.is_dir():
        raise ReportError(
            "There is no such folder of photos.", got=str(folder), mend="Give the folder that holds the photo files."
        )
    rows, files = [], {}
    for row in readings:
        for name in filter(None, (text.strip() for text in (row["photos"] or "").split(";"))):
            where, note, data = _taken(name, folder)
            if data:
                files[where] = data
            rows.append({
                "photo": name,
                **{column: row[column] for column in ("reading_id", "mark", "visit_date", "part")},
                "packed_as": where,
                "note": note,
            })  # fmt: skip
    return Photos(rows, files)


def _taken(name: str, folder: Path | None) -> tuple[str, str, bytes]:
    """Where the photo stands in the pack, a note, and its bytes; a name never leads out of the folder."""
    plain = PurePosixPath(PureWindowsPath(name).name).name
    path = folder / plain if folder and plain not in ("", ".", "..") else None
    if path is None or not path.is_file():
        return "", NOT_GIVEN, b""
    try:
        return f"{FOLDER}/{plain}", STRIPPED, bare(path.read_bytes())
    except NotJpegError as error:
        return "", f"left out: {error}", b""
