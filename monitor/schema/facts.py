"""What is known of walls and readings: the append-only tables of the Parquet tiers."""

from collections.abc import Mapping

import pyarrow as pa

from monitor.schema.columns import KNOWN, WALL, schema

_AS_BUILT = """
strap_count | whole | | straps bonded
strap_spacing_mm | real | mm | spacing of the straps, centre to centre
surface_to_sound | flag | | surface taken down to sound, clean wall
cracks_grouted | flag | | cracks cleared and grouted before bonding
top_anchor | text | | what the top of the straps is anchored to: a word of terms.TopAnchor
joists_tied | flag | | joists tied to the sill on both sides (sill plate only)
bottom_holes_cleaned | flag | | holes of the bottom anchor cleaned
bottom_hole_depth_mm | real | mm | measured depth of those holes
cure_minutes | real | min | cure time of the adhesive
heat_source | flag | | cured under a heat source
heat_distance_mm | real | mm | distance of the heat source
hardness_test | text | | how hardness was tested, as written
turns | real | turns | turns of tightening after finger-tight
anchor_gap_mm | real | mm | gap left behind the top anchor after tightening
adhesive_margin_mm | real | mm | adhesive masked past the strap's edges
film_hours | real | h | how long the smoothing film was left on
marks_untouched | text | | marks that the surface work did not touch, separated by spaces
"""

READINGS = schema(
    """
reading_id | text | | 16 hex digits, made from the file's content and the row's place in it
"""
    + WALL
    + """
visit_date | date | | date of the visit, as written on site
part | text | | before / after that day's work; '' on other days (terms.Part)
technician | text | | person id of who read it
method | text | | terms.Method
instrument | text | | instrument or stand-off block id
setup | whole | | set-up number as typed: one placing of string, line, laser or base plate
mark | text | | mark id within the wall
value_raw | text | | the value exactly as typed, for ever
unit | text | | unit of value_raw: in or mm ('' where none was given)
kind | text | | terms.Kind
standoff_raw | text | | stand-off exactly as typed
standoff_mm | real | mm | stand-off used: as typed, else of the instrument
value_mm | real | mm | value_raw in millimetres, exact, never rounded
deflection_mm | real | mm | inward positive: stand-off (0 where the method has none) - gap, - distance, or deflection as such
step_mm | real | mm | finest step noted with that instrument and unit (rounding)
error_factor | real | | 1, or 2 where the person marked the value as doubtful ('1 1/8?')
not_read | text | | why the mark could not be read (terms.NotRead), '' where it was
seen | text | | what was seen, words of terms.Seen separated by '; '
weather | text | | wet / dry / frost, as written
crack_width_mm | real | mm | width of the crack at the mark, where read
photos | text | | names of photo files, separated by '; '
note | text | | anything else, as written
state | text | | used / held / rejected / could-not-read at intake (terms.State)
reason_code | text | | short fixed word for the reason, '' for used (released: a person released it)
reason | text | | the reason in one plain sentence, with cell, what was found, expected, the mend
source_cell | text | | cell of the value, e.g. F12
mends | text | | reading_id of an earlier failing row that this row replaces
"""
    + KNOWN
)

RULINGS = schema(
    """
ruling_id | text | | 16 hex digits, made from the ruling's content
reading_id | text | | the reading ruled on
act | text | | terms.Act: release, reject, correct, or withdraw the last ruling on it
value_raw | text | | with correct: the value as it should have been written
unit | text | | with correct: its unit
value_mm | real | mm | with correct: in millimetres
deflection_mm | real | mm | with correct: the deflection, inward positive
who | text | | person id of who ruled
why | text | | the reason, as written
known_at | instant | UTC | when the ruling was made
"""
)

HOUSES = schema(
    """
house | text | | house id; never made from a name or an address
nickname | text | | what people call the house, no address
soil | text | | soil around it, e.g. clay till
climate | text | | e.g. cold winters, wet April
note | text | | anything else
"""
    + KNOWN
)

