"""The one home of every column: name, type, unit and meaning of each table that is stored, exported or passed on.

A table is an Arrow schema; each field carries its meaning (`doc`) and unit (`unit`) as metadata, from which the data
dictionary is written. `KEY` names the columns that identify a row; of two rows of one key the one known later stands.
Inside everything is millimetres, years, inward positive (see units).
"""

from collections.abc import Mapping

import pyarrow as pa

VERSION = 1
"""Version of all schemas together; a store of an unknown version is refused."""

Tables = Mapping[str, pa.Table]
"""Tables by name, each with the schema of that name."""

_TYPES: Mapping[str, pa.DataType] = {
    "text": pa.string(),
    "real": pa.float64(),
    "whole": pa.int32(),
    "date": pa.date32(),
    "flag": pa.bool_(),
    "instant": pa.timestamp("us", tz="UTC"),
}


def _schema(columns: str) -> pa.Schema:
    """A schema from lines `name | type | unit | meaning`; every column may be null except text, which is '' instead."""
    fields = []
    for line in filter(None, columns.splitlines()):
        name, kind, unit, doc = (part.strip() for part in line.split("|"))
        fields.append(pa.field(name, _TYPES[kind], metadata={"unit": unit, "doc": doc}))
    return pa.schema(fields, metadata={"version": str(VERSION)})


_KNOWN = """
source_sha256 | text | | SHA-256 of the canonical content of the file this row came in with
source_name | text | | name of that file as received
source_sheet | text | | sheet of that file ('' for CSV)
source_row | whole | | row of that file, counted as a spreadsheet counts, header included
known_at | instant | UTC | when the row became known to the company (the second clock; the first is the visit's date)
"""

_WALL = """
house | text | | house id, e.g. DH-01
wall | text | | wall id within the house, e.g. N; written house-wall, e.g. DH-01-N
"""

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

READINGS = _schema(
    """
reading_id | text | | 16 hex digits, made from the file's content and the row's place in it
"""
    + _WALL
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
    + _KNOWN
)

