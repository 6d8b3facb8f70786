"""What an assessment says of walls; derived, so it can be made again from the facts."""

from collections.abc import Mapping

import pyarrow as pa

from monitor.schema.columns import WALL, schema

_BOUNDS = "{0}_mm_per_year | real | mm/yr | {1}\n{0}_lower | real | mm/yr | its one-sided 95 % lower bound\n{0}_upper | real | mm/yr | its one-sided 95 % upper bound\n"

WALL_RESULTS = schema(
    WALL
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

MARK_RESULTS = schema(
    WALL
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

MOVEMENT = schema(
    WALL
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

FINDINGS = schema(
    WALL
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

SUSPECTS = schema(
    WALL
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

REPAIRS = schema(
    WALL
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

PLAN = schema(
    WALL
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

TABLES: Mapping[str, pa.Schema] = {
    "wall_results": WALL_RESULTS,
    "mark_results": MARK_RESULTS,
    "movement": MOVEMENT,
    "findings": FINDINGS,
    "suspects": SUSPECTS,
    "repairs": REPAIRS,
    "plan": PLAN,
}

ORDER = ("house", "wall", "period", "mark", "stretch", "visit_date", "part", "method", "rule", "reading_id")

ASSESSED = schema(
    WALL
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
