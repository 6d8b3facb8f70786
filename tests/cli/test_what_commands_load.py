"""No command loads a library that it does not use: lists of modules, not seconds, for a machine is not always as quick.

Commands of one process run one after the other, lightest first, so what one loads the next has too.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from monitor.cli import ROOMS, commands
from monitor.cli.plain_help import PlainTyper

pytestmark = pytest.mark.xdist_group("demo")

HEAVY = (
    *("pandas", "scipy", "statsmodels", "plotly", "openpyxl", "jinja2", "rapidfuzz", "charset_normalizer", "PIL"),
    *("fastapi", "starlette", "uvicorn", "argon2", "limits", "itsdangerous", "python_multipart", "smtplib", "pydantic"),
    *("monitor.trend.fit", "monitor.web.app", "monitor.demo", "monitor.simulate", "monitor.study"),
)
"""What a command on what is on record needs none of."""
TABLES = ("rich",)
"""Draws tables, and is wanted by whatever prints one."""
STORE = ("pyarrow", "numpy", "sqlite3", "msgspec", "filelock", "monitor.store", "monitor.trend", "monitor.report")
"""What no help needs."""

_RUN = """
import json, os, sys
from monitor.cli import main
found = []
for words in json.loads(sys.argv[1]):
    sys.argv = ["wallbow", *words]
    try:
        main()
        code = 0
    except SystemExit as left:
        code = left.code or 0
    found.append([code, sorted(sys.modules)])
print("\\n" + json.dumps(found))
"""


def loaded(calls: list[list[str]]) -> list[tuple[int, set[str]]]:
    """(exit code, every module loaded by then) after each call, all in one fresh process."""
    done = subprocess.run([sys.executable, "-c", _RUN, json.dumps(calls)], capture_output=True, text=True, check=True)
    return [(code, set(modules)) for code, modules in json.loads(done.stdout.rsplit("\n", 2)[-2])]


def names_of_commands() -> list[list[str]]:
    """Every command, and those of the groups."""
    app = commands()
    groups = {str(group.name): group.typer_instance for group in app.registered_groups}
    alone = [[str(each.name or each.callback.__name__.replace("_", "-"))] for each in app.registered_commands]  # type: ignore[union-attr]
    return [
        *alone,
        *([name] for name in groups),
        *([name, str(each.name)] for name, group in groups.items() if group for each in group.registered_commands),
    ]


def test_each_command_is_found_in_the_room_that_is_said_to_add_it() -> None:
    assert sorted(word for words in ROOMS.values() for word in words) == sorted(_words(commands()))
    for words in ROOMS.values():
        for word in words:
            assert sorted(_words(commands(word))) == sorted(words)


def _words(app: PlainTyper) -> list[str]:
    return list(typer.main.get_command(app).commands)  # type: ignore[attr-defined]


def test_no_help_loads_what_only_the_deed_needs() -> None:
    first, *others = loaded([["--help"], *([*name, "--help"] for name in names_of_commands())])
    assert first[0] == 0
    assert first[1] & {*HEAVY, *TABLES, *STORE} == set()
    assert len(others) > 40
    assert [code for code, _ in others if code] == []
    own = {*HEAVY, *TABLES, *STORE}
    assert others[-1][1] & own == set()


def test_commands_on_what_is_on_record_load_no_model_no_page_and_no_service(own: Path, tmp_path: Path) -> None:
    at = ["--store", str(own)]
    bare = [["setup", "--store", str(tmp_path / "new")], ["company", *at], ["tell-by", *at], ["verify", *at]]
    tables = [["account", "list", *at], ["flagged", *at], ["news", *at], ["wall", "DH-02-E", *at]]
    calls = [*bare, *tables]
    for words, (code, modules) in zip(calls, loaded(calls), strict=True):
        assert code == 0, words
        assert modules & {*HEAVY, *(TABLES if words in bare else ())} == set(), words


def test_a_visit_is_taken_in_and_its_wall_judged_without_masked_arrays(
    own: Path, demo_home: Path, tmp_path: Path
) -> None:
    text = (demo_home / "data" / "demo" / "visits" / "2026-04-16_T4.csv").read_text(encoding="utf-8")
    sent = tmp_path / "a week later.csv"
    sent.write_text(text.replace("2026-04-16", "2026-04-23"), encoding="utf-8")
    [(code, modules)] = loaded([["ingest", "--store", str(own), str(sent)]])
    assert code == 0
    assert {"monitor.trend.expected", "monitor.trend.verdicts"} < modules
    assert "numpy.ma.core" not in modules


def test_memory_that_is_free_goes_back_to_the_machine() -> None:
    told = "import monitor.schema, pyarrow; print(pyarrow.default_memory_pool().backend_name)"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "system"
