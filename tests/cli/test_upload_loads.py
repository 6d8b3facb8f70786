"""What taking in a visit loads: the model that judges it, and nothing that only others use. A list, no time."""

import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.xdist_group("demo")

NEVER = (
    *("pandas", "statsmodels", "plotly", "openpyxl", "jinja2", "rich", "PIL", "distributed", "dask"),
    *("scipy.stats", "scipy.optimize", "scipy.linalg", "charset_normalizer", "rapidfuzz", "multiprocessing"),
    *("fastapi", "starlette", "uvicorn", "argon2", "limits", "itsdangerous", "python_multipart", "smtplib", "pydantic"),
    *("numpy.f2py.crackfortran", "numpy.testing._private", "numpy.random._generator", "numpy.polynomial.polynomial"),
    *("unittest", "tomllib", "html"),
    *("monitor.web", "monitor.demo", "monitor.simulate", "monitor.study", "monitor.telling"),
    *("monitor.pipeline.publishing", "monitor.pipeline.modelling", "monitor.pipeline.workers"),
    *("monitor.report.context", "monitor.report.wording", "monitor.report.language", "monitor.cli.serving"),
)

_RUN = """
import sys
from monitor.cli import main
try:
    main()
finally:
    print("\\n".join(sys.modules))
"""


def visit(tmp_path: Path) -> Path:
    """A visit of one wall of the demo, weeks after its last list."""
    gaps = ("2 15/16", "2 1/8", "1 3/4", "2 3/16", "2 15/16")
    rows = [f"DH-01,N,2026-06-10,T1,string,BL-1,1,M{mark},{gap},in,gap" for mark, gap in enumerate(gaps, start=1)]
    path = tmp_path / "one visit.csv"
    path.write_text(
        "\n".join(["house,wall,visit date,technician,method,instrument,set-up,mark,value,unit,kind", *rows])
    )
    return path


def test_a_visit_is_taken_in_and_its_wall_assessed_without_what_only_others_use(own: Path, tmp_path: Path) -> None:
    words = ["ingest", str(visit(tmp_path)), "--store", str(own), "--mend-to", str(tmp_path / "mend")]
    done = subprocess.run([sys.executable, "-c", _RUN, *words], capture_output=True, text=True, check=False)
    assert "DH-01-N: " in done.stderr, done.stderr
    loaded = set(done.stdout.split())
    assert {"monitor.trend.fit", "monitor.pipeline.new_verdicts", "scipy.special"} <= loaded
    assert loaded & set(NEVER) == set()
