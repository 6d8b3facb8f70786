"""The command called as people call it, in a folder that looks like a checkout after the demo."""

import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.cli import main as run_main
from monitor.demo.run import Done


class Called:
    """What a call of the command answered."""

    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], demo_home: Path) -> Callable[..., Called]:
    def calling(*words: str) -> Called:
        monkeypatch.chdir(demo_home)
        monkeypatch.setattr(sys, "argv", ["wallbow", *words])
        with pytest.raises(SystemExit) as left:
            run_main()
        found = capsys.readouterr()
        return Called(int(left.value.code or 0), found.out, found.err)

    return calling


@pytest.fixture
def own(demo: Done, demo_home: Path, tmp_path: Path) -> Path:
    """A copy of the demo's store that a test may change."""
    return shutil.copytree(demo_home / "reports" / "demo" / "store", tmp_path / "store")
