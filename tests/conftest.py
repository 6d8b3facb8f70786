"""The demo, run once for all tests that look at it (they share one worker: mark them `on_the_demo`)."""

from pathlib import Path

import pytest

from monitor.demo.run import Done, run

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="session")
def demo_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as a checkout looks after the demo: data/demo and reports/demo."""
    home = tmp_path_factory.mktemp("checkout")
    (home / "data").mkdir()
    (home / "data" / "demo").symlink_to(ROOT / "data" / "demo")
    return home


@pytest.fixture(scope="session")
def demo(demo_home: Path) -> Done:
    return run(demo_home / "data" / "demo", demo_home / "reports" / "demo")
