"""Where a mark sits, in words of somebody who stands in front of the wall."""

from monitor.report.context import WallView


def place_words(view: WallView, mark: str) -> str:
    """'the middle of the wall', 'the left part of the wall, near the top'; the wall alone where nothing tells.

    By thirds of the wall's length and height, seen from inside; the middle third of the height goes without saying.
    """
    row = next((row for row in view.marks if row["mark"] == mark), None)
    if row is None:
        return view.spoken
    side = _third(row["x_mm"], view.place["length_mm"], ("the left part", "the middle", "the right part"))
    height = _third(row["z_mm"], view.place["clear_height_mm"], ("near the floor", "", "near the top"))
    where = f"{side} of {view.spoken}" if side else view.spoken
    return f"{where}, {height}" if height else where


def _third(at: float | None, whole: float | None, words: tuple[str, str, str]) -> str:
    if at is None or not whole:
        return ""
    return words[min(max(int(3 * at / whole), 0), 2)]
