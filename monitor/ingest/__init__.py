"""Files in: bytes (CSV, XLSX, a field sheet's) to judged rows, each with state and reason. No path, no clock here."""

from monitor.ingest.known import Every
from monitor.ingest.named import Named, named
from monitor.ingest.readings import judge_correction, read_readings, visits_named
from monitor.ingest.redacted import text_of, without_person
from monitor.ingest.register import read_register
from monitor.ingest.sort_of_file import kinds_of
from monitor.ingest.visit_sheet import looks_like_sheet

__all__ = [
    "Every", "Named", "judge_correction", "kinds_of", "looks_like_sheet", "named", "read_readings", "read_register",
    "text_of", "visits_named", "without_person",
]  # fmt: skip
