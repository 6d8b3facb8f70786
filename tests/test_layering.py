"""The house's floor plan, held against the imports of every file (lazy ones too)."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent / "monitor"

LAYER = {
    "errors": 0,
    "documents": 0,
    "records": 0,
    "units": 0,
    "terms": 0,
    "lengths": 0,
    "slips": 0,
    "lately": 0,
    "schema": 1,
    "config": 1,
    "results": 1,
    "trend": 2,
    "ingest": 3,
    "store": 3,
    "report": 3,
    "telling": 3,
    "pipeline": 4,
    "demo": 4,
    "simulate": 4,
    "study": 4,
    "cli": 5,
    "web": 5,
    "__main__": 6,
    "__init__": 6,
}
STRANGERS = {"trend", "ingest", "store", "report", "telling"}
"""Rooms that never import each other."""

DOORS = {
    "pyarrow": {"schema", "results", "trend", "ingest", "store", "report", "pipeline", "demo", "simulate", "study"},
    "pandas": {"trend", "pipeline", "demo", "simulate", "study"},
    "numpy": {"schema", "trend", "store", "report", "demo", "simulate", "study"},
    "scipy": {"trend", "study"},
    "statsmodels": {"trend"},
    "msgspec": {"documents", "config", "store", "trend", "report", "pipeline", "study"},
    "pydantic": {"web"},
    "openpyxl": {"ingest", "report", "demo"},
    "plotly": {"report"},
    "jinja2": {"report", "web"},
    "typer": {"cli"},
    "rich": {"cli"},
    "distributed": {"pipeline"},
    "filelock": {"store"},
    "sqlite3": {"store"},
    "smtplib": {"telling"},
    "http": {"telling", "web"},
    "rapidfuzz": {"ingest", "pipeline"},
    "charset_normalizer": {"ingest"},
    "fastapi": {"web"},
    "starlette": {"web"},
    "uvicorn": {"web"},
    "argon2": {"web"},
    "limits": {"web"},
    "itsdangerous": {"web"},
    "python_multipart": {"web"},
}
"""Heavy libraries and the rooms whose door they come in by."""


def files() -> list[Path]:
    return sorted(ROOT.rglob("*.py"))


def room_of(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imports_of(path: Path) -> set[str]:
    """Every module named in an import statement, wherever it stands in the file."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


@pytest.mark.parametrize("path", files(), ids=named)
def test_arrows_point_down_and_rooms_of_one_floor_do_not_know_each_other(path: Path) -> None:
    here = room_of(path)
    for module in imports_of(path):
        if not module.startswith("monitor."):
            continue
        there = module.split(".")[1]
        if there == here or there not in LAYER:
            continue
        assert LAYER[there] <= LAYER[here], f"{named(path)} (layer {LAYER[here]}) imports {module}"
        assert not {here, there} <= STRANGERS, f"{named(path)} imports {module}: rooms that must not know each other"


@pytest.mark.parametrize("path", files(), ids=named)
def test_each_heavy_library_comes_in_by_its_own_door(path: Path) -> None:
    here = room_of(path)
    for module in imports_of(path):
        library = module.split(".")[0]
        assert here in DOORS.get(library, {here}), f"{named(path)} imports {module}"


@pytest.mark.parametrize("path", files(), ids=named)
def test_dataclasses_are_made_where_frozen_ones_cost_little(path: Path) -> None:
    assert "dataclasses.dataclass" not in imports_of(path) or room_of(path) == "records", "from monitor.records import"


def test_every_room_has_a_place_on_the_plan() -> None:
    rooms = {room_of(path) for path in files()}
    assert rooms <= set(LAYER), f"not on the plan: {rooms - set(LAYER)}"


def test_only_the_doors_to_people_read_the_clock() -> None:
    for path in files():
        if room_of(path) in ("cli", "web"):
            continue
        text = path.read_text(encoding="utf-8")
        for clock in ("datetime.now(", "date.today(", "utcnow(", "time.time("):
            assert clock not in text, f"{named(path)} reads the clock ({clock})"


def test_the_web_room_never_asks_the_commands() -> None:
    for path in files():
        if room_of(path) == "web":
            assert not any(module.startswith("monitor.cli") for module in imports_of(path)), named(path)
