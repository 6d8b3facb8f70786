"""Copies of stores that tests of this room may change."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor import store as stores
from monitor.store import Store


@pytest.fixture
def copy_of(tmp_path: Path) -> Callable[[Path], Store]:
    return lambda path: stores.open(shutil.copytree(path, tmp_path / "copy"))
