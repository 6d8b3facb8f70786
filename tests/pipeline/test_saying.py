"""What is said of a received file."""

from monitor import schema
from monitor.pipeline import saying
from monitor.pipeline.intake import Taken
from monitor.results import Intake


def test_a_message_of_many_rows_is_said_once_with_their_number_and_others_stay_apart() -> None:
    alike = "All readings equal those of 2023-07-14. Were these read?"
    messages = (*[alike] * 3, "K9 'x' is no number.", alike)
    intake = Intake(
        "v.csv", "", "", "readings", schema.empty("readings"), 5, used=0, held=4, rejected=1, could_not_read=0,
        messages=messages, notes=("A title line was left out.",),
    )  # fmt: skip
    _, said = saying.of_intake(Taken(intake, added=5, first_received=None))
    assert list(said) == [f"{alike} (3 rows)", "K9 'x' is no number.", alike, "A title line was left out."]
