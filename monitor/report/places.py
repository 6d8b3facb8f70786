"""A wall and a place on it, in words of somebody who stands in front of the wall."""

from monitor.report.context import WallView
from monitor.report.language import Language
from monitor.report.wording import EN


def spoken(view: WallView, words: Language = EN) -> str:
    """The wall within a sentence: 'the north wall', 'wall N'."""
    return words.wall_text(view.place["nickname"], view.wall)


def place_words(view: WallView, mark: str, words: Language = EN) -> str:
    """'the middle of the wall', 'the left part of the wall, near the top'; the wall alone where nothing tells.

    By thirds of the wall's length and height, seen from inside; the middle third of the height goes without saying.
    """
    wall = spoken(view, words)
    row = next((row for row in view.marks if row["mark"] == mark), None)
    if row is None:
        return wall
    side = _third(row["x_mm"], view.place["length_mm"], ("left", "middle", "right"))
    height = _third(row["z_mm"], view.place["clear_height_mm"], ("low", "", "high"))
    where = words.say("place", side, wall=wall) if side else wall
    return words.say("place", height, where=where) if height else where


def _third(at: float | None, whole: float | None, names: tuple[str, str, str]) -> str:
    if at is None or not whole:
        return ""
    return names[min(max(int(3 * at / whole), 0), 2)]
