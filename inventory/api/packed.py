"""Bodies that phones send packed, unpacked up to a bound."""

from __future__ import annotations

import json
import zlib
from http import HTTPStatus
from typing import IO, TYPE_CHECKING, Any

from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import BaseParser

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST_BYTES = 10_000_000
PIECE_BYTES = 1 << 16
GZIP_WINDOW = 16 + zlib.MAX_WBITS


class TooLargeError(APIException):
    """The body is larger than is taken at once, as it came or unpacked."""

    status_code = HTTPStatus.REQUEST_ENTITY_TOO_LARGE
    default_code = "too_large"
    default_detail = (
        f"The body has more than {MOST_BYTES:,} bytes, unpacked; send it in smaller parts."
    )


class DamagedError(APIException):
    """The body was cut or damaged on the way; the same may be sent again as it is."""

    status_code = HTTPStatus.BAD_REQUEST
    default_code = "damaged"


class PackedJSONParser(BaseParser):
    """JSON as it is, or gzipped (``Content-Encoding: gzip``)."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Return the data of a body, or say why it cannot be read."""
        request = (parser_context or {})["request"]
        encoding = request.headers.get("Content-Encoding", "identity").strip().lower()
        if encoding not in ("identity", "gzip"):
            msg = f"The body is packed as '{encoding}'; send it as it is, or gzipped."
            raise ParseError(msg)
        body = _unpacked(stream) if encoding == "gzip" else _read(stream)
        try:
            return json.loads(body)
        except (ValueError, RecursionError) as error:
            msg = "The body is not JSON that can be read; it was damaged on the way."
            raise DamagedError(msg) from error


def _read(stream: IO[bytes]) -> bytes:
    body = stream.read(MOST_BYTES + 1)
    if len(body) > MOST_BYTES:
        raise TooLargeError
    return body


def _unpacked(stream: IO[bytes]) -> bytes:
    """Return what was packed, unpacking no more than is allowed of it."""
    unpacker = zlib.decompressobj(GZIP_WINDOW)
    body = bytearray()
    packed_bytes = 0
    try:
        while not unpacker.eof and (piece := stream.read(PIECE_BYTES)):
            packed_bytes += len(piece)
            body += unpacker.decompress(piece, MOST_BYTES + 1 - len(body))
            # What is packed may be larger than what it holds: pieces of nothing, without end.
            if max(packed_bytes, len(body)) > MOST_BYTES:
                raise TooLargeError
    except zlib.error as error:
        msg = "The body says it is gzipped and cannot be unpacked; it was damaged on the way."
        raise DamagedError(msg) from error
    if not unpacker.eof:
        msg = "The gzipped body ends too early; it was cut on the way."
        raise DamagedError(msg)
    return bytes(body)
