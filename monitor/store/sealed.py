"""Small JSON documents of the store, each closed by a seal: the hash of all its other bytes."""

import re

from pydantic import BaseModel

from monitor.store.files import sha256

_SEAL = re.compile(rb',\n "seal": "([0-9a-f]{64})"\n}\n\Z')


def sealed(document: BaseModel) -> bytes:
    """A document as its file holds it."""
    return seal_text(document.model_dump_json(indent=1).encode())


def seal_text(data: bytes) -> bytes:
    """The same from the document's text, a JSON object as written without a seal."""
    body = data.rstrip().removesuffix(b"}").rstrip()
    return body + b',\n "seal": "' + sha256(body + b"\n}").encode() + b'"\n}\n'


def unsealed(data: bytes) -> bytes:
    """The document without its seal. Raises ValueError where it has none, or a byte of it is another one."""
    found = _SEAL.search(data)
    if found is None:
        raise ValueError("it does not end in its seal")
    text = data[: found.start()] + b"\n}"
    if sha256(text) != found[1].decode():
        raise ValueError("its bytes are not those that were sealed")
    return text
