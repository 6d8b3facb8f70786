"""Walls by state over time as stacked columns: states told by pattern, order and words, never by colour."""

from collections.abc import Iterable, Iterator, Sequence

from markupsafe import Markup

from monitor.report.day_states import DayStates
from monitor.report.svg import element, path
from monitor.report.wording import day_text

_WIDTH, _HEIGHT, _LEFT, _TOP, _FOOT, _MARGIN = 760.0, 340.0, 52.0, 20.0, 40.0, 150.0
_BOTTOM = _HEIGHT - _FOOT
_WIDEST, _GAP = 64.0, 0.25
_ROOM_FOR_NUMBER, _ROOM_FOR_WORDS = 15.0, 17.0
_STEPS = (1, 2, 5)


def stacked(days: Sequence[DayStates], ids: str) -> Markup:
    """SVG of one column per assessment, oldest first, its words to the right of the last; '' where there is none."""
    most = max((day.total for day in days), default=0)
    if not most:
        return Markup("")
    step = (_WIDTH - _LEFT - _MARGIN) / len(days)
    wide = min(step * (1 - _GAP), _WIDEST)
    parts: list[Markup] = [
        element("title", "Walls by state over time", id=f"{ids}-title"),
        element("desc", stacked_words(days), id=f"{ids}-desc"),
        element("defs", [_pattern(number, f"{ids}-p{number}") for number in range(len(days[-1].walls))]),
        *_axis(most),
    ]
    for place, day in enumerate(days):
        x = _LEFT + step * (place + 0.5) - wide / 2
        parts += _column(day, x, wide, most, ids)
        if place % max(len(days) // 6, 1) == (len(days) - 1) % max(len(days) // 6, 1):
            parts.append(
                element("text", day.judged_on.isoformat(), x=x + wide / 2, y=_BOTTOM + 20, text_anchor="middle")
            )
    parts += _words(days[-1], _LEFT + step * (len(days) - 0.5) + wide / 2, most)
    return element(
        "svg",
        parts,
        class_="chart stack",
        viewBox=f"0 0 {_WIDTH:.0f} {_HEIGHT:.0f}",
        role="img",
        aria_labelledby=f"{ids}-title {ids}-desc",
    )


def stacked_words(days: Sequence[DayStates]) -> str:
    """The first and the last column in words; every number stands in the table."""
    shown = [days[0], days[-1]] if len(days) > 1 else days[-1:]
    return " ".join(
        f"{day_text(day.judged_on)}, {day.total} walls: "
        + ", ".join(f"{number} {state}" for state, number in day.walls.items())
        + "."
        for day in shown
    )


def _height(walls: int, most: int) -> float:
    return walls / most * (_BOTTOM - _TOP)


def _segments(day: DayStates, most: int) -> Iterator[tuple[int, str, int, float, float]]:
    """(place of the state, state, walls, top, height) of each that has walls, from below."""
    bottom = _BOTTOM
    for place, (state, walls) in enumerate(day.walls.items()):
        height = _height(walls, most)
        bottom -= height
        if walls:
            yield place, state, walls, bottom, height


def _column(day: DayStates, x: float, wide: float, most: int, ids: str) -> Iterable[Markup]:
    for place, _, walls, top, height in _segments(day, most):
        yield element("rect", x=x, y=top, width=wide, height=height, class_="segment", fill=f"url(#{ids}-p{place})")
        if height >= _ROOM_FOR_NUMBER and wide >= 12 + 8 * len(str(walls)):
            yield element("text", str(walls), x=x + wide / 2, y=top + height / 2 + 4.5, text_anchor="middle",
                          class_="count")  # fmt: skip


def _pattern(place: int, ids: str) -> Markup:
    """Solid, slanting lines, dots, blank, crossed lines: told apart in print, in grey, and by anybody."""
    size = 8.0
    inside = (
        [element("rect", width=size, height=size, class_="full")],
        [
            element("rect", width=size, height=size, class_="blank"),
            element("path", d="M-2 6L6 -2M2 10L10 2", class_="slant"),
        ],
        [
            element("rect", width=size, height=size, class_="blank"),
            element("circle", cx=4.0, cy=4.0, r=1.1, class_="full"),
        ],
        [element("rect", width=size, height=size, class_="blank")],
        [
            element("rect", width=size, height=size, class_="blank"),
            element("path", d="M0 0L8 8M8 0L0 8", class_="thin"),
        ],
    )[place]
    return element("pattern", inside, id=ids, width=size, height=size, patternUnits="userSpaceOnUse")


def _axis(most: int) -> Iterable[Markup]:
    tens = 10 ** (len(str(most)) - 1)
    step = next(size for tenth in (tens // 10 or 1, tens) for n in _STEPS if most / (size := n * tenth) <= 6)
    for walls in range(0, most + 1, step):
        y = _BOTTOM - _height(walls, most)
        kind = "grid" if walls else "nought"
        yield element("path", d=path([(_LEFT, y), (_WIDTH - _MARGIN, y)]), class_=kind)
        yield element("text", str(walls), x=_LEFT - 7, y=y + 4, text_anchor="end")
    yield element("text", "walls", x=6, y=_TOP - 6)


def _words(day: DayStates, x: float, most: int) -> Iterable[Markup]:
    """The states of the last column beside it, pushed apart where they are thin."""
    found = [(state, walls, top + height / 2) for _, state, walls, top, height in _segments(day, most)]
    above = _BOTTOM + _ROOM_FOR_WORDS
    places = []
    for state, walls, middle in found:
        above = min(middle, above - _ROOM_FOR_WORDS)
        places.append((state, walls, middle, above))
    short = max(_TOP + 4 - above, 0.0)  # pushed over the top: all down again
    for state, walls, middle, y in places:
        at = y + short
        yield element("path", d=path([(x + 3, middle), (x + 14, at)]), class_="tick")
        yield element("text", f"{walls} {state}", x=x + 18, y=at + 4)
