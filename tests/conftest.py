"""The demo, run once for all tests that look at it (they share one worker: mark them `on_the_demo`)."""

import sys
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.demo import run as demo_run
from monitor.demo.run import Done

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
    """What `wallbow demo`, typed in that folder, made."""
    made: list[Done] = []
    run = demo_run.run

    def kept(sent: Path, to: Path, **more: object) -> Done:
        made.append(run(sent.absolute(), to.absolute(), **more))
        return made[0]

    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(demo_home)
        patch.setattr(demo_run, "run", kept)
        patch.setattr(sys, "argv", ["wallbow", "demo"])
        with pytest.raises(SystemExit) as left:
            main()
    assert not left.value.code
    return made[0]
