"""Pictures from squares of colour: a JPEG file (ITU-T T.81) and a PNG file (ISO/IEC 15948), the same bytes everywhere.

A square becomes one block of eight by eight pixels whose mean alone is coded, so that no rounding of a transform and no
compressor of a machine has a say in the bytes.
"""

import zlib
from collections.abc import Iterator, Sequence

Colour = tuple[int, int, int]
Squares = Sequence[Sequence[Colour]]

_SIDE = 8
_BITS = (0, 1, 5, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0)
"""How many codes have 1, 2, ... bits: T.81, table K.3, for the categories 0 to 11."""


def jpeg(squares: Squares, planted: bytes, *, orientation: int) -> bytes:
    """A baseline JPEG file; planted: a text that stands in Exif, in the thumbnail, in XMP and in a comment."""
    height, width = len(squares) * _SIDE, len(squares[0]) * _SIDE
    components = b"".join(bytes((number, 0x11, 0)) for number in (1, 2, 3))
    frame = b"\x08" + height.to_bytes(2, "big") + width.to_bytes(2, "big") + b"\x03" + components
    scan = b"\x03" + b"".join(bytes((number, 0)) for number in (1, 2, 3)) + b"\x00\x3f\x00"
    parts = [
        (0xE0, b"JFIF\0\1\1\0\0\1\0\1\0\0"),
        (0xE1, b"Exif\0\0" + _exif(planted, orientation)),
        (0xE1, b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta>" + planted + b"</x:xmpmeta>"),
        (0xED, b"Photoshop 3.0\0" + planted),
        (0xFE, b"taken by somebody at " + planted),
        (0xDB, b"\0" + bytes([8] * 64)),
        (0xC0, frame),
        (0xC4, b"\0" + bytes(_BITS) + bytes(range(12))),
        (0xC4, b"\x10" + bytes((1, *[0] * 15)) + b"\0"),  # of the other coefficients one code: no more of them
        (0xDA, scan),
    ]
    segments = b"".join(bytes((0xFF, marker)) + (len(body) + 2).to_bytes(2, "big") + body for marker, body in parts)
    return b"\xff\xd8" + segments + _coded(squares) + b"\xff\xd9" + b"second picture at " + planted


def png(squares: Squares, planted: bytes) -> bytes:
    """A PNG file of the same squares, four pixels wide, with texts; planted: what they say."""
    palette = sorted({colour for line in squares for colour in line})
    rows = [bytes([0, *(palette.index(colour) for colour in line for _ in range(4))]) for line in squares]
    pixels = b"".join(row for row in rows for _ in range(4))
    size = (len(rows[0]) - 1).to_bytes(4, "big") + (len(rows) * 4).to_bytes(4, "big")
    chunks = [
        (b"IHDR", size + b"\x08\x03\0\0\0"),
        (b"tEXt", b"Comment\0taken by somebody at " + planted),
        (b"eXIf", _exif(planted, 1)),
        (b"tIME", b"\x07\xea\x04\x0a\x0c\x00\x00"),
        (b"PLTE", b"".join(map(bytes, palette))),
        (b"IDAT", _stored(pixels)),
        (b"IEND", b""),
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        len(body).to_bytes(4, "big") + kind + body + zlib.crc32(kind + body).to_bytes(4, "big") for kind, body in chunks
    )


def _exif(planted: bytes, orientation: int) -> bytes:
    """TIFF 6.0 directories: model, orientation, a place, and a thumbnail that holds the planted text."""
    thumbnail = b"\xff\xd8\xff\xfe" + (len(planted) + 2).to_bytes(2, "big") + planted + b"\xff\xd9"
    first, texts = 8, 8 + 2 + 3 * 12 + 4
    place = texts + len(planted)
    second = place + 2 + 2 * 12 + 4
    data = second + 2 + 2 * 12 + 4
    return b"".join((
        b"II*\0" + first.to_bytes(4, "little"),
        _directory([(0x0110, 2, len(planted), texts), (0x0112, 3, 1, orientation), (0x8825, 4, 1, place)], second),
        planted,
        _directory([(0x0001, 2, 2, ord("N")), (0x0003, 2, 2, ord("E"))], 0),
        _directory([(0x0201, 4, 1, data), (0x0202, 4, 1, len(thumbnail))], 0),
        thumbnail,
    ))  # fmt: skip


def _directory(entries: Sequence[tuple[int, int, int, int]], following: int) -> bytes:
    sizes = (2, 2, 4, 4)
    body = b"".join(
        value.to_bytes(size, "little") for entry in entries for value, size in zip(entry, sizes, strict=True)
    )
    return len(entries).to_bytes(2, "little") + body + following.to_bytes(4, "little")


def _coded(squares: Squares) -> bytes:
    """The entropy-coded data: of each block the difference of its mean to that of the block before (T.81, F.1.2.1)."""
    bits = "".join(_bits(squares))
    bits += "1" * (-len(bits) % 8)
    data = bytes(int(bits[at : at + 8], 2) for at in range(0, len(bits), 8))
    return data.replace(b"\xff", b"\xff\0")


def _bits(squares: Squares) -> Iterator[str]:
    codes, before = _codes(), [0, 0, 0]
    for colour in (colour for line in squares for colour in line):
        for place, mean in enumerate(_levels(colour)):
            step = mean - before[place]
            before[place] = mean
            size = abs(step).bit_length()
            value = step if step > 0 else step + (1 << size) - 1
            yield codes[size] + (f"{value:0{size}b}" if size else "") + "0"


def _codes() -> list[str]:
    """Code of each category, shortest first (T.81, C.2)."""
    codes, code = [], 0
    for length, count in enumerate(_BITS, start=1):
        for _ in range(count):
            codes.append(f"{code:0{length}b}")
            code += 1
        code <<= 1
    return codes


def _levels(colour: Colour) -> tuple[int, int, int]:
    """Brightness and two differences of colour (ITU-T T.871, clause 7), each less 128."""
    red, green, blue = colour
    return (
        (299 * red + 587 * green + 114 * blue) // 1000 - 128,
        (-168736 * red - 331264 * green + 500000 * blue) // 1000000,
        (500000 * red - 418688 * green - 81312 * blue) // 1000000,
    )


def _stored(data: bytes) -> bytes:
    """A zlib stream that stores (RFC 1950, RFC 1951 section 3.2.4)."""
    limit = 65535
    pieces = [data[at : at + limit] for at in range(0, len(data), limit)]
    blocks = b"".join(
        bytes((number == len(pieces),))
        + len(piece).to_bytes(2, "little")
        + (len(piece) ^ limit).to_bytes(2, "little")
        + piece
        for number, piece in enumerate(pieces, start=1)
    )
    return b"\x78\x01" + blocks + zlib.adler32(data).to_bytes(4, "big")
