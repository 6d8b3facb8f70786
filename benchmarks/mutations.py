"""Real files turned into hostile ones: by bytes, by cells, by what stands inside a workbook; each draw from one chance.

A mutation gives the bytes, and how many rows with something in them were written where that is known (else None): what
reads them must find as many.
"""

import csv
import io
import json
import re
import zipfile
import zlib
from collections.abc import Callable, Sequence
from contextlib import suppress
from random import Random

import openpyxl

Grid = list[list[str]]
Mutated = tuple[bytes, int | None]

ODD_CELLS = (
    "", " ", "-", "n/a", "0", "-1", "1e9", "1 3/15", "1 19/16", "13/16/", "16-Mar", "45732", "03/04/25", "=1+1",
    "=cmd|' /C calc'!A0", "#REF!", "'", '"', "½", "1⅝", "1/8-1/4", "~2", "1 1/8?", "1 3/16 strong", "12-7-5/16",
    "x" * 40_000, "M33", "covered", "\x00", "\x1b[31m", "٣", "１ ３／１６", "2025-13-01", "9" * 400, "nan", "inf",
    "1_000", "mm", "30,2", "1,187", "1.3/16", "\u200b1 3/16", "М1", "DH‑01", "\u202e61/3", "<script>alert(1)</script>",
    "a\nb", "a,b;c\td", "\ud7ff\uffff", "0 3/16", "1' 2 3/8\"", "2052-01-01", "1899-12-31", "before", "99999999999",
    "1 3/16\u00a0",
)  # fmt: skip
_ALIKE = {"1": "l", "0": "O", "N": "Ν", "M": "М", "/": "⁄", "-": "–", " ": "\u00a0", '"': "”", "3": "З", "E": "Е"}
_SEPARATORS = ",;\t|"
_ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252", "cp850", "mac_roman", "utf-32")
_ENDS = ("\n", "\r\n", "\r", "\r\r\n")
_NUMBER_ATTRIBUTE = re.compile(rb'(?<=")\d+(?=")')
_ELEMENT = re.compile(rb"<(\w+)[^<>]*?(?:/>|>[^<>]*</\1>)")


def bytes_changed(chance: Random, data: bytes, _: bytes) -> bytes:
    """Single bytes replaced, put in, or taken out."""
    changed = bytearray(data)
    for _ in range(chance.randint(1, 12)):
        at = chance.randrange(len(changed) + 1)
        kind = chance.randrange(3)
        changed[at : at + (kind != 1)] = (
            b"" if kind == 2 else bytes([chance.choice((0, 10, 34, 44, 255, chance.randrange(256)))])
        )
    return bytes(changed)


def cut_short(chance: Random, data: bytes, _: bytes) -> bytes:
    """The beginning alone, or all but the beginning."""
    at = chance.randrange(len(data) + 1)
    return data[:at] if chance.random() < 0.8 else data[at:]


def spliced(chance: Random, data: bytes, other: bytes) -> bytes:
    """The beginning of one file and the end of another."""
    return data[: chance.randrange(len(data) + 1)] + other[chance.randrange(len(other) + 1) :]


def piece_repeated(chance: Random, data: bytes, _: bytes) -> bytes:
    """A piece of the file over and over."""
    at = chance.randrange(len(data) + 1)
    return data[:at] + data[at : at + chance.randint(1, 400)] * chance.choice((2, 3, 20, 500)) + data[at:]


BY_BYTES = (bytes_changed, cut_short, spliced, piece_repeated)


def _cells(chance: Random, grid: Grid, *, times: int | None = None) -> list[tuple[int, int]]:
    spots = [(row, column) for row, cells in enumerate(grid) for column in range(len(cells))]
    return [chance.choice(spots) for _ in range(times or chance.randint(1, 6))] if spots else []


def odd_cells(chance: Random, grid: Grid) -> None:
    """What people and programs write into cells."""
    for row, column in _cells(chance, grid):
        grid[row][column] = chance.choice(ODD_CELLS)


def cells_exchanged(chance: Random, grid: Grid) -> None:
    """Two cells in each other's place."""
    spots = _cells(chance, grid, times=8)
    for (a, b), (c, d) in zip(spots[::2], spots[1::2], strict=True):
        grid[a][b], grid[c][d] = grid[c][d], grid[a][b]


def digits_slipped(chance: Random, grid: Grid) -> None:
    """A digit exchanged with the next, lost, doubled, or another."""
    for row, column in _cells(chance, grid, times=12):
        text = grid[row][column]
        if digits := [at for at, sign in enumerate(text) if sign.isdecimal()]:
            at = chance.choice(digits)
            new = chance.choice(("", text[at] * 2, str(chance.randrange(10)), text[at + 1 : at + 2] + text[at]))
            grid[row][column] = text[:at] + new + text[at + 1 :]


def signs_alike(chance: Random, grid: Grid) -> None:
    """Letters, dashes and spaces that only look like those expected."""
    for row, column in _cells(chance, grid):
        grid[row][column] = "".join(
            _ALIKE.get(sign, sign) if chance.random() < 0.5 else sign for sign in grid[row][column]
        )


