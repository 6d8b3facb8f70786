"""A PNG file with only the chunks that its picture needs (ISO/IEC 15948, clauses 5 and 11).

Kept are the critical chunks and those that say how colours and sizes are meant; of an Exif chunk the orientation alone.
Dropped are texts, time, everything else, and what stands after the end. The picture itself is not encoded again.
"""

import zlib
from collections.abc import Iterator

from monitor.ingest import orientation
from monitor.ingest.bare_picture import Bare, NoPictureError

SIGNATURE = b"\x89PNG\r\n\x1a\n"
_CRITICAL = (b"IHDR", b"PLTE", b"IDAT", b"IEND")
_MEANT = (b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB", b"cICP", b"bKGD", b"pHYs")


def bare(data: bytes) -> Bare:
    """The file with only what its picture needs. NoPictureError where it is none, or is cut short."""
    if not data.startswith(SIGNATURE):
        raise NoPictureError("no PNG file")
    kept, held, kinds = [], orientation.UPRIGHT, []
    for kind, content in _chunks(data):
        kinds.append(kind)
        if kind == b"eXIf":
            held = orientation.orientation(content)
        elif kind in _CRITICAL or kind in _MEANT:
            kept.append(_chunk(kind, content))
        elif kind[:1].isupper():
            raise NoPictureError("a PNG file with a part that nobody may leave out and that is not known here")
    if kinds[:1] != [b"IHDR"] or b"IDAT" not in kinds or len(kept[0]) != 25:
        raise NoPictureError("a PNG file without a picture in it")
    turned = orientation.only(held)
    if turned:
        kept.insert(1, _chunk(b"eXIf", turned))
    size = [int.from_bytes(kept[0][at : at + 4], "big") for at in (8, 12)]
    if 0 in size:
        raise NoPictureError("a PNG file without a picture in it")
    width, height = reversed(size) if held >= 5 else size
    return Bare(SIGNATURE + b"".join(kept), "png", width, height)


def _chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Kind and content of each chunk up to and with the end, each with its sum as it should be."""
    at, kind = len(SIGNATURE), b""
    while kind != b"IEND":
        length = int.from_bytes(data[at : at + 4], "big")
        kind, content = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        at += 12 + length
        if at > len(data) or _chunk(kind, content)[-4:] != data[at - 4 : at]:
            raise NoPictureError("cut short or damaged")
        yield kind, content


def _chunk(kind: bytes, content: bytes) -> bytes:
    return len(content).to_bytes(4, "big") + kind + content + zlib.crc32(kind + content).to_bytes(4, "big")
