#!/usr/bin/env python3
"""Set up a private environment beside this file and run the demo or all checks in it. Needs Python 3.11 or newer only.

python3 start.py demo     the demo: raw files of invented houses through the whole line into reports/demo/
python3 start.py check    format, lint, types and tests
"""

import hashlib
import shutil
import subprocess
import sys
import venv
from pathlib import Path

HERE = Path(__file__).resolve().parent
ENVIRONMENT = HERE / ".venv"
PYTHON = ENVIRONMENT / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")

DEMO = [["-m", "monitor", "demo"]]
CHECK = [
    ["-m", "ruff", "format", "--check", "."],
    ["-m", "ruff", "check", "."],
    ["-m", "mypy"],
    ["-m", "pytest", "-n", "auto"],
]


def main(words: list[str]) -> int:
    """Set up what the asked part needs, then run it; the exit code is that of the first step that fails."""
    if sys.version_info < (3, 11):  # noqa: UP036  (this file is started by whatever Python the machine has)
        print(f"This needs Python 3.11 or newer; this one is {sys.version.split()[0]}.", file=sys.stderr)
        return 2
    if words not in (["demo"], ["check"]):
        print(__doc__, file=sys.stderr)
        return 2
    lock, steps = ("requirements.txt", DEMO) if words == ["demo"] else ("requirements-dev.txt", CHECK)
    set_up(HERE / lock)
    for step in steps:
        print("$ python", *step, flush=True)
        code = subprocess.run([str(PYTHON), *step], cwd=HERE, check=False).returncode
        if code:
            return code
    return 0


def set_up(lock: Path) -> None:
    """Make the environment and install the locked packages by hash, unless just that was done already."""
    mark = ENVIRONMENT / f"installed-{lock.stem}.txt"
    wanted = hashlib.sha256(lock.read_bytes() + (HERE / "pyproject.toml").read_bytes()).hexdigest()
    if mark.exists() and mark.read_text() == wanted:
        return
    if not PYTHON.exists():
        make_environment()
    pip = [str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    print(f"Installing the packages of {lock.name} into {ENVIRONMENT.name}/ (once) ...", flush=True)
    subprocess.run([*pip, "--require-hashes", "-r", str(lock)], check=True)
    subprocess.run([*pip, "--no-deps", "--no-build-isolation", "--editable", str(HERE)], check=True)
    mark.write_text(wanted)


def make_environment() -> None:
    """An environment with pip; where Python comes without ensurepip, the pip of the system puts one in."""
    try:
        import ensurepip  # noqa: F401  (only asked whether it is there)

        venv.create(ENVIRONMENT, with_pip=True)
    except ImportError:
        venv.create(ENVIRONMENT, with_pip=False)
        into = [sys.executable, "-m", "pip", "--python", str(PYTHON), "install", "--quiet", "pip"]
        if subprocess.run(into, check=False).returncode:
            shutil.rmtree(ENVIRONMENT)
            sys.exit("This Python can make no environment with pip. On Debian and Ubuntu: apt install python3-venv")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
