"""What is true of every wall of the demo, and the right answer at its end."""

from monitor.demo.scenario import STORIES, Story
from monitor.demo.tables import Cell, Table
from monitor.demo.walls import motion_of, simulate_story

_COMPONENTS = ("bow", "tip", "slide")


def walls() -> Table:
    """One row a wall and period: when it began, rates of bow, tip and slide in mm/yr, season, the right answer."""
    return [_wall(story, period) for story in STORIES for period in range(len(motion_of(story).stages))]


def _wall(story: Story, period: int) -> dict[str, Cell]:
    stage = motion_of(story).stages[period]
    rows = (story.after or (0.0, 0.0, 0.0)) if period else story.before
    row: dict[str, Cell] = {"house": story.house, "wall": story.wall, "period": period, "from": stage.start}
    row |= {f"rate of row {name} [mm/yr]": float(rate) for name, rate in zip("TMB", rows, strict=True)}
    row |= {f"rate of {name} [mm/yr]": round(rate, 4) + 0.0 for name, rate in zip(_COMPONENTS, stage.rate, strict=True)}
    row |= {
        "left corner at its top [mm/yr]": story.left_end,
        "season [mm]": stage.season_mm,
        "bow at zero [mm]": float(story.bow_mm),
        "told": story.told,
        "right answer at the end": story.answer,
        "needs": "; ".join(story.needs),
    }
    return row


def marks() -> Table:
    """One row a wall, period and mark: its true rate, and as far as each method used there can see it."""
    rows: list[dict[str, Cell]] = []
    for story in STORIES:
        truth = simulate_story(story).truth
        for period, rates in enumerate(truth.rates_mm_per_year):
            for i, mark in enumerate(truth.marks):
                row: dict[str, Cell] = {"house": story.house, "wall": story.wall, "period": period, "mark": mark}
                row["rate [mm/yr]"] = _plain(rates[i])
                for method in ("string", "plumb", "laser", "meter"):
                    seen = {m.value: values for m, values in truth.seen_rates_mm_per_year.items()}.get(method)
                    row[f"as seen by {method} [mm/yr]"] = "" if seen is None else _plain(seen[period][i])
                rows.append(row)
    return rows


def _plain(value: float) -> float:
    return round(float(value), 4) + 0.0