RULINGS = _schema(
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

HOUSES = _schema(
    """
house | text | | house id; never made from a name or an address
nickname | text | | what people call the house, no address
soil | text | | soil around it, e.g. clay till
climate | text | | e.g. cold winters, wet April
note | text | | anything else
"""
    + _KNOWN
)

WALLS = _schema(
    _WALL
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
    + _KNOWN
)

MARKS = _schema(
    _WALL
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
    + _KNOWN
)

INSTRUMENTS = _schema(
    """
instrument | text | | instrument or block id
method | text | | terms.Method it serves
standoff_mm | real | mm | stand-off of a pair of blocks
step_mm | real | mm | finest step noted with it
note | text | | anything else
"""
    + _KNOWN
)

THRESHOLDS = _schema(
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
    + _KNOWN
)

EVENTS = _schema(
    """
event_id | text | | id given by the company, else made from the row's content
"""
    + _WALL
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
    + _KNOWN
)

RECEIPTS = _schema(
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

VARIANCES = _schema(
    """
estimated_on | date | | day they were estimated for
walls | whole | | walls behind them
readings | whole | | readings behind them
values | text | | config.Variances as JSON
behind | text | | what they rest on, as JSON: the defaults (config.Variances), walls and set-ups by method, standard errors of the sds' logarithms
known_at | instant | UTC | when they were estimated
"""
)

PEOPLE = _schema(
    """
person | text | | person id; the only thing other tables know of a person
role | text | | terms.Role
house | text | | house the person owns or speaks for, '' for staff
name | text | | name
phone | text | | phone
email | text | | mail address
note | text | | anything else
known_at | instant | UTC | when it became known
"""
)

DECISIONS = _schema(
    """
decision_id | text | | 16 hex digits, made from its content
"""
    + _WALL
    + """
step | text | | terms.Step
owner | text | | person id of who does it
due | date | | by when
who | text | | person id of who decided
why | text | | the reason, as written
known_at | instant | UTC | when it was decided
"""
)

RUNS = _schema(
    """
run_id | text | | 16 hex digits, made from all of the row but when it was made
judged_on | date | | day the walls were judged for
known_until | instant | UTC | all that was known by then was used
settings_sha256 | text | | SHA-256 of the settings used; they stand in settings_kept
facts_sha256 | text | | SHA-256 of the set of facts known then
results_sha256 | text | | sum, modulo 2^256, of the SHA-256 of each wall's results (but their ranks, which follow from them), by which an assessment made again is held to this one
code_version | text | | version of the program
known_at | instant | UTC | when the assessment was made
"""
)

SETTINGS_KEPT = _schema(
    """
settings_sha256 | text | | SHA-256 of the settings as JSON
settings | text | | config.Settings as JSON: thresholds, rules and variances together
known_at | instant | UTC | when they were first used
"""
)

EDITIONS = _schema(
    """
edition_id | text | | 16 hex digits, made from all of the row but when it was published
run_id | text | | the assessment that the pages show
earlier_run_ids | text | | assessments of earlier lists that the pages tell of, newest first, separated by spaces
company | text | | what the pages say of the company, as JSON
code_version | text | | version of the program that wrote the pages
known_at | instant | UTC | when the pages were first published
"""
)

NEWS = _schema(
    """
edition_id | text | | the edition of pages
house | text | | house id
wall | text | | wall whose bad news it is
since | instant | UTC | from when it was known
goes_out_on | date | | day at whose end the homeowner's page goes out by itself
waits | flag | | whether the homeowner's page and the history do not tell it yet
told_on | date | | day of the call to the homeowner, where there was one
told_by | text | | person id of who called, '' where nobody did
known_at | instant | UTC | when the pages were first published
"""
)

PAGES = _schema(
    """
report_number | text | | number the page bears
page | text | | file name of the page
house | text | | house id, '' where the page is of no one wall
wall | text | | wall id within the house, '' where the page is of no one wall
sha256 | text | | SHA-256 of the page's bytes
supersedes | text | | number of the page whose place it takes, '' where there was none
edition_id | text | | the edition it belongs to
known_at | instant | UTC | when it was first published
"""
)

ACCOUNTS = _schema(
    """
account | text | | name to sign in by: the person id
known_at | instant | UTC | from when on this row stands; of the rows of one account the latest does
role | text | | terms.Role: technician, office or engineer
state | text | | terms.AccountState
password_hash | text | | Argon2id hash of the password, '' where there is none
key_hash | text | | Argon2id hash of the personal key for scripts, '' where there is none
"""
)

SESSIONS_ENDED = _schema(
    """
session | text | | SHA-256 of the session's id
account | text | | whose session it was
known_at | instant | UTC | when that person signed out
"""
)

AUDIT = _schema(
    """
audit_id | text | | 32 hex digits
who | text | | account, '' where nobody was signed in
act | text | | what was asked for, in a word or two
what | text | | what it was about: an upload, an account, a page
wall | text | | wall, written house-wall, '' where it is about no one wall
address | text | | address that it came from
result | text | | what came of it, in a few words
known_at | instant | UTC | when
"""
)

PHOTOS = _schema(
    """
photo_id | text | | first 16 hex digits of the SHA-256; of the rows of one photo the latest stands
"""
    + _WALL
    + """
visit_date | date | | visit it was taken at
mark | text | | mark that it shows, '' where it is of no one mark
reading_ids | text | | readings it is tied to, separated by spaces
file_name | text | | name of the file as it was given
ending | text | | jpg or png, by the bytes
bytes | whole | bytes | size of the file as it is kept, without what the camera wrote into it
sha256 | text | | SHA-256 of those bytes, under which they are kept
width | whole | pixels | width as it is shown
height | whole | pixels | height as it is shown
who | text | | person id of who tied it
note | text | | as written
known_at | instant | UTC | when it was tied
"""
)

PHOTO_RULINGS = _schema(
    """
photo_ruling_id | text | | 16 hex digits, made from its content
photo_id | text | | the photo
house | text | | house whose owner is meant
wall | text | | wall whose pages are meant; a photo tied to another wall later is not released there
act | text | | terms.PhotoAct; the latest on a photo and wall stands
who | text | | person id of who decided
why | text | | the reason, as written
known_at | instant | UTC | when it was decided
"""
)

LINKS = _schema(
    """
link_id | text | | 16 hex digits, by which people speak of the link; it opens nothing
token_sha256 | text | | SHA-256 of the token in the link's address; the token itself is kept nowhere
opens | text | | terms.LinkTo
"""
    + _WALL
    + """
expires_on | date | | last day on which it opens anything
person | text | | person id of whom it was made for, '' where that was not said
who | text | | person id of who made it
why | text | | the reason, as written
known_at | instant | UTC | when it was made
"""
)

LINKS_ENDED = _schema(
    """
link_id | text | | the link
who | text | | person id of who ended it
why | text | | the reason, as written
known_at | instant | UTC | when it was ended
"""
)

LINK_OPENINGS = _schema(
    """
link_id | text | | the link
known_at | instant | UTC | when somebody opened it; from where is not kept
result | text | | terms.Opened
"""
)

ERASURES = _schema(
    """
erasure_id | text | | 16 hex digits, made from its content
person | text | | person id, which stays: other tables know of a person nothing else
columns | text | | columns of people that were emptied, separated by spaces
files | text | | received files whose cells about the person were emptied: 'old>new' by SHA-256, separated by spaces
who | text | | person id of who erased
why | text | | the reason, as written
known_at | instant | UTC | when it was done
"""
)

LEGAL_HOLDS = _schema(
    """
legal_hold_id | text | | 16 hex digits, made from its content
house | text | | house whose people may not be erased, '' for everybody
act | text | | terms.HoldAct; of the rows of one house the latest stands
who | text | | person id of who decided
why | text | | the reason, as written
known_at | instant | UTC | when it was decided
"""
)

ALERTS = _schema(
    """
alert_id | text | | 16 hex digits, made from what it is about: wall, kind, about, began, urgency, and how often that had been over before; never from when it was looked at
"""
    + _WALL
    + """
kind | text | | terms.AlertKind
urgency | text | | terms.Urgency
about | text | | what tells it from others of its kind at that wall: a period, a visit; '' where nothing does
began | date | | visit by which it came out; with an overdue visit the day it was due; null where a held reading has no date
what | text | | what there is, in one sentence, as first known
next_step | text | | what to do, in one sentence
run_id | text | | assessment that showed it, '' where a held reading did
known_at | instant | UTC | when it was put on record
"""
)

ALERTS_OVER = _schema(
    """
alert_id | text | | alert that is no longer so
run_id | text | | assessment that shows it, '' where the readings held do
known_at | instant | UTC | when that was put on record
"""
)

ALERT_LOOKS = _schema(
    """
look_id | text | | run_id of an assessment that was looked through for alerts; for held readings made from all they depend on
run_id | text | | the assessment; with held readings the one whose likely misreads are among them
facts_sha256 | text | | SHA-256 of the set of facts looked at
is_news | flag | | whether it can bring alerts: an assessment that looks back, or ahead of its own day, brings none
known_at | instant | UTC | when it was looked through
"""
)

ALERT_SENDINGS = _schema(
    """
sending_id | text | | 16 hex digits, made from way, person, about, alerts and number; the mail's Message-ID is made from it
way | text | | terms.Way
person | text | | person id of whom it is for, '' for the webhook
about | text | | 'alerts', or the month of a digest like '2026-04'
alert_ids | text | | alerts told, separated by spaces
number | whole | | how many times the longest told of these is told with this, 1 for the first time
known_at | instant | UTC | when it was decided to tell it, before anything was sent
"""
)

ALERT_TEXTS = _schema(
    """
sending_id | text | | the sending
subject | text | | subject of the mail, '' for the webhook
content | text | | what is told, word for word: body of the mail, or the webhook's JSON
known_at | instant | UTC | when it was decided to tell it
"""
)

ALERT_DELIVERIES = _schema(
    """
sending_id | text | | the sending
result | text | | what came of it, in a few words; each different result is on record once, as it first came
delivered | flag | | whether it was taken over by the mail server, the outbox or the other program
known_at | instant | UTC | when
"""
)

ALERT_ACKNOWLEDGEMENTS = _schema(
    """
alert_id | text | | alert that somebody acknowledged; the first to do so stands
who | text | | person id of who acknowledged it
note | text | | as written
known_at | instant | UTC | when
"""
)

FACTS: Mapping[str, pa.Schema] = {
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
"""Append-only tables of the Parquet tiers."""

OFFICE: Mapping[str, pa.Schema] = {
    "people": PEOPLE,
    "decisions": DECISIONS,
    "runs": RUNS,
    "settings_kept": SETTINGS_KEPT,
    "editions": EDITIONS,
    "news": NEWS,
    "pages": PAGES,
    "accounts": ACCOUNTS,
    "sessions_ended": SESSIONS_ENDED,
    "audit": AUDIT,
    "photos": PHOTOS,
    "photo_rulings": PHOTO_RULINGS,
    "links": LINKS,
    "links_ended": LINKS_ENDED,
    "link_openings": LINK_OPENINGS,
    "erasures": ERASURES,
    "legal_holds": LEGAL_HOLDS,
    "alerts": ALERTS,
    "alerts_over": ALERTS_OVER,
    "alert_looks": ALERT_LOOKS,
    "alert_sendings": ALERT_SENDINGS,
    "alert_texts": ALERT_TEXTS,
    "alert_deliveries": ALERT_DELIVERIES,
    "alert_acknowledgements": ALERT_ACKNOWLEDGEMENTS,
}
"""Tables of office records (SQLite)."""

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
    "people": ("person",),
    "decisions": ("decision_id",),
    "runs": ("run_id",),
    "settings_kept": ("settings_sha256",),
    "editions": ("edition_id",),
    "news": ("edition_id", "house", "wall"),
    "pages": ("report_number", "page", "sha256"),
    "accounts": ("account", "known_at"),
    "sessions_ended": ("session",),
    "audit": ("audit_id",),
    "photos": ("photo_id", "known_at"),
    "photo_rulings": ("photo_ruling_id",),
    "links": ("link_id",),
    "links_ended": ("link_id",),
    "link_openings": ("link_id", "known_at"),
    "erasures": ("erasure_id",),
    "legal_holds": ("legal_hold_id",),
    "alerts": ("alert_id",),
    "alerts_over": ("alert_id",),
    "alert_looks": ("look_id",),
    "alert_sendings": ("sending_id",),
    "alert_texts": ("sending_id",),
    "alert_deliveries": ("sending_id", "result"),
    "alert_acknowledgements": ("alert_id",),
}

REGISTER = ("houses", "walls", "marks", "instruments", "thresholds", "events", "people")
"""Tables that the register command takes in."""

_BOUNDS = "{0}_mm_per_year | real | mm/yr | {1}\n{0}_lower | real | mm/yr | its one-sided 95 % lower bound\n{0}_upper | real | mm/yr | its one-sided 95 % upper bound\n"

WALL_RESULTS = _schema(
    _WALL
    + """
period | whole | | 0 before the first reinforcement, 1 after it, 2 after a second, ...
is_current | flag | | the wall's newest period
started_on | date | | first day of the period
method | text | | method of the newest counting readings of the governing mark; of the latest visit where there is none
visits | whole | | visits that count for the rate
visits_all | whole | | all visits of the period, take-up included
readings_used | whole | | readings in the fit
readings_held | whole | | readings held, undecided
first_visit | date | | first visit that counts
last_visit | date | | last visit of the period
span_years | real | yr | first to last visit that counts
threshold_mm_per_year | real | mm/yr | threshold of the period
governing_mark | text | | mark of the largest rate among those read at the latest counting visit and not within a foot of a corner held by a return wall; among more where there is none, or where another is shown to be faster; '' where nothing is measured
rate_mm_per_year | real | mm/yr | inward rate of the governing mark; null where nothing is measured
rate_lower | real | mm/yr | one-sided 95 % lower bound of the wall's largest rate, over all its marks
rate_upper | real | mm/yr | its one-sided 95 % upper bound
tellable | flag | | whether a rate can be told: at least three visits that count, and marks and a method that determine it; where not, rate and bounds are no trend to show
relative_to | text | | what the rate is measured against, in plain words
"""
    + "".join(
        _BOUNDS.format(c, f"rate of the component {c}; null where it is not measured") for c in ("bow", "tip", "slide")
    )
    + """
largest_movement | text | | component with the largest lower bound (terms.Movement), '' where none is measured
season_mm | real | mm | estimated half swing of the wall's yearly cycle (bow)
scale | real | | posterior residual variance scale, 1 where readings scatter as the instruments' sds say
dof | real | | degrees of freedom of the bounds
log_evidence | real | | natural logarithm of the wall's restarted evidence that its rate exceeds the threshold
onset | date | | starting visit of the largest evidence, where the wall is moving
exceed_chance | real | | posterior chance that the largest rate is above the threshold
total_mm | real | mm | total inward deflection at the latest visit; null where not known
total_mark | text | | mark of that total
total_reference | text | | what that total is measured against, in plain words: the line between the wall's ends, the foot of the wall, the laser's end marks, or the zero reading plus the entered total; '' where not known
total_limit_mm | real | mm | limit of total inward deflection that holds for the wall
jump_mm | real | mm | step at the latest visit against the forecast; null where it cannot be judged
jump_p | real | | one-sided p of that step
due_on | date | | day the next visit is due: by the schedule, eight weeks after the last visit where it is to be confirmed, or the day on which a step or sign was found that asks for a call the same day
limit_from | date | | earliest day at which the total limit may be reached (9 times in 10); null unless the rate can be told and is shown to be inward
limit_to | date | | latest such day
ends_note | text | | what says that the wall's ends are not still, in one sentence; '' where nothing does
crack_note | text | | where crack widths and bow do not go together, in one sentence; '' where they do or were not read
technician_note | text | | where one person's set-ups stand apart from the others', in one sentence (role only); '' otherwise
overdue_days | whole | days | days past due plus grace; 0 where not overdue
verdict | text | | terms.Verdict
reason | text | | the verdict's reason in one sentence
missing | text | | what is missing for a verdict, in one sentence, '' where nothing is
not_settled | text | | components whose upper bound is not below the threshold, separated by spaces
not_measured | text | | components that marks and method cannot see, separated by spaces
"""
)

MARK_RESULTS = _schema(
    _WALL
    + """
period | whole | | as in the wall results
mark | text | | mark id
x_mm | real | mm | distance from the left corner
z_mm | real | mm | height
measured | flag | | whether its rate is determined (relative to what the wall's row says)
"""
    + _BOUNDS.format("rate", "inward rate of the mark; null where not determined")
    + """
rate_se | real | mm/yr | standard error before moderation of the scale
log_evidence | real | | natural logarithm of the mark's evidence against the threshold
"""
)

MOVEMENT = _schema(
    _WALL
    + """
period | whole | | as in the wall results
mark | text | | mark id
stretch | whole | | stretch of the mark: readings of one level
visit_date | date | | date of the visit
part | text | | before / after that day's work
method | text | | method
counts | flag | | counts for the rate (not in the take-up window)
readings | whole | | readings behind it
deflection_mm | real | mm | mean of the mark's used readings at that visit less the fitted level of its stretch (0 = where the stretch's line starts) and, at visits that count, less the estimate of a set-up offset of unknown size; where no level is fitted, less the stretch's first value
trend_mm | real | mm | fitted trend of the mark, on the same zero
band_lower_mm | real | mm | lower end of where the mark could be, one-sided 95 %
band_upper_mm | real | mm | upper end
"""
)

COMPONENTS = _schema(
    _WALL
    + """
period | whole | | as in the wall results
component | text | | terms.Movement
visit_date | date | | date of the visit
part | text | | before / after that day's work
counts | flag | | counts for the rate (not in the take-up window)
value_mm | real | mm | the component as this visit's readings alone show it, 0 where its line starts, at the first visit that counts
trend_mm | real | mm | fitted line of the component, on the same zero; null at visits that do not count
band_lower_mm | real | mm | lower end of where the component could be, one-sided 95 %
band_upper_mm | real | mm | upper end
"""
)

RESIDUALS = _schema(
    _WALL
    + """
period | whole | | as in the wall results
reading_id | text | | the reading; every one that the rate of its period is fitted to has a row
mark | text | | its mark
visit_date | date | | date of its visit
part | text | | before / after that day's work
method | text | | method
setup | whole | | the model's set-up: one row of a string, one column of a plumb line, else one placing, numbered from 1 within the wall
deflection_mm | real | mm | the reading, inward positive = trend_mm + season_mm + wobble_mm + setup_mm + residual_mm
trend_mm | real | mm | level of the mark's stretch and its movement at the fitted rate
season_mm | real | mm | predicted yearly cycle
wobble_mm | real | mm | predicted movement of the whole wall at that visit outside trend and cycle
setup_mm | real | mm | predicted error of the set-up at the mark: offset, yaw and tilt
residual_mm | real | mm | what is left: the predicted error of the single reading
normalised | real | | residual over its own standard deviation, moderated scale, which equals the reading less what all others foretell over the sd of that difference; null where nothing else tells the reading
"""
)

FITS = _schema(
    _WALL
    + """
period | whole | | as in the wall results
observations | whole | readings | readings in the least squares, those of earlier periods among them
fixed_effects | whole | | columns of the least squares: rates, levels, set-up offsets of unknown size
q | real | mm2/mm2 | quadratic form that the period's own readings add
d | whole | | degrees of freedom of that
prior_scale | real | | s0^2, the scale of all the company's walls
prior_dof | real | | d0, degrees of freedom behind it
scale | real | | moderated scale (d0 s0^2 + q) / (d0 + d), by which all variances are multiplied
dof | real | | d0 + d, degrees of freedom of the bounds
local_mm_per_year | real | mm/yr | sd of a mark's own deviation from the wall's shape
summary | text | | the fit as statsmodels prints it
"""
)

AGREEMENT = _schema(
    _WALL
    + """
period | whole | | as in the wall results
what | text | | a mark, or a component (terms.Movement)
own_mm_per_year | real | mm/yr | its rate by the fit that the assessment rests on
own_se | real | mm/yr | its standard error there, before moderation
gls_mm_per_year | real | mm/yr | its rate by generalised least squares
gls_se | real | mm/yr | its standard error there, before moderation
"""
)

FINDINGS = _schema(
    _WALL
    + """
period | whole | | as in the wall results
rule | text | | terms.Rule
outcome | text | | terms.Outcome
urgency | text | | terms.Urgency
value | real | | what was compared
limit | real | | what it was compared with
unit | text | | unit of both
reason | text | | one sentence
next_step | text | | what to do next, one sentence
"""
)

SUSPECTS = _schema(
    _WALL
    + """
period | whole | | as in the wall results
reading_id | text | | the reading set aside as a likely misread; it is kept, shown, and not used until a person rules on it
mark | text | | its mark
visit_date | date | | its visit
z | real | | leave-one-out residual over its standard deviation
off_mm | real | mm | how far the reading stands off what the others foretell, inward positive
likely_mm | real | mm | value that would fit and is a likely slip away from what was typed; null where none is
likely_raw | text | | the same as the technician would have typed it, '' where none is
reason | text | | one sentence
"""
)

REPAIRS = _schema(
    _WALL
    + """
period | whole | | the period after the reinforcement
reinforced_on | date | | day of the work
mark | text | | mark that the rates and steps are told of: that of the largest rate before which is measured after too, a corner's only where there is no other
"""
    + _BOUNDS.format("before", "its rate before")
    + _BOUNDS.format("after", "its rate after")
    + _BOUNDS.format("difference", "rate after less rate before")
    + """
step_mm | real | mm | change of the level at the work, inward positive
step_lower | real | mm | its one-sided 95 % lower bound
step_upper | real | mm | its one-sided 95 % upper bound
step_kind | text | | 'pull-back' where the mark was declared untouched by the surface work, else 'surface step and pull-back together'
take_up_mm | real | mm | movement within the take-up window, inward positive; null where no visit tells it
take_up_lower | real | mm | its one-sided 95 % lower bound
take_up_upper | real | mm | its one-sided 95 % upper bound
warning | text | | what must not be credited to the repair, in one sentence; '' where nothing
reason | text | | what the repair did, in one sentence
"""
)

PLAN = _schema(
    _WALL
    + """
visit_on | date | | planned day of the next visit
why | text | | what it would settle, in one sentence
settles | text | | 'moving', 'holding' or ''
chance | real | | chance that it settles that (still wall: holding; wall at twice the threshold: moving)
smallest_rate_mm_per_year | real | mm/yr | smallest rate whose lower bound then passes the threshold with 80 % chance
holding_from | date | | earliest planned visit at which a truly still wall is called holding with 80 % chance
second_setup_gain | real | | share of the rate's standard error that a second set-up would take away
before_frost | flag | | should be made before the frost
overdue_days | whole | days | days overdue, grace included
rank | whole | | place in the company's plan, 1 first
"""
)

RESULTS: Mapping[str, pa.Schema] = {
    "wall_results": WALL_RESULTS,
    "mark_results": MARK_RESULTS,
    "movement": MOVEMENT,
    "findings": FINDINGS,
    "suspects": SUSPECTS,
    "repairs": REPAIRS,
    "plan": PLAN,
}
"""Tables that an assessment writes; derived, so they can be made again from the facts."""

RESULT_ORDER = ("house", "wall", "period", "mark", "stretch", "visit_date", "part", "method", "rule", "reading_id")
"""Rows of results stand in the order of those of these columns that their table has."""

ASSESSED = _schema(
    _WALL
    + """
sha256 | text | | SHA-256 of all the wall's results but its rank
order_1 | real | | by this the visit plan is ordered, smallest first; null for a wall that has no place in it
order_2 | real | | then by this
order_3 | real | | then by this
order_4 | real | | then by this
order_5 | real | | then by this, at last by house and wall
"""
)
"""One row per wall with results, kept beside them: a wall's rank is its place among all walls, told when it is read."""

VISITS = _schema(
    _WALL
    + """
visit_date | date | | date of the visit; null where rows came without one
part | text | | before / after that day's work
methods | text | | methods, separated by '; '
setups | whole | | placings of string, line, laser or base plate, as typed
technicians | text | | person ids of who read, separated by '; '
received | whole | rows | rows received, = used + held + rejected + could_not_read
used | whole | rows | readings in use
held | whole | rows | readings held
rejected | whole | rows | readings rejected
could_not_read | whole | rows | marks that could not be read
seen | text | | what was seen, words of terms.Seen separated by '; '
weather | text | | as written, separated by '; '
photos | text | | names of photo files, separated by '; '
"""
)

PHOTO_INDEX = _schema(
    _WALL
    + """
photo_id | text | | the photo; '' where a reading names one that nobody has given
photo | text | | name of the photo as written with the reading, else of the file
reading_id | text | | the reading it is tied to, '' where it is tied to the visit alone
mark | text | | its mark
visit_date | date | | its visit
part | text | | before / after that day's work
packed_as | text | | where the file stands in the pack, '' where nobody has given it
sha256 | text | | SHA-256 of that file
released | flag | | whether it may be shown to the homeowner
note | text | | as written with the photo, or why there is no file
"""
)

DRAWN: Mapping[str, pa.Schema] = {
    "components": COMPONENTS,
    "residuals": RESIDUALS,
    "fits": FITS,
    "agreement": AGREEMENT,
    "visits": VISITS,
    "photo_index": PHOTO_INDEX,
}
"""Tables that pages and packs are drawn from, made of an assessment's tables and the facts behind it; not stored."""


def empty(name: str) -> pa.Table:
    """An empty table of the schema of that name."""
    return find(name).empty_table()


def find(name: str) -> pa.Schema:
    """The schema of a table of any tier; KeyError where there is none."""
    return (dict(FACTS) | dict(OFFICE) | dict(RESULTS) | dict(DRAWN) | {"assessed": ASSESSED})[name]


def meaning(field: pa.Field) -> tuple[str, str]:
    """Unit and meaning of a column, as the data dictionary prints them."""
    metadata = field.metadata or {}
    return metadata.get(b"unit", b"").decode(), metadata.get(b"doc", b"").decode()
