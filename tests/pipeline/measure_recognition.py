"""How often good visits are held and planted faults are caught, as a table.

    PYTHONPATH=. python tests/pipeline/measure_recognition.py 1500 400

The first number: walls of a mixed company, whose good visits are judged; the second: walls of each layout with faults.
"""

import sys
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise

from planted_faults import as_read, exchanged, mirrored, moved, renamed, slipped
from visits_of_a_portfolio import Key, visits

from monitor.simulate.recipe import FLEET, Layout, Recipe
from monitor.terms import Method

SOUND = replace(FLEET, fault_share=0.0)
PLAIN = replace(SOUND, lost_share=0.0, change_share=0.0, strapped_share=0.0)
LAYOUTS = {
    "row of five, string": Layout(Method.STRING),
    "row of three, string": Layout(Method.STRING, columns=(0.25, 0.5, 0.75)),
    "three columns, plumb": Layout(Method.PLUMB, rows="TMB", columns=(0.25, 0.5, 0.75)),
    "row of five, laser": Layout(Method.LASER),
}
_BANDS = (0, 2, 3, 4, 6, 8, 12, 100)


def main(good: int, faulty: int) -> None:
    """Print both tables."""
    for number in (1, 2, 3, 4, 6):
        made = visits(good, SOUND, number=number, seed=100 + number)
        codes = Counter(code for found in made.judged(as_read).values() for code in found)
        print(f"good visits, number {number + 1}: {len(made.rows)}, held {dict(codes)}", flush=True)
    for name, layout in LAYOUTS.items():
        for number in (2, 4):
            print(f"{name}, visit {number + 1}", flush=True)
            _faults(faulty, replace(PLAIN, layouts=(layout,)), number)


def _faults(walls: int, recipe: Recipe, number: int) -> None:
    made = visits(walls, recipe, number=number, seed=700 + number)
    for name, (change, apart) in {"swapped": exchanged(made), "mirrored": mirrored(made)}.items():
        print(f"  {name}, by difference in mm: {_by_size(made.judged(change), apart, name)}", flush=True)
    for size_mm in (6.0, 9.5, 12.7, 15.9):
        held = made.judged(slipped(size_mm, seed=1))
        caught = sum(bool(held[key] & {"slip", "misfit"}) for key in made.rows)
        print(f"  slip of {size_mm} mm: {caught / len(made.rows):.3f} of {len(made.rows)}", flush=True)
    for step_mm in (6.0, 9.0, 13.0, 20.0):
        codes = Counter(code for found in made.judged(moved(made, step_mm)).values() for code in found)
        print(f"  true bow of {step_mm} mm: held {dict(codes)} of {len(made.rows)}", flush=True)
    if recipe.layouts[0].method is Method.STRING:
        held = made.judged(renamed(76.2))
        caught = sum("kind-mistaken" in held[key] for key in made.rows)
        print(f"  gaps as deflections: {caught / len(made.rows):.3f}", flush=True)


def _by_size(held: Mapping[Key, set[str]], apart: Mapping[Key, float], code: str) -> str:
    bands = []
    for low, high in pairwise(_BANDS):
        inside = [code in held.get(key, ()) for key, size in apart.items() if low <= size < high]
        if inside:
            bands.append(f"{low}-{high}: {sum(inside) / len(inside):.2f} of {len(inside)}")
    return ", ".join(bands)


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:3]))
