"""Files of another kind than is taken in, told by their first bytes, so that the error can name them and the mend.

Signatures of open standards: ISO 32000 (PDF), RFC 1952 (gzip), ITU-T T.81 and ISO/IEC 15948 (JPEG, PNG),
ISO/IEC 26300 (OpenDocument); the others from memory.
"""

import io
import zipfile
from contextlib import suppress

from monitor.errors import IntakeError, Where

_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_SAVE_ANEW = "Open it in a spreadsheet, save it as XLSX or CSV UTF-8, and send that."
_COPY = "Send the table it shows as XLSX or CSV UTF-8."
_PASSWORD = "Take the password off, or save the sheet as CSV UTF-8, and send that."
_PROTECTED = "EncryptedPackage".encode("utf-16-le")
"""The stream in which a workbook with a password is kept."""

_BEGINNINGS = (
    (b"%pdf", "a PDF document", _COPY),
    (b"{\\rtf", "a text document (RTF)", _COPY),
    (b"\xff\xd8\xff", "a photo (JPEG)", "Send photos with `wallbow photos`."),
    (b"\x89png", "a picture (PNG)", "Send photos with `wallbow photos`."),
    (b"\x1f\x8b", "a packed file (gzip)", "Unpack it, and send what is in it."),
    (b"<!doctype", "a web page, whatever its name says", _SAVE_ANEW),
    (b"<html", "a web page, whatever its name says", _SAVE_ANEW),
    (b"<table", "a web page, whatever its name says", _SAVE_ANEW),
    (b"<?xml", "an XML document, whatever its name says", _SAVE_ANEW),
)
_OLD = "a workbook of the old kind (XLS)"


def refuse_other_kinds(name: str, data: bytes) -> None:
    """Raises IntakeError where the file is of a kind that holds no table, or holds it in a way that is not read."""
    found = _kind(data)
    if found:
        raise IntakeError(
            f"The file is {found[0]}.",
            where=Where(file=name),
            expected="XLSX without a password, or CSV",
            mend=found[1],
        )


def _kind(data: bytes) -> tuple[str, str] | None:
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        return ("a workbook with a password", _PASSWORD) if _PROTECTED in data else (_OLD, _SAVE_ANEW)
    if data.startswith((b"\x09\x08\x08\0", b"\x09\x08\x10\0", b"\x09\x04\x06\0", b"\x09\x02\x06\0", b"\x09\0\x04\0")):
        return _OLD, _SAVE_ANEW
    if data.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        with suppress(zipfile.BadZipFile, ValueError, NotImplementedError, OSError):
            return _packed(zipfile.ZipFile(io.BytesIO(data)))
        return None
    begins = data[:400].removeprefix(_BYTE_ORDER_MARK).lstrip().lower()
    return next(((kind, mend) for start, kind, mend in _BEGINNINGS if begins.startswith(start)), None)


def _packed(archive: zipfile.ZipFile) -> tuple[str, str] | None:
    """What an archive holds where it is no workbook: these have a list of their parts' types and a folder xl."""
    names = archive.namelist()
    if "mimetype" in names:
        return "an OpenDocument file", _SAVE_ANEW
    if "[Content_Types].xml" in names:
        other = next((folder for folder in ("word", "ppt") if any(name.startswith(f"{folder}/") for name in names)), "")
        return (f"a document of another kind ({other})", _COPY) if other else None
    if not names:
        return "an empty archive (ZIP)", "Look whether the right file was sent."
    shown = ", ".join(" ".join(name.split())[:60] for name in names[:3]) + (", …" if len(names) > 3 else "")
    files = "one file" if len(names) == 1 else f"{len(names):,} files"
    return f"an archive (ZIP) of {files}: {shown}", "Unpack it, and send each file of readings in it."
