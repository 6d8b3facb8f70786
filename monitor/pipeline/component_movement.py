"""Bow, tip and slide of every visit, from a book's tables: made when pages are written, not stored."""

import pyarrow as pa

from monitor import schema
from monitor.pipeline.frames import frame, table
from monitor.report.context import Book
from monitor.trend.components import components


def component_movement(content: Book) -> pa.Table:
    """Table schema.COMPONENTS of all walls, in their order."""
    judged = content.assessment
    if not judged.movement.num_rows:
        return schema.empty("components")
    tables = (judged.movement, judged.wall_results, content.fact("walls"), content.fact("marks"))
    movement, results, walls, marks = map(frame, tables)
    return table("components", components(movement, results, walls, marks, content.variances))
