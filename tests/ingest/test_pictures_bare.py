"""Photos as they come, and as they are kept: nothing of what a camera writes beside the picture, the picture untouched.

Marker codes by ITU-T T.81 Annex B, chunks by ISO/IEC 15948 clauses 5 and 11, Exif tags by Exif 2.32 (from memory).
"""

import random
import zlib
from pathlib import Path

import pytest

from monitor.ingest import pictures
from monitor.ingest.bare_picture import NoPictureError
from monitor.ingest.orientation import only, orientation
from monitor.ingest.pictures import bare

PHOTOS = Path(__file__).parents[2] / "data" / "demo" / "photos"
AS_SENT = {path.name: path.read_bytes() for path in sorted(PHOTOS.iterdir())}
WRITTEN = (
    b"GPS",
    b"taken by",
    b"xmpmeta",
    b"Photoshop",
    b"Comment",
    b"tIME",
    b"second picture",
    b"\x25\x88",
    b"\x88\x25",
)
"""What a camera wrote: texts, and the tag of the directory of places (0x8825) in both orders of bytes."""


def scans(data: bytes) -> bytes:
    """From the first table that a decoder needs on: picture data, byte for byte."""
    return data[data.index(b"\xff\xdb") : data.rindex(b"\xff\xd9")]


def pixels(data: bytes) -> bytes:
    at, found = 8, b""
    while at < len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        found += data[at + 8 : at + 8 + length] if data[at + 4 : at + 8] == b"IDAT" else b""
        at += 12 + length
    return zlib.decompress(found)


def chunk(kind: bytes, content: bytes) -> bytes:
    return len(content).to_bytes(4, "big") + kind + content + zlib.crc32(kind + content).to_bytes(4, "big")


def png(width: int = 2, height: int = 1, *between: bytes) -> bytes:
    head = chunk(b"IHDR", width.to_bytes(4, "big") + height.to_bytes(4, "big") + b"\x08\0\0\0\0")
    return (
        b"\x89PNG\r\n\x1a\n" + head + b"".join(between) + chunk(b"IDAT", zlib.compress(b"\0\1\2")) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("name", AS_SENT)
def test_everything_written_beside_the_picture_is_in_the_file_sent_and_not_in_the_one_kept(name: str) -> None:
    sent, kept = AS_SENT[name], bare(AS_SENT[name]).data
    assert sum(word in sent for word in WRITTEN) >= 4
    assert [word for word in WRITTEN if word in kept] == []
    assert kept.count(b"Exif") <= 1


def test_the_picture_itself_is_not_touched() -> None:
    for name, sent in AS_SENT.items():
        kept = bare(sent).data
        if name.endswith("png"):
            assert pixels(kept) == pixels(sent)
        else:
            # the sent file has a second end: that of the trailing picture is a text without one
            assert scans(kept) == scans(sent)


def test_a_picture_taken_sideways_stays_upright_and_is_measured_as_it_is_shown() -> None:
    upright, sideways = bare(AS_SENT["IMG_0412.jpg"]), bare(AS_SENT["IMG_0413.jpeg"])
    assert (upright.width, upright.height) == (sideways.width, sideways.height) == (384, 288)
    assert b"Exif" not in upright.data
    block = sideways.data[sideways.data.index(b"Exif\0\0") + 6 :]
    assert orientation(block) == 6


@pytest.mark.parametrize("way", range(1, 9))
@pytest.mark.parametrize("order", ["little", "big"])
def test_the_orientation_is_read_in_both_orders_of_bytes_and_written_alone(way: int, order: str) -> None:
    def number(value: int, size: int) -> bytes:
        return value.to_bytes(size, "little" if order == "little" else "big")

    head = (b"II*\0" if order == "little" else b"MM\0*") + number(8, 4) + number(2, 2)
    model = number(0x0110, 2) + number(2, 2) + number(4, 4) + b"XY9\0"
    turned = number(0x0112, 2) + number(3, 2) + number(1, 4) + number(way, 2) + bytes(2)
    assert orientation(head + model + turned + bytes(4)) == way
    assert orientation(only(way)) == way
    assert b"XY9" not in only(way)


@pytest.mark.parametrize("tiff", [b"", b"II*\0", b"MM\0*\xff\xff\xff\xff", b"II*\0\x08\0\0\0\xff\xff", b"nonsense" * 3])
def test_an_exif_block_that_cannot_be_read_means_upright(tiff: bytes) -> None:
    assert orientation(tiff) == 1


def test_a_small_picture_in_the_jfif_segment_goes_and_so_does_what_is_added_to_adobes() -> None:
    sent = AS_SENT["IMG_0412.jpg"]
    with_small = b"JFIF\0\1\1\0\0\1\0\1\2\1" + b"secret"
    adobe = b"Adobe" + bytes(7) + b"secret"
    segments = b"".join(
        bytes((0xFF, marker)) + (len(body) + 2).to_bytes(2, "big") + body
        for marker, body in ((0xE0, with_small), (0xEE, adobe))
    )
    kept = bare(b"\xff\xd8" + segments + scans(sent) + b"\xff\xd9").data
    assert b"secret" not in kept
    assert kept[2:20] == b"\xff\xe0\0\x10JFIF\0\1\1\0\0\1\0\1\0\0"
    assert b"Adobe" in kept


def test_a_picture_that_is_bare_already_comes_back_as_it_is() -> None:
    for sent in AS_SENT.values():
        once = bare(sent)
        assert bare(once.data) == once


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "an empty file"),
        (b"<!DOCTYPE html><script>alert(1)</script>", "a web page"),
        (b"\xef\xbb\xbf\n <svg onload='x()'/>", "a web page"),
        (b"GIF89a" + bytes(30), "a GIF file"),
        (b"RIFF\0\0\0\0WEBPVP8 ", "a WebP file"),
        (b"\0\0\0\x18ftypheic\0\0\0\0", "HEIC file; set the telephone"),
        (b"\0\0\0\x18ftypisom", "a film"),
        (b"II*\0" + bytes(20), "TIFF"),
        (b"%PDF-1.7", "a PDF file"),
        (b"PK\3\4", "no picture"),
        (b"\xff\xd8\xff\xd9", "without a picture"),
        (b"\xff\xd8\xff\xe0\0\1", "cut short or damaged"),
        (b"\xff\xd8<html>", "cut short or damaged"),
        (b"\x89PNG\r\n\x1a\n", "cut short or damaged"),
        (b"\x89PNG\r\n\x1a\n" + chunk(b"IEND", b""), "without a picture"),
        (png(0, 5), "without a picture"),
        (png(40_000, 2), "40000 by 2 pixels"),
        (png(29_000, 29_000), "29000 by 29000 pixels"),
        (png(2, 1, chunk(b"XTRA", b"x")), "not known here"),
        (png()[:-4] + b"abcd", "cut short or damaged"),
    ],
)
def test_what_is_no_whole_picture_of_a_camera_is_refused_by_its_bytes(data: bytes, said: str) -> None:
    with pytest.raises(NoPictureError, match=said):
        bare(data)


