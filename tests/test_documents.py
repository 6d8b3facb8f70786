"""JSON documents: what is refused, and how it is said; what a person may write, and what comes back."""

import pickle

import pytest

from monitor.config import MailServer, MethodSds, Rules, Settings, Telling, Variances
from monitor.documents import Document, RefusedError, checked, of_json, of_values, to_json, values_of
from monitor.terms import Method


def refused(kind: type[Document], text: str | bytes) -> tuple[str, str]:
    with pytest.raises(RefusedError) as found:
        of_json(kind, text)
    assert str(found.value) == ": ".join(filter(None, (found.value.cell, found.value.why)))
    return found.value.cell, found.value.why


@pytest.mark.parametrize(
    ("text", "cell", "why"),
    [
        ('{"rules": {"alpha": 0}}', "rules.alpha", "it should be greater than 0"),
        ('{"rules": {"alpha": 1}}', "rules.alpha", "it should be less than 1"),
        ('{"rules": {"alpha": "nan"}}', "rules.alpha", "it should be greater than 0"),
        ('{"rules": {"alpha": true}}', "rules.alpha", "it should be a number, not true or false"),
        ('{"rules": {"alpha": 1e999}}', "rules.alpha", "it is too large"),
        ('{"rules": {"moving_visits": 2}}', "rules.moving_visits", "it should be at least 3"),
        ('{"rules": {"frost_to": 13}}', "rules.frost_to", "it should be at most 12"),
        ('{"rules": {"grace_days": 3.5}}', "rules.grace_days", "it should be a whole number, not one with a fraction"),
        ('{"rules": {"grace_days": "soon"}}', "rules.grace_days", "it should be a whole number, not a text"),
        ('{"rules": {"allpha": 0.1}}', "rules.allpha", "there is no such entry"),
        ('{"limits": {}}', "limits", "there is no such entry"),
        ('{"rules": []}', "rules", "it should be names with values in braces, not a list"),
        ("[]", "", "it should be names with values in braces, not a list"),
        ('{"variances": {"methods": {"rod": {}}}}', "variances.methods", "'rod' is none of the words it may be"),
    ],
)
def test_a_setting_that_cannot_be_is_named_by_its_place_in_plain_words(text: str, cell: str, why: str) -> None:
    assert refused(Settings, text) == (cell, why)


@pytest.mark.parametrize(
    "text", ["", "{", "alpha = 1", '{"rules": {"alpha": NaN}}', b'{"rules": {"\xff": 1}}', '{"rules": {},}']
)
def test_what_is_no_json_is_said_so(text: str | bytes) -> None:
    cell, why = refused(Settings, text)
    assert (cell, why[:15]) == ("", "it is not JSON:")


def test_the_place_where_a_text_is_no_json_is_counted_in_lines_and_signs() -> None:
    _, why = refused(Telling, '{"mail": {\n"sender": "ä@walls.example", x')
    assert why.endswith('in line 2, column 30, which is `"sender": "ä@walls.example", x`')
    assert "in line 1, column 2, which is" in refused(Settings, b"{\xff")[1]
    assert "line 1, column 14" in refused(Settings, '{"rules": {},}')[1]


def test_the_entry_of_a_mapping_that_cannot_be_is_named() -> None:
    text = '{"variances": {"methods": {"string": {"reading_mm": 1}, "laser": {"reading_mm": %s}}}}'
    assert refused(Settings, text % "-1") == ("variances.methods.laser.reading_mm", "it should be greater than 0")
    assert refused(Settings, text % ("[" * 100_000)) == (
        "variances.methods[...].reading_mm",
        "it should be a number, not a list",
    )
    cut_off, twice = '{"variances": {"methods": {"string": {"reading_mm": 0}}', ', "variances": {"methods": 1}}'
    for each in (cut_off, f"{cut_off}}}{twice}"):
        assert refused(Settings, each) == ("variances.methods[...].reading_mm", "it should be greater than 0")
    missing = '{"variances": {"methods": {"plumb": {"offset_mm": null}}}}'
    assert refused(Settings, missing) == ("variances.methods.plumb.reading_mm", "it is missing")
    assert refused(Telling, '{"remind_days": {"confirming visit": 0}}')[0] == "remind_days.confirming visit"


def test_texts_of_the_way_people_are_told_are_looked_at_wherever_they_come_from() -> None:
    mail = {"host": "mail.walls.example", "sender": "alerts"}
    why = "it is no mail address, like alerts@walls.example"
    assert refused(Telling, '{"mail": {"host": "mail.walls.example", "sender": "alerts"}}') == ("mail.sender", why)
    with pytest.raises(RefusedError, match=f"mail.sender: {why}"):
        of_values(Telling, {"mail": mail})
    with pytest.raises(RefusedError, match="sender: it is no mail address"):
        MailServer(**mail)  # type: ignore[arg-type]
    assert refused(Telling, '{"mail": {"host": "", "sender": "a@walls.example"}}') == (
        "mail.host",
        "it should have at least 1 sign",
    )


def test_numbers_may_be_written_as_people_write_them() -> None:
    written = '{"rules": {"jump_mm": 8, "grace_days": 9.0, "take_up_days": "60", "alpha": "0.01"}}'
    assert of_json(Settings, written) == Settings(rules=Rules(jump_mm=8.0, grace_days=9, take_up_days=60, alpha=0.01))


def test_a_document_made_in_code_is_looked_at_before_it_is_taken() -> None:
    assert to_json(checked(Rules(jump_mm=8))) == to_json(Rules(jump_mm=8.0))
    wrong = Settings(variances=Variances(methods={Method.STRING: MethodSds(reading_mm=float("nan"))}))
    with pytest.raises(RefusedError, match=r"variances\.methods\.string\.reading_mm: it should be greater than 0"):
        checked(wrong)


def test_a_document_comes_back_from_its_text_its_values_and_another_process() -> None:
    for each in (Settings(), Telling(mail=MailServer(host="mail.walls.example", sender="a@walls.example"))):
        assert of_json(type(each), to_json(each)) == each
        assert of_values(type(each), values_of(each)) == each
        assert pickle.loads(pickle.dumps(each)) == each


def test_a_document_stays_as_it_was_made() -> None:
    with pytest.raises(AttributeError):
        Rules().alpha = 0.5  # type: ignore[misc]