def units_exchanged(chance: Random, grid: Grid) -> None:
    """Inches and millimetres exchanged, in cells or headings."""
    other = {"in": "mm", "mm": "in", "gap": "deflection", "deflection": "gap", "string": "laser", "N": "S", "E": "W"}
    for cells in grid:
        cells[:] = [other.get(text, text) if chance.random() < 0.5 else text for text in cells]


def column_gone(chance: Random, grid: Grid) -> None:
    """A column deleted, doubled, moved, or without its heading."""
    width = max(map(len, grid))
    at, to, kind = chance.randrange(width), chance.randrange(width), chance.randrange(4)
    for cells in grid:
        if at < len(cells):
            kept = cells[at] if kind == 1 else cells.pop(at)
            if kind in (1, 2):
                cells.insert(to, kept)
    if kind == 3 and at < len(grid[0]):
        grid[0][at] = ""


def rows_moved(chance: Random, grid: Grid) -> None:
    """Rows doubled, deleted, put first, torn in two, or blank."""
    at, kind = chance.randrange(len(grid)), chance.randrange(6)
    row = grid[at]
    if kind == 0:
        grid[at:at] = [list(row) for _ in range(chance.choice((1, 2, 40)))]
    elif kind == 1 and len(grid) > 1:
        del grid[at]
    elif kind == 2:
        grid.insert(0, grid.pop(at))
    elif kind == 3:
        grid[at : at + 1] = [row[: len(row) // 2], row[len(row) // 2 :]]
    elif kind == 4:
        grid[at:at] = [[""] * len(row)] * chance.choice((1, 3, 500))
    else:
        grid.insert(0, ["visit of the spring", "", ""])
        grid.append(["Total", "", "12"])


BY_CELLS: Sequence[Callable[[Random, Grid], None]] = (
    odd_cells, odd_cells, cells_exchanged, digits_slipped, signs_alike, units_exchanged, column_gone, rows_moved,
)  # fmt: skip


def _mutated_grid(chance: Random, grid: Grid) -> Grid:
    grid = [list(row) for row in grid]
    for change in chance.choices(BY_CELLS, k=chance.randint(1, 3)):
        if grid and max(map(len, grid)):
            change(chance, grid)
    return grid


def filled(grid: Grid) -> int:
    """Rows with something in them that is more than blank, as a person sees them."""
    return sum(
        any(
            re.search(r"[^\s\x00-\x1f\x7f-\x9f\xad\u200b-\u200f\u202a-\u202e\u2060-\u2064\ufeff]", text) for text in row
        )
        for row in grid
    )


def grid_of_csv(data: bytes) -> Grid:
    """The cells of a CSV file as the demo writes it."""
    text = data.decode("utf-8-sig")
    separator = max(",;", key=text.count)
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))


def mutated_csv(chance: Random, data: bytes, other: bytes) -> Mutated:
    """A CSV file changed by bytes, or by cells and written anew in any separator, encoding and line end."""
    if chance.random() < 0.35:
        return chance.choice(BY_BYTES)(chance, data, other), None
    grid = _mutated_grid(chance, grid_of_csv(data))
    out = io.StringIO(newline="")
    ends, separator = chance.choice(_ENDS[:2]), chance.choice(_SEPARATORS)
    csv.writer(out, delimiter=separator, lineterminator=ends).writerows(grid)
    text, encoding = out.getvalue(), "utf-8"
    if chance.random() < 0.25:  # what may not be read as it was written: as many rows are not asked for
        encoding, ends = chance.choice(_ENCODINGS), chance.choice(_ENDS)
        return text.replace("\r\n", "\n").replace("\n", ends).encode(encoding, "replace"), None
    if chance.random() < 0.1:
        return text.replace('"', "").encode(encoding, "replace"), None
    return text.encode(encoding, "replace"), filled(grid)


def grid_of_xlsx(data: bytes) -> Grid:
    """The cells of a workbook's first sheet as texts."""
    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True)
    return [
        ["" if value is None else str(value) for value in row] for row in book.worksheets[0].iter_rows(values_only=True)
    ]


def _workbook(chance: Random, grid: Grid) -> Mutated:
    """A workbook of those cells, some as numbers, with what people do to sheets."""
    book = openpyxl.Workbook()
    sheet = book.active
    plain = [[_storable(text) for text in row] for row in grid]
    for row in plain:
        sheet.append(
            [
                float(text) if chance.random() < 0.3 and re.fullmatch(r"\d{1,6}(\.\d{1,4})?", text) else text
                for text in row
            ]
        )
    if chance.random() < 0.3:
        sheet.column_dimensions["B"].hidden = sheet.row_dimensions[2].hidden = True
        sheet.protection.sheet = True
        sheet.freeze_panes = "A2"
    if chance.random() < 0.2:
        book.create_sheet("Notes").append(["nothing", "here"])
        plain = []
    if chance.random() < 0.2:
        sheet.merge_cells(start_row=2, end_row=chance.randint(2, 9), start_column=1, end_column=chance.randint(1, 3))
        plain = []
    out = io.BytesIO()
    book.save(out)
    return out.getvalue(), filled(plain) if plain else None


