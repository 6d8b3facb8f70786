"""A photo's name as written with a reading beside the name of a file: case, path and ending may differ."""

from collections.abc import Mapping
from typing import Any

_ENDINGS = {"jpg", "jpeg", "jpe", "jfif", "png", "heic", "heif", "webp", "tif", "tiff"}
_JPEG = {"jpeg": "jpg", "jpe": "jpg", "jfif": "jpg"}


def references(reading: Mapping[str, Any]) -> list[str]:
    """Names of photos written with a reading."""
    return [name for part in (reading["photos"] or "").split(";") if (name := part.strip())]


def plain(name: str) -> str:
    """The last part of a path, of whatever system."""
    return name.replace("\\", "/").rsplit("/", 1)[-1]


def closeness(reference: str, file: str) -> int:
    """0: another name; 1: the same but for the ending; 2: the same; 3: so is the path that the reference gives."""
    said, there = _split(reference), _split(file)
    if said[1] != there[1] or not said[1]:
        return 0
    if said[2] and said[2] != there[2]:
        return 1
    folders = said[0]
    return 3 if folders and there[0][-len(folders) :] == folders else 2


def _split(name: str) -> tuple[list[str], str, str]:
    """Folders, stem and ending, in small letters; an ending that no picture has belongs to the stem."""
    *folders, last = [
        part for part in name.replace("\\", "/").casefold().split("/") if part not in ("", ".", "..")
    ] or [""]
    stem, dot, ending = last.rpartition(".")
    if not dot or ending not in _ENDINGS:
        return folders, last, ""
    return folders, stem, _JPEG.get(ending, ending)
