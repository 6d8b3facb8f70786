"""Assessing all walls again from the office's page: in the background, one at a time, with what is done of it told."""

from threading import Lock, Thread

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from monitor.errors import BowError
from monitor.pipeline import alerting
from monitor.pipeline.assessing import assess
from monitor.records import dataclass, field
from monitor.web import guard
from monitor.web.pages import page
from monitor.web.service import Asking, Here, Service, Visitor, note

router = guard.router()
_AT_ONCE_SECONDS = 2.0
"""A small company's list is there before anybody wonders; for longer ones a page tells how far it is."""


@dataclass
class Run:
    """One assessment under way, or the last one; problem: why it ended without a list."""

    done: int = 0
    total: int = 0
    problem: str = ""
    thread: Thread | None = None
    starting: Lock = field(default_factory=Lock)

    @property
    def is_under_way(self) -> bool:
        """Whether it is not done yet."""
        return self.thread is not None and self.thread.is_alive()

    def step(self, done: int, total: int) -> None:
        """Take down how far it is."""
        self.done, self.total = done, total


@router.post("/review/assess")
def start(request: Request, here: Here, asking: Asking) -> Response:
    """Assess all walls for today from all that is known; where that is under way already, show how far it is."""
    run = _run(request)
    with run.starting:
        if not run.is_under_way:
            run.done, run.total, run.problem = 0, 0, ""
            run.thread = Thread(target=_assess, args=(here, asking, run), daemon=True)
            run.thread.start()
    run.thread.join(_AT_ONCE_SECONDS)  # type: ignore[union-attr]
    return RedirectResponse("/review" if not run.is_under_way and not run.problem else "/review/assess", 303)


@router.get("/review/assess")
def progress(request: Request) -> Response:
    """How far it is; the list once it is done."""
    run = _run(request)
    if run.thread is None or not (run.is_under_way or run.problem):
        return RedirectResponse("/review", 303)
    return page(request, "review_assess.html", title="Assessing again", run=run)


def _assess(here: Service, asking: Visitor, run: Run) -> None:
    today, now = here.today(), here.now()
    try:
        found = assess(here.store(), judged_on=today, known_on=now, made_at=now, progress=run.step)
        alerting.look(here.store(), at=here.now())
    except BowError as error:
        run.problem = str(error)
        note(here, asking, "assess", f"not done: {error}", what=str(today))
        return
    except Exception:
        run.problem = "The program failed, and the list is as it was. Tell the office."
        raise
    note(here, asking, "assess", f"done: {found.wall_results.num_rows} results", what=str(today))


def _run(request: Request) -> Run:
    if not hasattr(request.app.state, "assessing"):
        request.app.state.assessing = Run()
    found: Run = request.app.state.assessing
    return found
