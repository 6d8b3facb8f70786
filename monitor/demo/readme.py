"""The README of the demo's files, written from the scenario."""

from collections.abc import Sequence

from monitor.demo.scenario import HOMES, PLANTS, STORIES, Ability

_HEAD = """# Demo Basin: the raw files of an invented firm

Houses, people, numbers and readings here are invented; the walls were simulated with known truth and a fixed seed.
`monitor.demo.files.write(folder)` makes these files again, byte for byte. Nothing here is about a real wall.

| file | holds |
|---|---|
| `register/` | what the clerk sends; walls and marks in one workbook, later marks and events by day |
| `visits/` | what the technicians send: one file a technician and day |
| `sent.csv` | when each file was sent, by whom and in which order; one file was sent twice |
| `rulings.csv` | what the office ruled on single readings: who, why and when |
| `decisions.csv` | what the office decided about walls: who, why, by whom and by when |
| `photos/` | drawn photos, as a telephone writes them: with place, time, device, thumbnail and texts |
| `photos.csv` | which of them the office tied to what, and which one it released for the homeowner |
| `truth.csv` | true rates of every wall and period, and the right answer at the end |
| `truth_marks.csv` | true rate of every mark, and as far as each method can see it |

Habits: T1 writes `1 13/16`. T2 writes `1-13/16"`, and from 2025 on sends workbooks. T3 puts a title line above the
header. T4's program writes semicolons, a byte order mark and `2 ¾`.

Rates are mm/yr, inward positive. Limits of the firm: 1/8 inch a year before straps, 1/16 in after (3.2 and 1.6 mm).
Months count from a wall's zero reading; the first was on 2023-04-10, the last visits are of April 2026. The reading
errors of DH-09-E and DH-12-E are draws that show what their stories tell; all other walls have their first draw.
"""


def text() -> str:
    """The whole README."""
    walls = [f"| {s.name} | {s.told} | {s.answer} | {_needs(s.needs)} |" for s in STORIES]
    plants = [f"| {p.what} | {p.where} | {p.answer} | {_needs(p.needs)} |" for p in PLANTS]
    houses = [f"| {h.house} | {h.nickname} | {h.technician} | {h.note} |" for h in HOMES]
    parts = [
        _HEAD,
        "## The walls: story and planted fault, right answer at the end\n",
        _table("wall | story and planted fault | right answer at the end | needs besides fit and verdicts", walls),
        "## Faults planted beside the stories\n",
        _table("fault | where | what should become of it | needs besides reading and checking", plants),
        "## The houses\n",
        _table("house | called | usual technician | note", houses),
    ]
    return "\n".join(parts)


def _table(header: str, rows: list[str]) -> str:
    rule = "|---" * (header.count("|") + 1) + "|"
    return "\n".join([f"| {header} |", rule, *rows, ""])


def _needs(needs: Sequence[Ability]) -> str:
    return ", ".join(needs) or "nothing more"
