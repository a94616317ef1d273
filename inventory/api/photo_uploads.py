"""Photos from phones, in pieces that go on where they were cut."""

from __future__ import annotations

import re
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from django.http import UnreadablePostError
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.api.device_auth import DeviceAuthentication, IsKnownDevice, device_of
from inventory.api.errors import shaped
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import PhotoUpload
from inventory.services.photo_uploads import (
    MAXIMUM_PIECE_BYTES,
    Piece,
    find_upload,
    receive_piece,
    settle_upload,
)

if TYPE_CHECKING:
    import uuid

    from rest_framework.request import Request

_RANGE = re.compile(r"bytes (\d{1,12})-(\d{1,12})/(\d{1,12})")
_READ_AT_ONCE = 65_536
NOT_ANNOUNCED = (
    "No operation of this phone announced that photo; send its operation first, then the photo."
)


class UploadSerializer(serializers.ModelSerializer[PhotoUpload]):
    """How far a photo is; ``sentence`` says what it waits for, or why it was refused."""

    class Meta:
        model = PhotoUpload
        fields = ("received_bytes", "size_bytes", "state", "sentence")


class PhotoUploadView(APIView):
    """One photo an operation announced: how far it is, and its next piece."""

    authentication_classes = (DeviceAuthentication,)
    permission_classes = (IsKnownDevice,)

    @extend_schema(responses=UploadSerializer)
    def get(self, request: Request, photo_uuid: uuid.UUID) -> Response:
        """Say how far a photo is; one whose operation was applied meanwhile is stored."""
        upload = find_upload(device=device_of(request), photo_uuid=photo_uuid)
        if upload is None:
            return _not_announced()
        return Response(UploadSerializer(settle_upload(upload=upload)).data)

    @extend_schema(
        request={"application/octet-stream": OpenApiTypes.BINARY},
        parameters=[
            OpenApiParameter(
                "Content-Range",
                str,
                OpenApiParameter.HEADER,
                required=True,
                description="Such as 'bytes 0-262143/1048576'.",
            )
        ],
        responses={200: UploadSerializer, 409: UploadSerializer},
    )
    def put(self, request: Request, photo_uuid: uuid.UUID) -> Response:
        """
        Take a piece that begins where what is here ends.

        Another one is answered with 409 and what is here. A piece that was cut short counts
        as far as it came.
        """
        upload = find_upload(device=device_of(request), photo_uuid=photo_uuid)
        if upload is None:
            return _not_announced()
        piece = _read_piece(request)
        try:
            upload = receive_piece(upload=upload, piece=piece, now=timezone.now())
        except StateConflictError as error:
            upload.refresh_from_db()
            answer = shaped(HTTPStatus.CONFLICT, error.code, str(error))
            answer.data |= UploadSerializer(upload).data
            return answer
        return Response(UploadSerializer(upload).data)


def _not_announced() -> Response:
    return shaped(HTTPStatus.NOT_FOUND, "not_found", NOT_ANNOUNCED)


def _read_piece(request: Request) -> Piece:
    """Return the piece a request holds, as far as it came through."""
    sent = request.headers.get("Content-Range", "")
    match = _RANGE.fullmatch(sent)
    if match is None:
        msg = (
            f"The Content-Range '{sent[:60]}' does not say which bytes are sent; write it like "
            "'bytes 0-262143/1048576'."
        )
        raise OutOfRangeError(msg)
    first, last, total = (int(each) for each in match.groups())
    length = last - first + 1
    if not 0 < length <= MAXIMUM_PIECE_BYTES:
        msg = (
            f"The piece would have {length} bytes; 1 to {MAXIMUM_PIECE_BYTES} are taken at a "
            "time."
        )
        raise OutOfRangeError(msg)
    content = _read_body(request, length + 1)
    if len(content) > length:
        msg = (
            f"More bytes came than the {length} that Content-Range names; send the piece again."
        )
        raise OutOfRangeError(msg)
    return Piece(first, total, content)


def _read_body(request: Request, most: int) -> bytes:
    """Return what came of a body, at most so many bytes, also where the line was cut."""
    stream: Any = request._request
    content = bytearray()
    try:
        while len(content) < most:
            part = stream.read(min(_READ_AT_ONCE, most - len(content)))
            if not part:
                break
            content += part
    except UnreadablePostError:
        # What came before the line was cut is good as far as it goes: the whole is checked.
        return bytes(content)
    return bytes(content)
