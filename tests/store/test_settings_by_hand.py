"""Files of settings that a person changed in an editor: what is taken, and what an error says of the place."""

import re
from datetime import date

import pytest
from store_rows import at, table

from monitor.config import Rules, Settings
from monitor.errors import StoreError
from monitor.store import Store
from monitor.store.verify import verify


def refused(store: Store, text: str) -> str:
    """What is said of settings that read so."""
    (store.path / "settings.json").write_text(text)
    with pytest.raises(StoreError) as error:
        store.settings()
    return str(error.value)


def test_the_mend_of_a_broken_seal_leads_to_settings_that_are_taken(store: Store) -> None:
    store.save_settings(Settings())
    file = store.path / "settings.json"
    changed = file.read_text().replace('"jump_mm": 6.0', '"jump_mm": 9.0')
    assert "take its line `seal` out" in refused(store, changed)
    lines = changed.splitlines(keepends=True)
    file.write_text("".join(line for line in lines if '"seal"' not in line))
    assert store.settings() == Settings(rules=Rules(jump_mm=9.0))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{"rules": {\n  "alpha": 0.05,\n  "jump_mm": NaN\n}}', 'line 3, column 14, which is `"jump_mm": NaN`'),
        ('{"rules": {\n  "alpha": 0.05\n  "jump_mm": 6\n}}', 'line 3, column 3, which is `"jump_mm": 6`'),
        ('{"rules": {\n  "alpha": 0.05,\n}}', "line 3, column 1, which is `}}`"),
        ('{"rules": {\n  "alpha": 0.05', "it ends too early in line 2, column 16"),
    ],
    ids=("not a number", "no comma", "a comma too many", "cut off"),
)
def test_what_is_no_json_is_told_with_line_column_and_text_and_a_mend_of_its_own(
    store: Store, text: str, words: str
) -> None:
    said = refused(store, text)
    assert words in said
    assert "Mend that line" in said
    assert "byte" not in said


def test_an_entry_given_twice_is_named_and_refused(store: Store) -> None:
    said = refused(store, '{"rules": {"jump_mm": 6.0, "alpha": 0.05, "jump_mm": 9.0}}')
    assert re.search(r"settings\.json, jump_mm: .*it is given 2 times.*Mend", said)
    (store.path / "telling.json").write_text('{"timeout_seconds": 10, "timeout_seconds": 20}')
    with pytest.raises(StoreError, match=r"telling\.json, timeout_seconds: .*it is given 2 times"):
        store.telling()


def test_a_proof_names_the_entry_that_cannot_be(store: Store) -> None:
    (store.path / "settings.json").write_text('{"rules": {"jump_mm": "six"}}')
    (damage,) = verify(store).damages
    assert "rules.jump_mm: it should be a number, not a text" in damage.what


def test_settings_that_signed_thresholds_overrule_are_told_with_the_row(store: Store) -> None:
    ours = Rules(before_mm_per_year=4.0, take_up_days=60, alpha=0.01)
    store.save_settings(Settings(rules=ours))
    row = {"source_name": "limits.csv", "source_row": 4, "signed_by": "P9"}
    first = row | {"valid_from": date(2025, 1, 1), "before_mm_per_year": 3.0, "take_up_days": 60}
    second = row | {"valid_from": date(2026, 1, 1), "take_up_days": 60, "known_at": at(10)}
    store.add("thresholds", table("thresholds", second, first))
    assert store.overruled_on(date(2024, 12, 31)) is None
    found = store.overruled_on(date(2025, 6, 1))
    assert found is not None
    assert (found.valid_from, found.source_name, found.source_row) == (date(2025, 1, 1), "limits.csv", 4)
    assert found.values == {"before_mm_per_year": (4.0, 3.0)}  # the others are as signed, or the default
    assert store.overruled_on(date(2026, 1, 1)) is None
