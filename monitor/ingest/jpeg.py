"""A JPEG file without what the camera or an editor wrote beside the picture: ITU-T T.81, Annex B, marker segments.

Kept are the segments that a decoder needs: tables, frames, scans, and of the application segments JFIF (APP0, without
its small picture), the colour profile (APP2 that begins with ICC_PROFILE) and the colour transform (APP14 of Adobe).
Of Exif (APP1) the orientation alone is kept. Dropped are all other application segments (place, time, thumbnail, XMP,
IPTC and the like), comments, and whatever stands after the end of the image (some cameras put a second picture there).
The picture itself is not encoded again.
"""

from collections.abc import Iterator

from monitor.ingest import orientation
from monitor.ingest.bare_picture import Bare, NoPictureError

_START, _END, _SCAN, _COMMENT, _EXIF = 0xD8, 0xD9, 0xDA, 0xFE, 0xE1
_APPLICATION = range(0xE0, 0xF0)
_FRAMES = (0xC0, 0xC1, 0xC2, 0xC3, *range(0xC5, 0xC8), *range(0xC9, 0xCC), *range(0xCD, 0xD0))
_ALONE = (0x01, *range(0xD0, 0xD8))
"""Markers without a length: TEM and the restarts."""
_KEPT = {0xE0: (b"JFIF\0", 12), 0xE2: (b"ICC_PROFILE\0", None), 0xEE: (b"Adobe", 12)}
"""By marker: how what is kept begins, and how much of it is (what follows may be a small picture, or anything)."""
_EXIF_HEADER = b"Exif\0\0"

Segment = tuple[int, int, int, int]
"""Marker, start of the piece, start of its content, end."""


def bare(data: bytes) -> Bare:
    """The file with only what its picture needs. NoPictureError where it is none, or is cut short."""
    if not data.startswith(bytes((0xFF, _START))):
        raise NoPictureError("no JPEG file")
    pieces, held, size, scanned = [], orientation.UPRIGHT, (0, 0), False
    for marker, start, body, end in _segments(data):
        content = data[body:end]
        if marker == _EXIF and content.startswith(_EXIF_HEADER) and held == orientation.UPRIGHT:
            held = orientation.orientation(content[len(_EXIF_HEADER) :])
        if marker in _FRAMES and size == (0, 0):
            size = (_two(data, body + 3), _two(data, body + 1))
        scanned = scanned or marker == _SCAN
        pieces.append(_kept(marker, content, data[start:end]))
    if not scanned or 0 in size:
        raise NoPictureError("a JPEG file without a picture in it")
    turned = orientation.only(held)
    exif = _segment(_EXIF, _EXIF_HEADER + turned) if turned else b""
    # JFIF has to stand first (T.871); what is kept of Exif follows it
    first = 1 if pieces[0][1:2] == b"\xe0" else 0
    whole = [data[:2], *pieces[:first], exif, *pieces[first:]]
    width, height = reversed(size) if held >= 5 else size
    return Bare(b"".join(whole), "jpg", width, height)


def _kept(marker: int, content: bytes, piece: bytes) -> bytes:
    if marker == _COMMENT:
        return b""
    if marker not in _APPLICATION:
        return piece
    begins, length = _KEPT.get(marker, (b"", 0))
    if not begins or not content.startswith(begins):
        return b""
    if length is None:
        return piece
    # JFIF's content ends with the width and height of its small picture: there is none
    return _segment(marker, content[:length] + (bytes(2) if marker == 0xE0 else b""))


def _segment(marker: int, content: bytes) -> bytes:
    return bytes((0xFF, marker)) + (len(content) + 2).to_bytes(2, "big") + content


def _segments(data: bytes) -> Iterator[Segment]:
    """Each piece up to and with the end of the image; a scan's piece has its entropy-coded data."""
    at = 2
    while True:
        start = at
        if data[at : at + 1] != b"\xff":
            raise NoPictureError("cut short or damaged")
        while data[at : at + 1] == b"\xff":  # fill bytes may stand before a marker
            at += 1
        marker = _byte(data, at)
        at += 1
        if marker == _END:
            yield marker, at - 2, at, at
            return
        if marker in _ALONE:
            continue
        body = at + 2
        at += _two(data, at)
        if at < body or at > len(data):
            raise NoPictureError("cut short or damaged")
        if marker == _SCAN:
            at = _after_scan(data, at)
        yield marker, start, body, at


def _after_scan(data: bytes, at: int) -> int:
    """Where the entropy-coded data end: at a marker that is neither a stuffed zero nor a restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            raise NoPictureError("cut short or damaged")
        following = data[at + 1]
        if following == 0xFF:
            at += 1
        elif following == 0 or following in _ALONE:
            at += 2
        else:
            return at


def _two(data: bytes, at: int) -> int:
    return _byte(data, at) << 8 | _byte(data, at + 1)


def _byte(data: bytes, at: int) -> int:
    if at >= len(data):
        raise NoPictureError("cut short or damaged")
    return data[at]
