"""Everything about one wall in one archive, for an engineer or for a claim: tables with a dictionary, page, settings.

The same store and assessment give the same bytes: names sorted, times fixed, no clock. No person is named in it: people
stand as their ids, and what the register says of owners, contacts and addresses stays out.
"""

import zipfile
from collections.abc import Mapping
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from monitor import __version__, schema
from monitor.config import Settings
from monitor.errors import ReportError
from monitor.pipeline import damaged, editions, keys, modelling, pack_tables, page_files, photos, runs
from monitor.pipeline.assessing import settings_of
from monitor.pipeline.export import csv_bytes, dictionary
from monitor.pipeline.pack_words import PAGE, README, SETTINGS, SUMS, what_is_in
from monitor.pipeline.publishing import book_of_edition, number_in
from monitor.report import names, pages
from monitor.report.context import Book, Key
from monitor.report.engineer_sheet import Model
from monitor.results import Assessment
from monitor.store import Store

_TIME = (1980, 1, 1, 0, 0, 0)
"""The earliest time that an archive can hold: stands for none."""


def pack(store: Store, assessment: Assessment, key: str, to: Path) -> Mapping[str, bytes]:
    """Write the archive of one wall and return its files by name.

    key: house-wall, NotFoundError as keys.find. Raises ReportError where `to` cannot be written or is a file that is no
    pack, StoreError where a photo is missing or damaged.
    """
    of_wall = keys.registered(store, key, assessment.known_until)
    if to.is_file() and not is_pack(to):
        raise ReportError(
            "There is a file of that name that is no pack, so it was left as it is.",
            got=str(to),
            expected="the name of a new file, or of an earlier pack, which is replaced",
            mend="Choose another file with --to.",
        )
    found = files(store, assessment, of_wall)
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        page_files.write(to, archive(found))
    except OSError as error:
        raise ReportError(
            "The pack could not be written.",
            got=f"{error.filename or to}: {error.strerror or error}",
            expected="a file name that ends in .zip, in a folder that may be written to",
            mend="Choose another file with --to, or make room there.",
        ) from error
    return found


def is_pack(path: Path) -> bool:
    """Whether a file is an archive as `pack` writes them."""
    if not zipfile.is_zipfile(path):
        return False
    with zipfile.ZipFile(path) as there:
        return {SUMS, "README.txt"} <= set(there.namelist())


def files(store: Store, assessment: Assessment, key: Key) -> dict[str, bytes]:
    """The files of the archive by name, sorted."""
    edition = editions.last_published(store, assessment)
    content = book_of_edition(store, edition, key)
    damaged.refuse(store, key)
    settings = settings_of(store, edition.run)
    tables = tables_of(store, content, key)
    page = pages.engineer_page(content, *key, _model(tables))
    found = {
        **{f"{name}.csv": csv_bytes(rows) for name, rows in tables.items()},
        "dictionary.csv": csv_bytes(dictionary(tables)),
        names.page_name(*key, "engineer"): page,
        SETTINGS: runs.settings_json(settings).encode(),
        **photos.files(store, content.view(*key).photos),
    }
    found["README.txt"] = _readme(content, key, tables, settings, number_in(page)).encode()
    found[SUMS] = "".join(f"{sha256(found[name]).hexdigest()}  {name}\n" for name in sorted(found)).encode()
    return {name: found[name] for name in sorted(found)}


def archive(found: Mapping[str, bytes]) -> bytes:
    """Files as a zip archive: sorted names, fixed times and modes."""
    buffer = BytesIO()
    with zipfile.ZipFile(buffer, "w") as made:
        for name in sorted(found):
            entry = zipfile.ZipInfo(name, _TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3  # what made it shall not depend on the machine
            entry.external_attr = 0o644 << 16
            made.writestr(entry, found[name], compresslevel=9)
    return buffer.getvalue()


def tables_of(store: Store, content: Book, key: Key) -> schema.Tables:
    """The tables of the archive by name, in the order in which the dictionary tells of them."""
    readings = pack_tables.of_wall(content.fact("readings"), key)
    ids = readings["reading_id"].combine_chunks()
    rulings = content.fact("rulings")
    judged, view = content.assessment, content.view(*key)
    return {
        **pack_tables.received(store, judged, key),
        "readings_judged": readings,
        "rulings": rulings.filter(pc.is_in(rulings["reading_id"], value_set=ids)),
        "visits": pack_tables.visits(readings, key),
        "photo_index": photos.table(photos.index(view.readings, view.photos)),
        **pack_tables.register(content, key, readings),
        **{name: pack_tables.of_wall(getattr(judged, name), key) for name in schema.RESULTS},
        "components": pack_tables.of_wall(content.components, key),
        **modelling.told(content, [key]),
        "variances": content.fact("variances"),
    }


def _model(tables: schema.Tables) -> Model:
    return Model(**{name: tables[name].to_pylist() for name in ("fits", "residuals", "agreement")})


def _readme(content: Book, key: Key, tables: Mapping[str, pa.Table], settings: Settings, number: str) -> str:
    judged = content.assessment
    text = README.format(
        wall=keys.written(*key),
        version=__version__,
        judged_on=judged.judged_on.isoformat(),
        known_until=f"{judged.known_until:%Y-%m-%d %H:%M:%S} UTC",
        settings_sha256=runs.settings_hash(settings),
        facts_sha256=judged.facts_sha256,
        page=names.page_name(*key, "engineer"),
        number=number,
        settings=SETTINGS,
        sums=SUMS,
    )
    return text + "".join(f"{line}\n" for line in what_is_in(tables)) + PAGE