def test_a_jpeg_that_says_it_is_huge_is_refused_before_anybody_opens_it() -> None:
    sent = AS_SENT["IMG_0412.jpg"]
    at = sent.index(b"\xff\xc0") + 5
    with pytest.raises(NoPictureError, match="65535 by 65535 pixels"):
        bare(sent[:at] + b"\xff\xff\xff\xff" + sent[at + 4 :])
    with pytest.raises(NoPictureError, match="without a picture"):
        bare(sent[:at] + b"\0\0\0\0" + sent[at + 4 :])


def test_a_file_larger_than_any_photo_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "LARGEST_BYTES", 2_000_000)
    with pytest.raises(NoPictureError, match="a file of 3 MB, more than the 2 MB taken"):
        bare(AS_SENT["IMG_0412.jpg"] + bytes(3_000_000))


@pytest.mark.parametrize("name", AS_SENT)
def test_a_file_cut_short_anywhere_is_refused(name: str) -> None:
    sent = AS_SENT[name]
    end = sent.index(b"\xff\xd9second") + 2 if name.startswith("IMG") else len(sent)
    for length in range(0, end, max(1, end // 400)):
        with pytest.raises(NoPictureError):
            bare(sent[:length])


def test_a_damaged_file_is_refused_or_bare_never_a_fault_of_the_program() -> None:
    """Seeded: single bytes changed, as a bad card does; what comes through still says nothing of the place."""
    lot = random.Random(7)
    for name, sent in AS_SENT.items():
        for _ in range(300):
            data = bytearray(sent)
            for _ in range(lot.choice((1, 3, 30))):
                data[lot.randrange(len(data))] = lot.randrange(256)
            try:
                kept = bare(bytes(data))
            except NoPictureError:
                continue
            assert kept.width > 0, name
            assert kept.height > 0, name
