"""One shape for every error: ``{"error": {"code", "message", "detail"}}``."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied
from django.core.exceptions import ValidationError as RecordError
from django.db import OperationalError
from django.http import Http404, HttpRequest, JsonResponse
from rest_framework.exceptions import APIException, ValidationError
from rest_framework.response import Response
from rest_framework.views import exception_handler, set_rollback

from inventory.errors import (
    InventoryError,
    NoPublishedValueError,
    NotPermittedError,
    OutOfRangeError,
    StateConflictError,
)

STATUS_OF_ERROR: tuple[tuple[type[InventoryError], HTTPStatus], ...] = (
    (NotPermittedError, HTTPStatus.FORBIDDEN),
    (StateConflictError, HTTPStatus.CONFLICT),
    (NoPublishedValueError, HTTPStatus.NOT_FOUND),
    (OutOfRangeError, HTTPStatus.BAD_REQUEST),
    (InventoryError, HTTPStatus.BAD_REQUEST),
)
RETRY_AFTER_S = 10
BUSY_MESSAGE = (
    "The database is busy, and nothing was stored. Send the same again in "
    f"{RETRY_AFTER_S} seconds."
)
INVALID_CODE = "invalid"
INVALID_MESSAGE = "Some values cannot be used; the detail names each and says why."


def handle(error: Exception, context: dict[str, Any]) -> Response | None:
    """Answer an error in the one shape; an error nobody expected stays the server's."""
    if isinstance(error, InventoryError):
        set_rollback()
        return shaped(status_of(error), error.code, str(error))
    if isinstance(error, RecordError):
        set_rollback()
        detail = error.message_dict if hasattr(error, "error_dict") else error.messages
        return shaped(HTTPStatus.BAD_REQUEST, INVALID_CODE, INVALID_MESSAGE, detail)
    if isinstance(error, OperationalError) and "database is locked" in str(error):
        # SQLite lets one write at a time; whoever waited too long sends it again.
        set_rollback()
        busy = shaped(HTTPStatus.SERVICE_UNAVAILABLE, "busy", BUSY_MESSAGE)
        busy["Retry-After"] = str(RETRY_AFTER_S)
        return busy
    answer = exception_handler(error, context)
    if answer is None:
        return None
    if isinstance(error, ValidationError):
        return _keep_headers(
            shaped(HTTPStatus.BAD_REQUEST, INVALID_CODE, INVALID_MESSAGE, answer.data), answer
        )
    if isinstance(error, Http404):
        code, message = "not_found", "There is no such record among those you may read."
    elif isinstance(error, PermissionDenied):
        code, message = "not_permitted", "Your role does not allow this."
    else:
        code = str(error.default_code if isinstance(error, APIException) else "error")
        message = str(getattr(error, "detail", error))
    return _keep_headers(shaped(answer.status_code, code, message), answer)


def status_of(error: InventoryError) -> HTTPStatus:
    """Return the HTTP status of an error's class, the same as on the pages."""
    return next(status for kind, status in STATUS_OF_ERROR if isinstance(error, kind))


def shaped(status: int, code: str, message: str, detail: object = None) -> Response:
    """Return an error in the one shape."""
    return Response(_shape(code, message, detail), status=status)


def unknown_address(request: HttpRequest) -> JsonResponse:
    """Answer an address below the API that is none of its own."""
    message = f"The API has nothing at {request.path}; its addresses are in /api/v1/schema/."
    return JsonResponse(_shape("not_found", message), status=HTTPStatus.NOT_FOUND)


def server_failed() -> JsonResponse:
    """Answer a failure nobody expected."""
    message = (
        "The server failed, and what was sent may not have been stored. Send it again with the "
        "same client id; it is stored once."
    )
    return JsonResponse(
        _shape("server_failed", message), status=HTTPStatus.INTERNAL_SERVER_ERROR
    )


def _shape(code: str, message: str, detail: object = None) -> dict[str, object]:
    return {"error": {"code": code, "message": message, "detail": detail}}


def _keep_headers(answer: Response, original: Response) -> Response:
    for name, value in original.items():
        if name.lower() not in {"content-type", "content-length"}:
            answer[name] = value
    return answer
