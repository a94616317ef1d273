"""Errors as pages: one class, one status, one sentence."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING

from django.http import HttpResponseNotAllowed
from django.shortcuts import render

from inventory.errors import (
    InventoryError,
    NoPublishedValueError,
    NotPermittedError,
    OutOfRangeError,
    StateConflictError,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpRequest, HttpResponse, HttpResponseBase

STATUS_OF_ERROR: tuple[tuple[type[InventoryError], HTTPStatus], ...] = (
    (NotPermittedError, HTTPStatus.FORBIDDEN),
    (StateConflictError, HTTPStatus.CONFLICT),
    (NoPublishedValueError, HTTPStatus.NOT_FOUND),
    (OutOfRangeError, HTTPStatus.BAD_REQUEST),
    (InventoryError, HTTPStatus.BAD_REQUEST),
)
HEADING_OF_STATUS = {
    HTTPStatus.FORBIDDEN: "Not for your role",
    HTTPStatus.CONFLICT: "That cannot be done now",
    HTTPStatus.NOT_FOUND: "No published value",
    HTTPStatus.BAD_REQUEST: "Something in the request is not right",
}


class ErrorPageMiddleware:
    """Answers an error raised on purpose with the sentence it carries."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        answer = self.get_response(request)
        if isinstance(answer, HttpResponseNotAllowed) and not answer.content:
            return _only_takes_a_form(request, answer["Allow"])
        return answer

    def process_exception(
        self, request: HttpRequest, exception: Exception
    ) -> HttpResponse | None:
        if not isinstance(exception, InventoryError):
            return None
        status = status_of(exception)
        return render(
            request,
            "inventory/shared/error_page.html",
            {
                "heading": HEADING_OF_STATUS[status],
                "sentence": str(exception),
                "code": exception.code,
            },
            status=status,
        )


def _only_takes_a_form(request: HttpRequest, allowed: str) -> HttpResponse:
    """Answer an address that was opened, though it only takes what a form sends."""
    page = render(
        request,
        "inventory/shared/error_page.html",
        {
            "heading": "Nothing was sent",
            "sentence": (
                "This address only takes what a form sends, and none came with it: perhaps you "
                "signed in again on the way. Open the page with the form and send it once more."
            ),
        },
        status=HTTPStatus.METHOD_NOT_ALLOWED,
    )
    page["Allow"] = allowed
    return page


def status_of(error: InventoryError) -> HTTPStatus:
    """Return the HTTP status of an error's class."""
    return next(status for kind, status in STATUS_OF_ERROR if isinstance(error, kind))


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(
        request,
        "inventory/shared/error_page.html",
        {
            "heading": "There is no such page",
            "sentence": (
                "The address may be mistyped, or what it showed belongs to another "
                "organisation than the one you act for."
            ),
        },
        status=HTTPStatus.NOT_FOUND,
    )


def form_expired(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form whose secret does not fit: it was open too long, or came from elsewhere."""
    return render(
        request,
        "inventory/shared/error_page.html",
        {
            "heading": "That form is no longer valid",
            "sentence": (
                "It was opened before you signed in again, or it was sent from another site. "
                "Go back, copy what you typed, load the page anew and send it again."
            ),
        },
        status=HTTPStatus.FORBIDDEN,
    )


def server_failed(request: HttpRequest) -> HttpResponse:
    return render(
        None,
        "inventory/shared/server_failed.html",
        status=HTTPStatus.INTERNAL_SERVER_ERROR,
    )
