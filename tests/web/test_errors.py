"""Every refusal reaches the person as its own sentence."""

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory

from inventory.api import errors as api_errors
from inventory.errors import (
    InventoryError,
    NoPublishedValueError,
    NotPermittedError,
    OutOfRangeError,
    StateConflictError,
)
from inventory.web.errors import (
    ErrorPageMiddleware,
    page_not_found,
    server_failed,
    status_of,
)
from tests.factories import make_agency
from tests.web.acting import act_as

# house style, section 9: the class decides the status.
STATUSES = [
    (OutOfRangeError, 400),
    (NoPublishedValueError, 404),
    (StateConflictError, 409),
    (NotPermittedError, 403),
    (InventoryError, 400),
]


def error_page(request, error):
    """Return the page with which the middleware answers an error."""
    middleware = ErrorPageMiddleware(lambda request: HttpResponse())
    page = middleware.process_exception(request, error)
    assert page is not None
    return page


@pytest.mark.parametrize(("kind", "status"), STATUSES)
def test_an_error_is_answered_with_its_status_and_its_sentence(kind, status):
    answer = error_page(
        RequestFactory().get("/"), kind("The roll is 24 in wide; the face is 30 in.")
    )
    assert answer.status_code == status
    assert "The roll is 24 in wide; the face is 30 in." in answer.content.decode()


@pytest.mark.parametrize(("kind", "status"), STATUSES)
def test_pages_and_api_answer_an_error_with_the_same_status(kind, status):
    assert status_of(kind("x")) == api_errors.status_of(kind("x")) == status


def test_every_error_of_the_project_has_a_status():
    assert {kind for kind, _ in STATUSES} >= set(InventoryError.__subclasses__())


def test_an_error_nobody_expected_is_left_to_the_server():
    middleware = ErrorPageMiddleware(lambda request: HttpResponse())
    assert middleware.process_exception(RequestFactory().get("/"), KeyError("x")) is None


def test_a_refused_post_says_that_nothing_was_changed():
    answer = error_page(RequestFactory().post("/"), StateConflictError("No."))
    assert "Nothing was changed" in answer.content.decode()


def test_a_page_that_does_not_exist_says_why_it_may_not():
    answer = page_not_found(RequestFactory().get("/nowhere/"), Exception())
    assert answer.status_code == 404
    assert "belongs to another" in answer.content.decode()


@pytest.mark.django_db
def test_a_form_without_its_secret_is_refused_with_what_to_do():
    client = Client(enforce_csrf_checks=True)
    answer = client.post("/sign-in/", {"username": "x", "password": "y"})
    assert answer.status_code == 403
    assert "load the page anew" in answer.content.decode()


def test_the_page_of_a_failed_server_needs_no_database_and_no_session():
    answer = server_failed(HttpRequest())
    assert answer.status_code == 500
    assert "stored whole or not at all" in answer.content.decode()


@pytest.mark.django_db
def test_an_address_that_only_takes_a_form_says_so_when_it_is_opened():
    client = Client()
    act_as(client, make_agency())
    answer = client.get("/signs/1/decide/")
    assert answer.status_code == 405
    assert answer["Allow"] == "POST"
    assert "Open the page with the form" in answer.content.decode()


@pytest.mark.django_db
def test_the_api_keeps_its_own_words_for_a_method_it_does_not_take():
    client = Client()
    act_as(client, make_agency())
    answer = client.delete("/api/v1/signs/")
    assert answer.status_code == 405
    assert answer["Content-Type"].startswith("application/json")
