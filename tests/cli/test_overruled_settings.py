"""What `assess` says where the store's settings are not those that count."""

from pathlib import Path

from monitor import store as stores
from monitor.config import Rules, Settings


def test_assess_says_which_settings_do_not_count_as_others_are_signed(call, own: Path, tmp_path: Path) -> None:
    stores.open(own).save_settings(Settings(rules=Rules(before_mm_per_year=4.5, alpha=0.04)))
    (tmp_path / "thresholds.csv").write_text("valid_from,before,signed_by\n2026-01-01,3 mm,O1\n")
    call("ingest", str(tmp_path / "thresholds.csv"), "--store", str(own))
    said = call("assess", "--store", str(own), "--on", "2026-04-30").err
    assert "before_mm_per_year 4.5 (signed: " in said
    assert "alpha" not in said
