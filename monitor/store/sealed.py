"""Small JSON documents of the store, each closed by a seal: the hash of all its other bytes."""

import re

from msgspec.json import format as in_lines

from monitor.documents import Document, to_json
from monitor.store.files import sha256

_BEFORE, _AFTER = b',\n "seal": "', b'"\n}\n'
_SIGNS = 64
_LEFT_OVER = re.compile(rb",\s*}\s*$")


def sealed(document: Document) -> bytes:
    """A document as its file holds it."""
    return seal_text(in_lines(to_json(document), indent=1).encode())


def seal_text(data: bytes) -> bytes:
    """The same from the document's text, a JSON object as written without a seal."""
    body = data.rstrip().removesuffix(b"}").rstrip()
    return body + _BEFORE + sha256(body + b"\n}").encode() + _AFTER


def unsealed(data: bytes) -> bytes:
    """The document without its seal. Raises ValueError where it has none, or a byte of it is another one."""
    end = len(data) - len(_BEFORE) - _SIGNS - len(_AFTER)
    if end < 0 or data[end : end + len(_BEFORE)] != _BEFORE or not data.endswith(_AFTER):
        raise ValueError("it does not end in its seal")
    text = data[:end] + b"\n}"
    if sha256(text).encode() != data[end + len(_BEFORE) : -len(_AFTER)]:
        raise ValueError("its bytes are not those that were sealed")
    return text


def without_left_comma(data: bytes) -> bytes:
    """A text whose seal's line was taken out, without the comma that this leaves at the end of the line before."""
    return _LEFT_OVER.sub(b"\n}", data)
