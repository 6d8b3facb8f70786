"""The book of every state, and pages read back as a person or a program would read them."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from written_book import book_of, build_book, states

from monitor.report.context import Book


@pytest.fixture(scope="session")
def book() -> Book:
    return build_book()


@pytest.fixture(scope="session")
def without() -> Callable[..., Book]:
    """A book without some states, for an earlier list."""

    def made(*names: str, judged_on: date = date(2026, 3, 31), **more: Any) -> Book:
        found = book_of({name: rows for name, rows in states().items() if name not in names})
        return replace(found, assessment=replace(found.assessment, judged_on=judged_on), **more)

    return made
