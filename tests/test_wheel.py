"""The package as a wheel: everything it needs is in it, nothing else is, and it runs from it without the checkout."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    to = tmp_path_factory.mktemp("wheel")
    pip = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check"]
    subprocess.run([*pip, "wheel", "--no-deps", "--no-build-isolation", "-w", str(to), str(ROOT)], check=True)
    return next(to.glob("*.whl"))


def test_the_wheel_holds_every_file_of_the_package_and_nothing_else(wheel: Path) -> None:
    package = {
        str(path.relative_to(ROOT))
        for path in (ROOT / "monitor").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts and not path.name.startswith(".")
    }
    with zipfile.ZipFile(wheel) as opened:
        assert {name for name in opened.namelist() if ".dist-info/" not in name} == package
    assert "monitor/py.typed" in package, "its types are for those who import it"


def test_the_command_runs_from_the_wheel(wheel: Path, tmp_path: Path) -> None:
    """Pages are written with the templates and phrases that came in the wheel: nothing else is in its folder."""
    into = tmp_path / "installed"
    with zipfile.ZipFile(wheel) as opened:
        opened.extractall(into)
    for words in (
        ["setup", "--store", "store", "--company", "the demo firm", "--contact", "555-0100"],
        ["assess", "--store", "store", "--on", "2023-05-31"],
        ["reports", "--store", "store", "--to", "pages"],
    ):
        done = subprocess.run(
            [sys.executable, "-P", "-m", "monitor", *words],
            cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(into)}, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
    assert (tmp_path / "pages" / "index.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
