"""How a camera was held: of all it wrote into a picture (Exif tag 274, in a TIFF 6.0 directory) the one thing kept."""

_ORDER = {b"II*\0": "little", b"MM\0*": "big"}
_ORIENTATION, _SHORT, _ENTRY = 0x0112, 3, 12
UPRIGHT = 1


def orientation(tiff: bytes) -> int:
    """1 to 8 as an Exif block says (without its 'Exif' header); 1, upright, where it says nothing that can be read."""
    order = _ORDER.get(tiff[:4])
    if order is None:
        return UPRIGHT

    def number(at: int, size: int) -> int:
        return int.from_bytes(tiff[at : at + size], "little" if order == "little" else "big")

    at = number(4, 4)
    for entry in range(at + 2, min(at + 2 + number(at, 2) * _ENTRY, len(tiff) - _ENTRY + 1), _ENTRY):
        if number(entry, 2) == _ORIENTATION and number(entry + 2, 2) == _SHORT:
            found = number(entry + 8, 2)
            return found if found in range(1, 9) else UPRIGHT
    return UPRIGHT


def only(orientation: int) -> bytes:
    """An Exif block that says the orientation and nothing else; empty where the picture stands upright anyway."""
    if orientation == UPRIGHT:
        return b""
    entry = b"".join(part.to_bytes(size, "big") for part, size in ((_ORIENTATION, 2), (_SHORT, 2), (1, 4)))
    value = orientation.to_bytes(2, "big") + bytes(2)
    return b"MM\0*" + (8).to_bytes(4, "big") + (1).to_bytes(2, "big") + entry + value + bytes(4)
