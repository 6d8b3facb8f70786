"""The JSON interface held to its OpenAPI document, by hand and by made-up requests."""

import shutil
from datetime import timedelta
from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.specs.openapi.checks import negative_data_rejection
from service_running import BEGAN, Running

from monitor.pipeline import judging, uploads
from monitor.web import accounts
from monitor.web.doors import DOORS

EXAMPLES = 25


@pytest.fixture(scope="module")
def asked(visited: Path, tmp_path_factory: pytest.TempPathFactory):
    running = Running(shutil.copytree(visited, tmp_path_factory.mktemp("openapi") / "store"))
    key = accounts.new_key(running.store(), "T1", at=BEGAN + timedelta(minutes=1))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(uploads, "judged_again", lambda *_, **__: [])
        patch.setattr(judging, "expected_at", lambda *_: None)
        yield running, key


@pytest.fixture
def api(asked):
    running, _ = asked
    schema = schemathesis.openapi.from_dict(running.app.openapi())
    schema.app = running.app
    return schema


def test_the_document_is_for_those_who_have_an_account(asked) -> None:
    running, key = asked
    assert running.browser().get("/api/openapi.json").status_code == 401
    answer = running.browser().get("/api/openapi.json", headers={"Authorization": f"Bearer {key}"})
    assert answer.json() == running.app.openapi()


def test_every_interface_line_of_the_doors_is_in_the_document_with_its_roles(asked) -> None:
    running, _ = asked
    document = running.app.openapi()
    lines = {f"{method.upper()} {path}" for path, found in document["paths"].items() for method in found}
    assert lines == {line for line in DOORS if " /api/" in line} - {"GET /api/openapi.json", "GET /api/session"}
    for path, found in document["paths"].items():
        for method, operation in found.items():
            roles = DOORS[f"{method.upper()} {path}"].roles or ()
            assert operation["security"] == [{"personalKey": []}]
            assert all(role in operation["description"] for role in roles)
            assert {"401", "403", "429"} <= set(operation["responses"])
            problem = operation["responses"]["401"]["content"]["application/problem+json"]
            assert problem["schema"]["$ref"].endswith("/Problem")


def test_a_change_since_the_preview_is_told_of_in_the_document(asked) -> None:
    running, _ = asked
    told = running.app.openapi()["paths"]["/api/uploads/{upload}/confirm"]["post"]["responses"]["409"]
    assert told["content"]["application/json"]["schema"]["$ref"].endswith("/UploadAnswer")


def test_every_field_has_a_description(asked) -> None:
    running, _ = asked
    for name, model in running.app.openapi()["components"]["schemas"].items():
        if not name.startswith(("Body_", "HTTPValidationError", "ValidationError")):
            assert model["description"]
            assert [
                field for field, found in model.get("properties", {}).items() if not found.get("description")
            ] == [], name


made_up = schemathesis.pytest.from_fixture("api")


@made_up.parametrize()
@settings(
    max_examples=EXAMPLES, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
)
def test_made_up_requests_are_answered_as_the_document_says(case, asked) -> None:
    """In a form all is text: that `true` was meant as no text cannot be seen from it, so nobody can refuse it."""
    _, key = asked
    undecidable = [negative_data_rejection] if case.media_type == "multipart/form-data" else []
    case.call_and_validate(
        base_url="http://localhost", headers={"Authorization": f"Bearer {key}"}, excluded_checks=undecidable
    )
