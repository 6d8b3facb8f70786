"""Photos kept for ever, without what the camera wrote into them, each under the SHA-256 of its bytes."""

from pathlib import Path

from monitor.errors import StoreError, Where
from monitor.store import files

FOLDER = "photos"
MEND = "Restore it from a backup, or give the photo again with `wallbow photos`: the same picture takes its place."


def path_of(root: Path, sha256: str, ending: str) -> Path:
    """Where a photo is kept."""
    return root / FOLDER / sha256[:2] / f"{sha256}.{ending}"


def keep(root: Path, data: bytes, ending: str) -> str:
    """Keep a photo and return the SHA-256 it is kept under; one that was damaged since is put right."""
    sha256 = files.sha256(data)
    path = path_of(root, sha256, ending)
    if not files.write_new(path, data) and path.read_bytes() != data:
        files.replace(path, data)
    return sha256


def read(root: Path, sha256: str, ending: str) -> bytes:
    """The bytes of a photo. Raises StoreError where they are missing or not those that were kept."""
    path = path_of(root, sha256, ending)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise StoreError(
            "A photo cannot be read.", where=Where(file=str(path)), got=error.strerror or str(error), mend=MEND
        ) from error
    if files.sha256(data) != sha256:
        raise StoreError("A photo's bytes are not those that were kept.", where=Where(file=str(path)), mend=MEND)
    return data
