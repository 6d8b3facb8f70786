"""A JPEG file without what the camera or an editor wrote beside the picture: ITU-T T.81, Annex B, marker segments.

Kept are the segments that a decoder needs: tables, frames, scans, and of the application segments JFIF (APP0), the
colour profile (APP2 that begins with ICC_PROFILE) and the colour transform (APP14 of Adobe). Dropped are all other
application segments (Exif with its place, time and thumbnail in APP1, and the like), comments, and whatever stands
after the end of the image (some cameras put a second picture there). The picture itself is not encoded again.
"""

from collections.abc import Iterator

_START, _END, _SCAN, _COMMENT = 0xD8, 0xD9, 0xDA, 0xFE
_APPLICATION = range(0xE0, 0xF0)
_ALONE = (0x01, *range(0xD0, 0xD8))
"""Markers without a length: TEM and the restarts."""
_KEPT = {0xE0: b"JFIF\0", 0xE2: b"ICC_PROFILE\0", 0xEE: b"Adobe"}


class NotJpegError(ValueError):
    """Bytes that are no whole JPEG file; the message says why."""


def bare(data: bytes) -> bytes:
    """The file with only the segments that its picture needs. NotJpegError where it is none, or is cut short."""
    if data[:2] != bytes((0xFF, _START)):
        raise NotJpegError("no JPEG file")
    return b"".join([data[:2], *(data[start:end] for start, end in _wanted(data))])


def _wanted(data: bytes) -> Iterator[tuple[int, int]]:
    """Start and end of each piece to keep, up to and with the end of the image."""
    at = 2
    while True:
        start = at
        if data[at : at + 1] != b"\xff":
            raise NotJpegError("cut short or damaged")
        while data[at : at + 1] == b"\xff":  # fill bytes may stand before a marker
            at += 1
        marker = _byte(data, at)
        at += 1
        if marker == _END:
            yield at - 2, at
            return
        if marker in _ALONE:
            continue
        body = at + 2
        at += _byte(data, at) << 8 | _byte(data, at + 1)
        if at < body or at > len(data):
            raise NotJpegError("cut short or damaged")
        if marker == _SCAN:
            at = _after_scan(data, at)
        elif marker == _COMMENT or (marker in _APPLICATION and not _is_needed(marker, data[body:at])):
            continue
        yield start, at


def _is_needed(marker: int, content: bytes) -> bool:
    return marker in _KEPT and content.startswith(_KEPT[marker])


def _after_scan(data: bytes, at: int) -> int:
    """Where the entropy-coded data end: at a marker that is neither a stuffed zero nor a restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            raise NotJpegError("cut short or damaged")
        following = data[at + 1]
        if following == 0xFF:
            at += 1
        elif following == 0 or following in _ALONE:
            at += 2
        else:
            return at


def _byte(data: bytes, at: int) -> int:
    if at >= len(data):
        raise NotJpegError("cut short or damaged")
    return data[at]
