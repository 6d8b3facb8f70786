"""What the README of a wall's pack says."""

from collections.abc import Iterator, Mapping

import pyarrow as pa

SETTINGS = "settings.json"
SUMS = "sha256.txt"

README = """Pack of wall {wall}, written by wallbow {version}.

Judged for {judged_on}, from what was known until {known_until}.
Settings {settings_sha256}
Facts    {facts_sha256}

{page} is the engineer's page, report number {number}. It opens in any browser, without a network.
{settings} holds thresholds, rules and variances; its SHA-256 is the one above. {sums} has those of
all other files.
Each table is one CSV file, UTF-8, header in the first row. dictionary.csv gives type, unit and meaning of every column,
and the words of one that holds only certain words.
Lengths are millimetres, rates mm per year, inward (into the room) positive, times UTC. A text cell that begins with
= + - @ has an apostrophe in front so that no spreadsheet runs it.

"""

PAGE = """
readings.csv and readings_judged.csv have the same readings. Of one reading, readings.csv has each row that came in,
with the state it got then; readings_judged.csv its value and state after rulings, and as held where the assessment took
it for a misread. received = used + held + rejected + could-not-read, in visits.csv for each visit.

People stand as their ids. Names, telephone numbers, mail addresses, addresses of houses and what was decided about the
wall are not in this pack. Notes and file names stand as somebody wrote them: read them before you pass the pack on.
Photos stand in the folder photos, each under its id, tied to readings by photo_index.csv. Place, time and device that a
camera wrote into the file are taken out, but not what the picture shows: look at them before you pass the pack on.
released says which of them the homeowner is shown.

These are measurements of how far marks on a wall have moved. They are not a structural assessment; only a licensed
engineer who has seen the wall can judge it. Local building codes come before anything here.
"""

_WHAT: Mapping[str, str] = {
    "readings": "every row that came in, as typed and in mm",
    "receipts": "the files those rows came in with",
    "readings_judged": "each reading as it stands: used, held, rejected or not read, with the reason",
    "rulings": "what people ruled on readings, and why",
    "visits": "visits, with what was received",
    "photo_index": "photos by reading, and names of photos that nobody has given",
    "houses": "soil and climate of the house",
    "walls": "the wall and its size",
    "marks": "its marks and their places",
    "events": "reinforcement, surface work and whatever else happened to it",
    "instruments": "instruments and stand-off blocks it was read with",
    "thresholds": "the company's thresholds and who signed them",
    "wall_results": "rates, bounds and verdict by period",
    "mark_results": "rates and bounds by mark",
    "movement": "each mark visit by visit, beside its fitted line",
    "findings": "every rule that was asked",
    "suspects": "readings the assessment set aside as likely misreads",
    "repairs": "what the reinforcement did",
    "plan": "the next visit and what it could show",
    "components": "bow, tip and slide visit by visit",
    "fits": "the fit of each period as generalised least squares",
    "residuals": "what the fit makes of each reading",
    "agreement": "the assessment's rates beside those of the least squares",
    "variances": "the company's variances, each time they were estimated",
}


def what_is_in(tables: Mapping[str, pa.Table]) -> Iterator[str]:
    """One line per table: its file, rows, and what it holds."""
    for name, rows in tables.items():
        yield f"{name + '.csv':<20} {rows.num_rows:>5} rows  {_WHAT[name]}"
