"""Every page of a set by its file name, each made only when it is asked for."""

from collections.abc import Callable, Mapping
from functools import partial

from monitor.pipeline import modelling
from monitor.report import monthly_files, names, pages
from monitor.report.context import Book, Key
from monitor.report.engineer_sheet import Model
from monitor.report.language import codes

Makers = Mapping[str, Callable[[], bytes]]


def of_all(content: Book) -> Makers:
    """The pages and files that there is one of, the index first."""
    return {
        names.INDEX: lambda: pages.index(content),
        names.MONTHLY_LIST: lambda: pages.monthly_list(content),
        names.MONTHLY_CSV: lambda: monthly_files.monthly_csv(content),
        names.MONTHLY_XLSX: lambda: monthly_files.monthly_xlsx(content),
        names.PLAN: lambda: pages.visit_plan(content),
        names.REPEATABILITY: lambda: pages.repeatability(content),
        names.OVERVIEW: partial(_overview, content),
        names.SCRIPT: pages.plotly_script,
    }


def of_wall(content: Book, key: Key, model: Callable[[], Model]) -> Makers:
    """The pages of one wall; model: asked for with the engineer's page only."""
    found: dict[str, Callable[[], bytes]] = {
        names.page_name(*key, "wall"): lambda: pages.wall_page(content, *key),
        names.page_name(*key, "engineer"): lambda: pages.engineer_page(content, *key, model()),
    }
    for code in codes():
        for kind, make in (("homeowner", pages.homeowner_page), ("history", pages.history_page)):
            found[names.page_name(*key, names.in_language(kind, code))] = partial(make, content, *key, code)
    return found


def _overview(content: Book) -> bytes:
    from monitor.trend.shares import share_range  # with the trend room, which no other of these pages needs

    return pages.overview(content, share_range)


def one(content: Book, name: str) -> bytes | None:
    """A page by its file name, byte for byte as it is written into a folder; None where there is none of that name."""
    makers = of_all(content)
    key = names.wall_of(name)
    if key and key in content.walls:
        makers = of_wall(content, key, partial(_model, content, key))
    return makers[name]() if name in makers else None


def _model(content: Book, key: Key) -> Model:
    return next(modelling.models(content, [key]))