def _storable(text: str) -> str:
    text = re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]", "", text)[:32_000]
    return text if text != "=" else ""


def part_changed(chance: Random, data: bytes, other: bytes) -> bytes:
    """A part inside the archive changed by bytes, by numbers, by elements, or taken from elsewhere; zipped again."""
    source = zipfile.ZipFile(io.BytesIO(data))
    names = source.namelist()
    at = "xl/worksheets/sheet1.xml" if chance.random() < 0.5 else chance.choice(names)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for name in names:
            part = source.read(name)
            if name == at:
                part = _part(chance, part, other, source.read(chance.choice(names)))
                if part is None:
                    continue
            target.writestr(
                chance.choice(("../../" + name, name.upper(), names[0]))
                if name == at and chance.random() < 0.05
                else name,
                part,
            )
    return out.getvalue()


def _part(chance: Random, part: bytes, other: bytes, another: bytes) -> bytes | None:
    kind = chance.randrange(8)
    if kind == 0:
        return None
    if kind == 1:
        return another
    if kind == 2:
        return chance.choice(BY_BYTES)(chance, part, other)
    if kind in (3, 4):
        huge = (b"0", b"-1", b"1048577", b"4294967296", b"9" * 30, b"nan", b"", b"1e400", b"2")
        found = [match.span() for match in _NUMBER_ATTRIBUTE.finditer(part)]
        for start, end in sorted(chance.sample(found, min(len(found), chance.randint(1, 4))), reverse=True):
            part = part[:start] + chance.choice(huge) + part[end:]
        return part
    elements = [match.span() for match in _ELEMENT.finditer(part)]
    if not elements:
        return part[: len(part) // 2]
    start, end = chance.choice(elements)
    piece = part[start:end]
    if kind == 5:
        return part[:start] + part[end:]
    if kind == 6:
        return part[:start] + piece * chance.choice((2, 5, 3000)) + part[end:]
    to = chance.choice(elements)[0]
    return part[:to] + piece + part[to:]


def mutated_xlsx(chance: Random, data: bytes, other: bytes) -> Mutated:
    """A workbook changed from outside, inside the archive, or by its cells."""
    drawn = chance.random()
    if drawn < 0.2:
        return chance.choice(BY_BYTES)(chance, data, other), None
    if drawn < 0.65:
        return part_changed(chance, data, other), None
    return _workbook(chance, _mutated_grid(chance, grid_of_xlsx(data)))


def mutated_json(chance: Random, data: bytes, other: bytes) -> Mutated:
    """A field sheet's file changed by bytes, by its cells, or in its build."""
    if chance.random() < 0.35:
        return chance.choice(BY_BYTES)(chance, data, other), None
    content = json.loads(data)
    rows = content["tables"]["readings"]
    columns = list(rows[0])
    grid = _mutated_grid(chance, [columns, *([str(row.get(column, "")) for column in columns] for row in rows)])
    titles, *below = grid or [[]]
    content["tables"]["readings"] = [dict(zip(titles, row, strict=False)) for row in below]
    if chance.random() < 0.2:
        strange = (None, [], {}, [[1]], "x", 7, 1.5e300, True, [{"value": [1]}], [{"value": None}])
        at = chance.choice((content, content["tables"], (content["tables"]["readings"] or [{}])[0]))
        at[chance.choice([*at, "events", "marks"])] = chance.choice(strange)
        return json.dumps(content).encode(), None
    return json.dumps(content, ensure_ascii=chance.random() < 0.5).encode("utf-8", "surrogatepass"), None


def mutated_photo(chance: Random, data: bytes, other: bytes) -> Mutated:
    """A photo changed by bytes, in the lengths of its parts, or with a sum that fits what was changed."""
    drawn = chance.random()
    if drawn < 0.5:
        return chance.choice(BY_BYTES)(chance, data, other), None
    changed = bytearray(data)
    if data.startswith(b"\x89PNG"):
        spots = [match.start() for match in re.finditer(rb"IHDR|IDAT|tEXt|eXIf|PLTE|iCCP|pHYs|tIME", data)]
        at = chance.choice(spots)
        length = int.from_bytes(data[at - 4 : at], "big")
        if length:
            changed[at + 4 + chance.randrange(length)] = chance.randrange(256)
        with suppress(IndexError):
            changed[at + 4 + length : at + 8 + length] = zlib.crc32(changed[at : at + 4 + length]).to_bytes(4, "big")
    else:
        spots = [match.start() for match in re.finditer(rb"\xff[\xc0-\xfe]", data)]
        at = chance.choice(spots)
        changed[at + 2 : at + 4] = chance.choice((0, 1, 2, 65535, chance.randrange(65536))).to_bytes(2, "big")
    return bytes(changed), None
