"""Where the Parquet files of buckets lie: the store's own folder, or any filesystem that pyarrow opens by its address.

A file here never changes and is named by its content, so that whoever writes it a second time writes the same.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pyarrow import ArrowException, NativeFile, OSFile

from monitor.documents import Document, of_json
from monitor.errors import StoreError, Where
from monitor.store import files
from monitor.store.sealed import sealed, unsealed

FILE = "place.json"
_SIGN, _SAYS = "README.txt", b"Compacted facts and assessments of a store; change nothing here.\n"


class _Elsewhere(Document, frozen=True, kw_only=True):
    """Where the Parquet files of a store's buckets lie if not in its own folder."""

    address: str


def put_elsewhere(root: Path, address: str) -> None:
    """Have the Parquet files of a store's buckets lie there, before there are any.

    Raises StoreError where nothing can be written and read there, or another store's lie there.
    """
    there = Place(address)
    if "://" not in address or there.names(""):
        raise StoreError(
            "The Parquet files of this store cannot lie there.",
            where=Where(file=address),
            got="no URI" if "://" not in address else "files in it",
            expected="the URI of an empty folder, such as s3://bucket/folder or file:///shared/folder",
            mend="Give another one, or leave it out: they then lie in the store.",
        )
    there.write(_SIGN, _SAYS)
    if there.read(_SIGN) != _SAYS:
        raise StoreError("What is written there does not read back.", where=Where(file=address))
    files.replace(root / FILE, sealed(_Elsewhere(address=address)))


def of(root: Path) -> "Place":
    """Where those of a store lie. Raises StoreError where what says so is damaged."""
    try:
        said = of_json(_Elsewhere, unsealed((root / FILE).read_bytes()))
    except FileNotFoundError:
        return Place(root.absolute())
    except ValueError as error:
        raise StoreError(
            "This file of the store is damaged; it says where the compacted files lie.",
            where=Where(file=str(root / FILE)),
            mend="Restore this file from a backup; it never changes.",
        ) from error
    return Place(said.address)


class Place:
    """One such folder. address: a path on this machine, or a URI such as `s3://bucket/folder`."""

    def __init__(self, address: str | Path) -> None:
        self.address = str(address)
        self._fs, self._base = None, self.address
        if "://" in self.address:
            from pyarrow.fs import FileSystem  # of no use to most

            with _answering(self.address):
                self._fs, self._base = FileSystem.from_uri(self.address)

    @property
    def is_here(self) -> bool:
        """Whether it is a folder of this machine."""
        return self._fs is None

    def path(self, name: str) -> Path:
        """What a file is called in messages; its path where it lies on this machine."""
        return Path(self.address) / name

    def read(self, name: str) -> bytes:
        """The bytes of a file. FileNotFoundError where it is gone."""
        if self._fs is None:
            return self.path(name).read_bytes()
        with _answering(self.address), self._fs.open_input_stream(f"{self._base}/{name}") as file:
            return bytes(file.read())

    def open(self, name: str) -> NativeFile:
        """A file to read parts of. FileNotFoundError where it is gone."""
        if self._fs is None:
            path = self.path(name)
            path.stat()  # says which file is gone, as the next line does not
            return OSFile(str(path))
        with _answering(self.address):
            return self._fs.open_input_file(f"{self._base}/{name}")

    def write(self, name: str, data: bytes) -> None:
        """Write a file that never changes; where it is there already, it stays. Raises StoreError."""
        if self._fs is None:
            files.write_new(self.path(name), data)
            return
        whole = f"{self._base}/{name}"
        with _answering(self.address):
            if self._fs.get_file_info(whole).is_file:
                return
            self._fs.create_dir(whole.rpartition("/")[0])
            part = f"{whole.rpartition('/')[0]}/.{files.sha256(data)[:16]}{files.TEMPORARY}"
            with self._fs.open_output_stream(part) as file:
                file.write(data)
            self._fs.move(part, whole)

    def has(self, name: str) -> bool:
        """Whether a file is there."""
        if self._fs is None:
            return self.path(name).is_file()
        with _answering(self.address):
            return bool(self._fs.get_file_info(f"{self._base}/{name}").is_file)

    def names(self, folder: str) -> list[str]:
        """Names of the files in a folder, sorted; none where there is no such folder."""
        if self._fs is None:
            at = self.path(folder)
            return sorted(path.name for path in at.iterdir() if path.is_file()) if at.is_dir() else []
        from pyarrow.fs import FileSelector

        with _answering(self.address):
            found = self._fs.get_file_info(FileSelector(f"{self._base}/{folder}", allow_not_found=True))
        return sorted(each.base_name for each in found if each.is_file)

    def modified(self, name: str) -> float:
        """When a file was written, by the clock of where it lies, in seconds since 1970."""
        if self._fs is None:
            return self.path(name).stat().st_mtime
        with _answering(self.address):
            return float(self._fs.get_file_info(f"{self._base}/{name}").mtime_ns) / 1e9

    def remove(self, name: str) -> None:
        """Take a file away; nothing where it is gone."""
        if self._fs is None:
            self.path(name).unlink(missing_ok=True)
        elif self.has(name):
            with _answering(self.address):
                self._fs.delete_file(f"{self._base}/{name}")


@contextmanager
def _answering(address: str) -> Iterator[None]:
    """Turn what another filesystem refuses into a StoreError; a file that is not there stays that."""
    try:
        yield
    except FileNotFoundError:
        raise
    except (OSError, ArrowException) as error:
        raise StoreError(
            "The filesystem of the Parquet files does not answer as it should.",
            where=Where(file=address),
            got=str(error).splitlines()[0],
            mend="See that the address is right, the network stands and this user may read and write there.",
        ) from error
