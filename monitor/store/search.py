"""What a proof has looked at and found so far."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from monitor.errors import StoreError
from monitor.records import dataclass, field
from monitor.results import Damage
from monitor.store.witness import Seen

RESTORE = "Restore this file from a backup."
AGAIN = (
    "Restore this file from a backup; or move it out of the store and send the received file that it came from again "
    "(every received file is kept under files/)."
)
_ELSE = "everything else"
_SHOWN = 6


@dataclass
class Search:
    """What has been looked at and found so far in a store."""

    root: Path
    files: int = 0
    rows: int = 0
    damages: list[Damage] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)

    def damage(self, path: Path | str, what: str, affected: str, mend: str, stands: str = _ELSE) -> None:
        """Note a damage. path: of a file of the store, or another name of the place."""
        self.damages.append(Damage(place=self._place(path), what=what, affected=affected, mend=mend, stands=stands))

    def remark(self, path: Path, what: str) -> None:
        """Note what is no damage."""
        self.remarks.append(f"{self._place(path)}: {what}")

    @contextmanager
    def at(self, path: Path, affected: str | Callable[[], str], mend: str = "", stands: str = _ELSE) -> Iterator[None]:
        """Turn what cannot be read inside the block into a damage of that file. affected: asked only then."""
        try:
            yield
        except StoreError as error:
            got = ": ".join(filter(None, (error.where.cell, error.got)))
            what, own = error.what + (f" Found: {got}." if got else ""), error.mend
        except FileNotFoundError:
            what, own = "This file is missing.", ""
        except (OSError, ValueError) as error:
            what, own = f"This file cannot be read: {error}.", ""
        else:
            return
        words = affected if isinstance(affected, str) else affected()
        self.damage(path, what, words, mend or own or RESTORE, stands)

    def _place(self, path: Path | str) -> str:
        return path.relative_to(self.root).as_posix() if isinstance(path, Path) else path


def about_words(table: str, seen: Seen | None) -> str:
    """What rows of an add are about: table, walls and days."""
    days: dict[str, list[str]] = {}
    for house, wall, day in sorted(seen.about) if seen else ():
        days.setdefault("-".join(filter(None, (house, wall))), []).extend(filter(None, [day]))
    if not any(days):  # none, or rows of no house, such as receipts
        return f"the rows of one add to {table}"
    shown = [f"{place} ({', '.join(some)})" if some else place for place, some in list(days.items())[:_SHOWN]]
    more = f" and {len(days) - _SHOWN} more" if len(days) > _SHOWN else ""
    return f"{table} of {'; '.join(shown)}{more}"
