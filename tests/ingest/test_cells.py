"""How a cell is named: held against openpyxl."""

from openpyxl.utils import get_column_letter

from monitor.ingest.cells import column_letters


def test_columns_are_named_as_a_spreadsheet_names_them() -> None:
    assert [column_letters(number) for number in (1, 26, 27, 702, 703)] == ["A", "Z", "AA", "ZZ", "AAA"]
    assert all(column_letters(number) == get_column_letter(number) for number in range(1, 18_279))
