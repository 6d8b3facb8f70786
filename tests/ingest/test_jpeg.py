"""Photos without what the camera wrote into them. Markers and segments by ITU-T T.81, Annex B."""

import pytest

from monitor.ingest.bare_picture import NoPictureError
from monitor.ingest.jpeg import bare as bare_picture


def segment(marker: int, content: bytes) -> bytes:
    """A marker with its length, which counts itself but not the marker (B.1.1.4)."""
    return bytes((0xFF, marker)) + (len(content) + 2).to_bytes(2, "big") + content


JFIF = segment(0xE0, b"JFIF\0" + bytes(9))
EXIF = segment(0xE1, b"Exif\0\0" + b"GPS 40.0 N 83.0 W" + bytes(40))
PROFILE = segment(0xE2, b"ICC_PROFILE\0\1\1" + bytes(20))
MORE_PICTURES = segment(0xE2, b"MPF\0" + bytes(20))
ADOBE = segment(0xEE, b"Adobe" + bytes(7))
COMMENT = segment(0xFE, b"taken by somebody")
TABLES = segment(0xDB, bytes(65)) + segment(0xC4, bytes(30))
FRAME = segment(0xC0, bytes((8, 0, 48, 0, 64)) + bytes(10))  # precision, height, width (B.2.2)
SCAN = segment(0xDA, bytes(8)) + b"\x12\xff\x00\x34\xff\xd0\x56\x78"
START, END = b"\xff\xd8", b"\xff\xd9"


def bare(data: bytes) -> bytes:
    return bare_picture(data).data


def test_what_a_decoder_needs_stays_byte_for_byte_and_the_rest_goes() -> None:
    whole = START + JFIF + EXIF + PROFILE + MORE_PICTURES + COMMENT + ADOBE + TABLES + FRAME + SCAN + SCAN + END
    assert bare(whole) == START + JFIF + PROFILE + ADOBE + TABLES + FRAME + SCAN + SCAN + END
    assert b"GPS" not in bare(whole)


def test_what_stands_after_the_picture_goes_too() -> None:
    picture = START + TABLES + FRAME + SCAN + END
    assert bare(picture + START + EXIF + SCAN + END) == picture


def test_a_segment_between_two_scans_and_fill_bytes_before_a_marker_are_read_rightly() -> None:
    whole = START + b"\xff" + JFIF + TABLES + FRAME + SCAN + COMMENT + SCAN + END
    assert bare(whole) == START + JFIF + TABLES + FRAME + SCAN + SCAN + END


def test_a_file_without_anything_to_take_out_comes_back_as_it_was() -> None:
    picture = START + JFIF + TABLES + FRAME + SCAN + END
    assert bare(picture) == picture


@pytest.mark.parametrize("data", [b"", b"GIF89a" + bytes(20), b"\x89PNG\r\n", b"\xff"])
def test_what_is_no_jpeg_is_refused(data: bytes) -> None:
    with pytest.raises(NoPictureError, match="no JPEG"):
        bare(data)


def test_a_file_cut_short_anywhere_is_refused() -> None:
    whole = START + JFIF + EXIF + TABLES + FRAME + SCAN + END
    for length in range(2, len(whole)):
        with pytest.raises(NoPictureError, match="cut short"):
            bare(whole[:length])
