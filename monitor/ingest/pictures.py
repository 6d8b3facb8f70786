"""A photo as it came to a photo as it may be kept: known by its bytes, never by its name."""

from monitor.ingest import jpeg, png
from monitor.ingest.bare_picture import Bare, NoPictureError

__all__ = ["LARGEST_BYTES", "LARGEST_PIXELS", "LONGEST_SIDE", "Bare", "NoPictureError", "bare", "no_table"]

LARGEST_BYTES = 50_000_000
LARGEST_PIXELS = 250_000_000
LONGEST_SIDE = 30_000
"""More than any telephone or pocket camera writes (common practice, no source): a larger one would stop a browser."""

_OTHERS = (
    (0, b"GIF8", "a GIF file"),
    (0, b"II*\0", "a TIFF or raw file"),
    (0, b"MM\0*", "a TIFF or raw file"),
    (0, b"%PDF", "a PDF file"),
    (0, b"BM", "a BMP file"),
    (8, b"WEBP", "a WebP file"),
    (4, b"ftyphei", "a HEIC file; set the telephone's camera to JPEG, or save it as JPEG"),
    (4, b"ftypmif1", "a HEIC file; set the telephone's camera to JPEG, or save it as JPEG"),
    (4, b"ftyp", "a film"),
)


def bare(data: bytes) -> Bare:
    """The photo without place, time, device, thumbnail and texts; not encoded again, and as upright as it was.

    Raises NoPictureError, whose message says what was found, where it is no whole JPEG or PNG file or too large.
    """
    if not data:
        raise NoPictureError("an empty file")
    if len(data) > LARGEST_BYTES:
        raise NoPictureError(f"a file of {len(data) / 1e6:.0f} MB, more than the {LARGEST_BYTES / 1e6:.0f} MB taken")
    if data.startswith(png.SIGNATURE):
        found = png.bare(data)
    elif data.startswith(b"\xff\xd8"):
        found = jpeg.bare(data)
    else:
        raise NoPictureError(_what(data))
    if max(found.width, found.height) > LONGEST_SIDE or found.width * found.height > LARGEST_PIXELS:
        raise NoPictureError(f"a picture of {found.width} by {found.height} pixels, more than any camera takes")
    return found


def no_table(data: bytes) -> bool:
    """Whether bytes are those of a photo, or of what is sent for one, and of no table (which may begin with BM)."""
    begins = [(0, png.SIGNATURE), (0, b"\xff\xd8"), *((at, begin) for at, begin, _ in _OTHERS if begin != b"BM")]
    return any(data.startswith(begin, at) for at, begin in begins)


def _what(data: bytes) -> str:
    for at, begins, what in _OTHERS:
        if data[at:].startswith(begins):
            return what
    start = data[:400].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    return "a web page" if start.startswith((b"<!doctype", b"<html", b"<svg", b"<?xml")) else "no picture"
