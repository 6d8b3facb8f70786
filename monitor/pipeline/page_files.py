"""Files for people outside the store: whole or not there."""

from pathlib import Path


def write(path: Path, data: bytes) -> Path:
    """Write a file; a reader of its folder sees the old one or the new one, never half of one. Raises OSError."""
    temporary = path.with_name(f".{path.name}.part")
    try:
        temporary.write_bytes(data)
        return temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)
