from pathlib import Path

import pytest
from store_rows import START

from monitor import store as stores
from monitor.store import Store


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return stores.create(tmp_path / "store", company={"name": "the demo firm"}, created_at=START)
