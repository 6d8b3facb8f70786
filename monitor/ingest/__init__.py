"""Files in: bytes of CSV or XLSX to judged rows, each with its state and reason. No path and no clock here."""

from monitor.ingest.readings import judge_correction, read_readings, visits_named
from monitor.ingest.register import read_register
from monitor.ingest.sort_of_file import kinds_of

__all__ = ["judge_correction", "kinds_of", "read_readings", "read_register", "visits_named"]
