"""What the office has on record, in SQLite: people, decisions, pages, accounts, photos, links, alerts."""

from collections.abc import Mapping

import pyarrow as pa

from monitor.schema.columns import WALL, schema

PEOPLE = schema(
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

DECISIONS = schema(
    """
decision_id | text | | 16 hex digits, made from its content
"""
    + WALL
    + """
step | text | | terms.Step
owner | text | | person id of who does it
due | date | | by when
who | text | | person id of who decided
why | text | | the reason, as written
known_at | instant | UTC | when it was decided
"""
)

RUNS = schema(
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

SETTINGS_KEPT = schema(
    """
settings_sha256 | text | | SHA-256 of the settings as JSON
settings | text | | config.Settings as JSON: thresholds, rules and variances together
known_at | instant | UTC | when they were first used
"""
)

EDITIONS = schema(
    """
edition_id | text | | 16 hex digits, made from all of the row but when it was published
run_id | text | | the assessment that the pages show
earlier_run_ids | text | | assessments of earlier lists that the pages tell of, newest first, separated by spaces
company | text | | what the pages say of the company, as JSON
code_version | text | | version of the program that wrote the pages
known_at | instant | UTC | when the pages were first published
"""
)

NEWS = schema(
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

PAGES = schema(
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

ACCOUNTS = schema(
    """
account | text | | name to sign in by: the person id
known_at | instant | UTC | from when on this row stands; of the rows of one account the latest does
role | text | | terms.Role: technician, office or engineer
state | text | | terms.AccountState
password_hash | text | | Argon2id hash of the password, '' where there is none
key_hash | text | | Argon2id hash of the personal key for scripts, '' where there is none
"""
)

SESSIONS_ENDED = schema(
    """
session | text | | SHA-256 of the session's id
account | text | | whose session it was
known_at | instant | UTC | when that person signed out
"""
)

AUDIT = schema(
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

PHOTOS = schema(
    """
photo_id | text | | first 16 hex digits of the SHA-256; of the rows of one photo the latest stands
"""
    + WALL
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

PHOTO_RULINGS = schema(
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

LINKS = schema(
    """
link_id | text | | 16 hex digits, by which people speak of the link; it opens nothing
token_sha256 | text | | SHA-256 of the token in the link's address; the token itself is kept nowhere
opens | text | | terms.LinkTo
"""
    + WALL
    + """
expires_on | date | | last day on which it opens anything
person | text | | person id of whom it was made for, '' where that was not said
who | text | | person id of who made it
why | text | | the reason, as written
known_at | instant | UTC | when it was made
"""
)

LINKS_ENDED = schema(
    """
link_id | text | | the link
who | text | | person id of who ended it
why | text | | the reason, as written
known_at | instant | UTC | when it was ended
"""
)

LINK_OPENINGS = schema(
    """
link_id | text | | the link
known_at | instant | UTC | when somebody opened it; from where is not kept
result | text | | terms.Opened
"""
)

ERASURES = schema(
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

LEGAL_HOLDS = schema(
    """
legal_hold_id | text | | 16 hex digits, made from its content
house | text | | house whose people may not be erased, '' for everybody
act | text | | terms.HoldAct; of the rows of one house the latest stands
who | text | | person id of who decided
why | text | | the reason, as written
known_at | instant | UTC | when it was decided
"""
)

ALERTS = schema(
    """
alert_id | text | | 16 hex digits, made from what it is about: wall, kind, about, began, urgency, and how often that had been over before; never from when it was looked at
"""
    + WALL
    + """
kind | text | | terms.AlertKind
urgency | text | | terms.Urgency
about | text | | what tells it from others of its kind at that wall: a period, a visit; '' where nothing does
began | date | | visit by which it came out; with an overdue visit the day it was due; null where a held reading has no date
what | text | | what there is, in one sentence, as first known
next_step | text | | what to do, in one sentence
run_id | text | | assessment that showed it, '' where a held reading did, or a wall assessed again by itself
known_at | instant | UTC | when it was put on record
"""
)

ALERTS_OVER = schema(
    """
alert_id | text | | alert that is no longer so
run_id | text | | assessment that shows it, '' where the readings held do, or a wall assessed again by itself
known_at | instant | UTC | when that was put on record
"""
)

ALERT_LOOKS = schema(
    """
look_id | text | | run_id of an assessment that was looked through for alerts; for held readings made from all they depend on
run_id | text | | the assessment; with held readings the one whose likely misreads are among them
facts_sha256 | text | | SHA-256 of the set of facts looked at
is_news | flag | | whether it can bring alerts: an assessment that looks back, or ahead of its own day, brings none
known_at | instant | UTC | when it was looked through
"""
)

ALERT_SENDINGS = schema(
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

ALERT_TEXTS = schema(
    """
sending_id | text | | the sending
subject | text | | subject of the mail, '' for the webhook
content | text | | what is told, word for word: body of the mail, or the webhook's JSON
known_at | instant | UTC | when it was decided to tell it
"""
)

ALERT_DELIVERIES = schema(
    """
sending_id | text | | the sending
result | text | | what came of it, in a few words; each different result is on record once, as it first came
delivered | flag | | whether it was taken over by the mail server, the outbox or the other program
known_at | instant | UTC | when
"""
)

ALERT_ACKNOWLEDGEMENTS = schema(
    """
alert_id | text | | alert that somebody acknowledged; the first to do so stands
who | text | | person id of who acknowledged it
note | text | | as written
known_at | instant | UTC | when
"""
)

TABLES: Mapping[str, pa.Schema] = {
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

KEY: Mapping[str, tuple[str, ...]] = {
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
