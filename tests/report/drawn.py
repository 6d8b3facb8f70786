"""A chart read back as a person reads it: places on the axes, from the words beside them."""

import re
from datetime import date
from xml.etree import ElementTree


class Drawing:
    """An SVG and its axes."""

    def __init__(self, svg: object) -> None:
        self.root = ElementTree.fromstring(str(svg))

    def all(self, name: str, kind: str) -> list[dict[str, str]]:
        """Attributes of the elements of a name and class."""
        return [item.attrib for item in self.root.iter(name) if item.get("class") == kind]

    def texts(self) -> list[str]:
        return [item.text or "" for item in self.root.iter("text")]

    @property
    def desc(self) -> str:
        return next(item.text or "" for item in self.root.iter("desc"))

    def mm(self, y: float) -> float:
        """A height as the axis of millimetres beside it says."""
        ticks = [
            (float(item.text), float(item.get("y")) - 4) for item in self.root.iter("text") if self._is_length(item)
        ]
        (low, low_y), (high, high_y) = ticks[0], ticks[-1]
        return low + (y - low_y) / (high_y - low_y) * (high - low)

    def days(self, first: tuple[date, float], last: tuple[date, float], x: float) -> float:
        """Days from the first of two known places on the axis of days."""
        return (x - first[1]) / (last[1] - first[1]) * (last[0] - first[0]).days

    @staticmethod
    def _is_length(item: ElementTree.Element) -> bool:
        return item.get("text-anchor") == "end" and bool(re.fullmatch(r"-?[0-9.]+", item.text or ""))


def ends(attributes: dict[str, str]) -> list[tuple[float, float]]:
    """Corners of a path."""
    return [tuple(map(float, pair)) for pair in re.findall(r"(-?[0-9.]+) (-?[0-9.]+)", attributes["d"])]
