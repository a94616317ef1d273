"""Every error has one shape."""

import pytest
from django.core.exceptions import PermissionDenied
from django.core.exceptions import ValidationError as RecordError
from django.db import OperationalError
from django.http import Http404
from rest_framework import exceptions

from inventory.api.errors import handle
from inventory.errors import NotPermittedError, OutOfRangeError, StateConflictError
from tests.factories import make_agency
from tests.web.acting import act_as


def answered(error):
    """Return the answer to an error that the API expects."""
    answer = handle(error, {"view": None})
    assert answer is not None
    return answer


@pytest.mark.parametrize(
    ("error", "status", "code"),
    [
        (OutOfRangeError("The value 5 is above 4; use 4 or less."), 400, "out_of_range"),
        (StateConflictError("It is released."), 409, "state_conflict"),
        (NotPermittedError("Not yours."), 403, "not_permitted"),
        (exceptions.ValidationError({"color": ["No."]}), 400, "invalid"),
        (RecordError({"note": ["Too long."]}), 400, "invalid"),
        (RecordError("Too long."), 400, "invalid"),
        (Http404(), 404, "not_found"),
        (PermissionDenied(), 403, "not_permitted"),
        (exceptions.NotAuthenticated(), 401, "not_authenticated"),
        (exceptions.MethodNotAllowed("PUT"), 405, "method_not_allowed"),
        (exceptions.ParseError(), 400, "parse_error"),
        (exceptions.Throttled(wait=3), 429, "throttled"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else None,
)
def test_an_error_is_a_code_a_message_and_a_detail(error, status, code):
    answer = answered(error)
    assert answer.status_code == status
    assert set(answer.data) == {"error"}
    assert set(answer.data["error"]) == {"code", "message", "detail"}
    assert answer.data["error"]["code"] == code
    assert answer.data["error"]["message"]


def test_a_field_at_fault_is_named_in_the_detail():
    answer = answered(exceptions.ValidationError({"color": ["No such colour."]}))
    assert answer.data["error"]["detail"] == {"color": ["No such colour."]}


def test_a_database_that_is_busy_asks_to_send_the_same_again():
    answer = answered(OperationalError("database is locked"))
    assert (answer.status_code, answer["Retry-After"]) == (503, "10")
    assert answer.data["error"]["code"] == "busy"
    assert handle(OperationalError("no such table: inventory_sign"), {"view": None}) is None


def test_an_error_nobody_expected_is_left_to_the_server():
    assert handle(KeyError("x"), {"view": None}) is None


@pytest.mark.django_db
def test_a_record_that_is_not_there_and_broken_json_have_the_same_shape(client):
    act_as(client, make_agency())
    for answer in (
        client.get("/api/v1/signs/999999/"),
        client.post("/api/v1/inspections/", "{broken", content_type="application/json"),
    ):
        assert set(answer.json()["error"]) == {"code", "message", "detail"}


@pytest.mark.django_db
def test_an_address_the_api_does_not_have_is_answered_in_its_shape(client):
    act_as(client, make_agency())
    answer = client.get("/api/v1/nothing-here/")
    assert answer.status_code == 404
    assert set(answer.json()["error"]) == {"code", "message", "detail"}
    assert answer.json()["error"]["code"] == "not_found"
    assert "/api/v1/nothing-here/" in answer.json()["error"]["message"]
    assert "text/html" in client.get("/nothing-here/")["Content-Type"]


@pytest.mark.django_db
def test_a_failure_nobody_expected_has_the_shape_too(client, monkeypatch):
    def fail(*_args, **_named):
        raise KeyError

    monkeypatch.setattr("inventory.api.signs.SignViewSet.list", fail)
    act_as(client, make_agency())
    client.raise_request_exception = False
    answer = client.get("/api/v1/signs/")
    assert answer.status_code == 500
    assert answer.json()["error"]["code"] == "server_failed"
