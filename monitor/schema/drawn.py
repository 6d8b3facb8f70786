"""What pages and packs are drawn from, made of an assessment's tables and the facts behind it; not stored."""

from collections.abc import Mapping

import pyarrow as pa

from monitor.schema.columns import WALL, schema

COMPONENTS = schema(
    WALL
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

RESIDUALS = schema(
    WALL
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

FITS = schema(
    WALL
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

AGREEMENT = schema(
    WALL
    + """
period | whole | | as in the wall results
what | text | | a mark, or a component (terms.Movement)
own_mm_per_year | real | mm/yr | its rate by the fit that the assessment rests on
own_se | real | mm/yr | its standard error there, before moderation
gls_mm_per_year | real | mm/yr | its rate by generalised least squares
gls_se | real | mm/yr | its standard error there, before moderation
"""
)

VISITS = schema(
    WALL
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

PHOTO_INDEX = schema(
    WALL
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

TABLES: Mapping[str, pa.Schema] = {
    "components": COMPONENTS,
    "residuals": RESIDUALS,
    "fits": FITS,
    "agreement": AGREEMENT,
    "visits": VISITS,
    "photo_index": PHOTO_INDEX,
}
