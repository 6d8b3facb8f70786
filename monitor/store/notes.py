"""Notes of work that is done: the part that a bucket became, by which one that was begun again takes what is there."""

import re

from monitor.documents import of_json
from monitor.store.parts import Part
from monitor.store.place import Place
from monitor.store.sealed import sealed, unsealed

_SIGNS = 16
FILE = re.compile(rf"done-[0-9]{{4,}}-[0-9a-f]{{{_SIGNS}}}\.json")


def noted(place: Place, folder: str, bucket: int, made_from: str) -> Part | None:
    """The part that a bucket became when it was made from that, if all its files are there still."""
    name = _name(folder, bucket, made_from)
    try:
        part = of_json(Part, unsealed(place.read(name)))
    except (FileNotFoundError, ValueError):  # none, or cut off: the work is done again
        return None
    return part if all(place.has(f"{folder}/{file}") for file in part.files.values()) else None


def write_note(place: Place, folder: str, made_from: str, part: Part) -> None:
    """Note that a bucket is done; its files are there."""
    place.write(_name(folder, part.bucket, made_from), sealed(part))


def _name(folder: str, bucket: int, made_from: str) -> str:
    return f"{folder}/done-{bucket:04d}-{made_from[:_SIGNS]}.json"