WALLS = schema(
    WALL
    + """
nickname | text | | what the owner calls the wall, e.g. north wall
length_mm | real | mm | length between its ends
clear_height_mm | real | mm | height floor to top
thickness_mm | real | mm | thickness
material | text | | e.g. concrete block
crack_height_mm | real | mm | height of the horizontal crack above the floor (mid-height where none is known)
backfill_height_mm | real | mm | height of soil outside above the floor
left_end | text | | terms.End, left end seen from inside
right_end | text | | terms.End
method | text | | usual method (terms.Method)
kind | text | | kind usually written (terms.Kind)
unit | text | | unit the technician reads in and pages show first: in or mm
visit_months | text | | schedule: months between visits counted from each zero, e.g. '1 6 6 6 6'; '' for the company's default
zero_total_mm | real | mm | total inward deflection at the zero reading, where it was measured otherwise
limit_mm | real | mm | limit of total inward deflection for this wall, where it differs from the company's
note | text | | anything else
"""
    + KNOWN
)

MARKS = schema(
    WALL
    + """
mark | text | | mark id within the wall, e.g. M3
x_mm | real | mm | distance from the left corner seen from inside
z_mm | real | mm | height above the floor
row | text | | name of its row (marks of one row share one string); '' for its height
column | text | | name of its column (marks of one column share one plumb line); '' for its distance
on_strap | flag | | on a strap
set_on | date | | day it was set
retired_on | date | | last day it was good, where it is lost or given up
replaces | text | | mark id that it replaces
note | text | | anything else
"""
    + KNOWN
)

INSTRUMENTS = schema(
    """
instrument | text | | instrument or block id
method | text | | terms.Method it serves
standoff_mm | real | mm | stand-off of a pair of blocks
step_mm | real | mm | finest step noted with it
note | text | | anything else
"""
    + KNOWN
)

THRESHOLDS = schema(
    """
valid_from | date | | first day they hold
before_mm_per_year | real | mm/yr | inward rate that asks for a decision before reinforcement
after_mm_per_year | real | mm/yr | inward rate that asks for a decision after it
total_limit_mm | real | mm | total inward deflection that asks for a decision at once
take_up_days | whole | days | take-up window after reinforcement
signed_by | text | | who signed them (a licensed engineer, by person id)
signed_on | date | | when
note | text | | anything else
"""
    + KNOWN
)

EVENTS = schema(
    """
event_id | text | | id given by the company, else made from the row's content
"""
    + WALL
    + """
event_date | date | | day it happened
kind | text | | terms.EventKind
marks | text | | marks it touched, separated by spaces; '' for all of the wall
method | text | | with a method change: the new method (terms.Method)
new_mark | text | | with a lost mark: the mark that replaces it
note | text | | as written
"""
    + _AS_BUILT
    + """
doubts | text | | what is outside common practice in the as-built record, noted, never refused
"""
    + KNOWN
)

RECEIPTS = schema(
    """
source_sha256 | text | | SHA-256 of the canonical content
file_sha256 | text | | SHA-256 of the file's bytes; the file itself is kept under this name
source_name | text | | name as received
sender | text | | who sent it
holds | text | | readings, or the name of a register table
bytes | whole | B | size
received | whole | rows | rows received
used | whole | rows | used at intake
held | whole | rows | held at intake
rejected | whole | rows | rejected at intake
could_not_read | whole | rows | could not be read
known_at | instant | UTC | when it was received
"""
)

VARIANCES = schema(
    """
estimated_on | date | | day they were estimated for
walls | whole | | walls behind them
readings | whole | | readings behind them
values | text | | config.Variances as JSON
behind | text | | what they rest on, as JSON: the defaults (config.Variances), walls and set-ups by method, standard errors of the sds' logarithms
known_at | instant | UTC | when they were estimated
"""
)

TABLES: Mapping[str, pa.Schema] = {
    "readings": READINGS,
    "rulings": RULINGS,
    "houses": HOUSES,
    "walls": WALLS,
    "marks": MARKS,
    "instruments": INSTRUMENTS,
    "thresholds": THRESHOLDS,
    "events": EVENTS,
    "receipts": RECEIPTS,
    "variances": VARIANCES,
}

KEY: Mapping[str, tuple[str, ...]] = {
    "readings": ("reading_id",),
    "rulings": ("ruling_id",),
    "houses": ("house",),
    "walls": ("house", "wall"),
    "marks": ("house", "wall", "mark"),
    "instruments": ("instrument",),
    "thresholds": ("valid_from",),
    "events": ("event_id",),
    "receipts": ("source_sha256", "holds", "known_at"),
    "variances": ("known_at",),
}
"""Columns that identify a row of each table."""
