"""A phone asks with the key it was given; no session, so that none can expire on the road."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any, cast

from django.contrib.auth.models import AnonymousUser
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import BasePermission

from inventory.models import Device
from inventory.services.exchange.devices import authenticate_device

if TYPE_CHECKING:
    from drf_spectacular.openapi import AutoSchema
    from rest_framework.request import Request
    from rest_framework.views import APIView

SCHEME = "Device"
NOT_KNOWN = (
    "This phone is not known here, or its key is another. Sign in on it once; what it holds is "
    "then sent."
)


class DeviceAuthentication(BaseAuthentication):
    """``Authorization: Device <device_uuid>:<key>``."""

    def authenticate(self, request: Request) -> tuple[AnonymousUser, Device] | None:
        """Return the phone that asks; another scheme, or none, is not for this class."""
        scheme, _blank, credentials = request.headers.get("Authorization", "").partition(" ")
        if scheme != SCHEME:
            return None
        name, _colon, key = credentials.strip().partition(":")
        try:
            device_uuid = uuid.UUID(name)
        except ValueError:
            raise AuthenticationFailed(NOT_KNOWN) from None
        device = authenticate_device(device_uuid=device_uuid, key=key)
        if device is None:
            raise AuthenticationFailed(NOT_KNOWN)
        return AnonymousUser(), device

    def authenticate_header(self, request: Request) -> str:
        """Return what makes a refusal a 401."""
        return SCHEME


class IsKnownDevice(BasePermission):
    """Only phones that showed their key."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Return whether a phone asks."""
        return isinstance(request.auth, Device)


def device_of(request: Request) -> Device:
    """Return the phone that asks; the permission made sure there is one."""
    return cast("Device", request.auth)


class DeviceScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call] # the package has no types here
    """How the description names the phones' keys."""

    target_class = DeviceAuthentication
    name = "deviceKey"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        """Return the header and what is in it."""
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "Device <device_uuid>:<key>, as answered by POST devices/.",
        }
