"""Bits flipped all over a small store, one at a time: whether `verify` finds each, and what comes of the others.

    python benchmarks/flips.py [--every 1] [--seed 1] [--only office.sqlite]

One bit is flipped in every byte (or every n-th) of every file of a store with everything in it: rows compacted and
waiting, office records, received files, a photo, an upload, an assessment, settings. Found: `verify` names the file.
Harmless: it does not, and all that can be read of the store is as it was (bytes of a database that nothing uses).
Unseen: neither. Ends with 1 where there is one of these.
"""

import argparse
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import small_store

from monitor import schema
from monitor import store as stores
from monitor.errors import BowError
from monitor.store import Store
from monitor.store.verify import verify

FOUND, HARMLESS, UNSEEN = "found", "harmless", "unseen"


def all_that_can_be_read(path: Path) -> str:
    """One hash of every row and record that a reader gets; the error where there is one."""
    try:
        store = stores.open(path)
        told: list[object] = [store.facts(name).to_pylist() for name in schema.FACTS]
        told += [store.office.rows(name) for name in schema.OFFICE if name != "people"]
        told += [store.office.people().to_pylist(), store.office.company(), store.settings(), store.set_up_at]
        told += [store.facts_sha256(), store.office.turns(), [store.assessment(day) for day in store.assessments()]]
    except BowError as error:
        return str(error)
    return sha256(repr(told).encode()).hexdigest()


def verdict(store: Store, file: Path, before: str) -> str:
    """What becomes of a store with a flipped bit in a file."""
    name = file.relative_to(store.path).as_posix()
    proof = verify(store)
    folder = "/".join(name.split("/")[:2])
    said = [*(damage.place for damage in proof.damages), *(remark.split(":")[0] for remark in proof.remarks)]
    if any(place in (name, folder) or place.startswith(name) for place in said):
        return FOUND
    return HARMLESS if all_that_can_be_read(store.path) == before else UNSEEN


def files_of(store: Store, only: str = "") -> list[Path]:
    """Files that hold something."""
    every = sorted(path for path in store.path.rglob("*") if path.is_file() and path.stat().st_size)
    return [path for path in every if only in path.relative_to(store.path).as_posix()]


def flipped(store: Store, file: Path, every: int, chance: random.Random) -> Iterator[tuple[int, str]]:
    """Every n-th byte of a file with a bit of it flipped in turn, from a place by chance; then it is put right."""
    whole, before = file.read_bytes(), all_that_can_be_read(store.path)
    for place in range(chance.randrange(min(every, len(whole))), len(whole), every):
        data = bytearray(whole)
        data[place] ^= 1 << chance.randrange(8)
        file.write_bytes(data)
        yield place, verdict(store, file, before)
    file.write_bytes(whole)


def kind_of(store: Store, file: Path) -> str:
    """The kind of a file: its folder, or its name where it lies in the store's own."""
    first, *below = file.relative_to(store.path).parts
    return f"{first}/" if below else first


def main() -> int:
    """Flip, count and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--every", type=int, default=1, help="flip a bit of every n-th byte")
    parser.add_argument("--seed", type=int, default=1, help="of the bits")
    parser.add_argument("--only", default="", help="files with this in their name alone")
    given = parser.parse_args()
    chance = random.Random(given.seed)
    figures: dict[str, Counter[str]] = {}
    with tempfile.TemporaryDirectory() as folder:
        store = small_store.full(Path(folder) / "store")
        for file in files_of(store, given.only):
            kind = kind_of(store, file)
            for place, came in flipped(store, file, given.every, chance):
                figures.setdefault(kind, Counter())[came] += 1
                if came == UNSEEN:
                    print(f"  unseen: byte {place} of {file.relative_to(store.path)}")
    print(f"{'file or folder':<16}{'flips':>8}{FOUND:>8}{HARMLESS:>10}{UNSEEN:>8}")
    for kind, counts in figures.items():
        print(f"{kind:<16}{counts.total():>8}{counts[FOUND]:>8}{counts[HARMLESS]:>10}{counts[UNSEEN]:>8}")
    unseen = sum(counts[UNSEEN] for counts in figures.values())
    print("Nothing changed unseen." if not unseen else "NOT CLEAN: see above.")
    return int(bool(unseen))


if __name__ == "__main__":
    sys.exit(main())
