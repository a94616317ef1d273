"""The exchange with phones: they are taken on, and send what was recorded on them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from django.middleware.csrf import get_token
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.api.device_auth import DeviceAuthentication, IsKnownDevice, device_of
from inventory.api.packed import PackedJSONParser
from inventory.api.permissions import organisation_of
from inventory.models import Device, Role
from inventory.services.exchange.answers import ANSWERS
from inventory.services.exchange.content import read_batch
from inventory.services.exchange.devices import register_device
from inventory.services.exchange.epochs import current_epoch
from inventory.services.exchange.receive import receive_batch

if TYPE_CHECKING:
    from rest_framework.request import Request

    from inventory.models import Organisation, User

FIELD_ROLES = (Role.CREW, Role.ENGINEER)
KEY_HEADER = "X-Device-Key"
LONGEST_NAME = Device._meta.get_field("name").max_length or 0
LONGEST_VERSION = Device._meta.get_field("app_version").max_length or 0


class FieldUserSerializer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()


class FieldOrganisationSerializer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()
    time_zone = serializers.CharField()


class WhoSerializer(serializers.Serializer[Any]):
    """Who is signed in, and for which organisation they act."""

    user = FieldUserSerializer()
    organisation = FieldOrganisationSerializer()


class DeviceInputSerializer(serializers.Serializer[Any]):
    device_uuid = serializers.UUIDField()
    name = serializers.CharField(default="", allow_blank=True, max_length=LONGEST_NAME)
    app_version = serializers.CharField(
        default="", allow_blank=True, max_length=LONGEST_VERSION
    )


class RegisteredSerializer(WhoSerializer):
    """A phone that was taken on, with its key."""

    device_uuid = serializers.UUIDField()
    key = serializers.CharField()
    epoch = serializers.UUIDField()


class SentSerializer(serializers.Serializer[Any]):
    client_uuid = serializers.UUIDField()
    sha256 = serializers.CharField(help_text="Of the UTF-8 bytes of content, in small hex.")
    content = serializers.CharField(help_text="The operation, as the text of a JSON object.")


class AcknowledgedSerializer(serializers.Serializer[Any]):
    client_uuid = serializers.UUIDField()
    sha256 = serializers.CharField()


class BatchSerializer(serializers.Serializer[Any]):
    """One sending of a phone."""

    app_version = serializers.CharField(required=False, allow_blank=True)
    sent_at = serializers.DateTimeField(help_text="By the phone's clock, at sending.")
    epoch = serializers.UUIDField(allow_null=True, required=False)
    last_acknowledged = AcknowledgedSerializer(
        allow_null=True,
        required=False,
        help_text="The newest that was answered as applied, under the epoch named here.",
    )
    operations = SentSerializer(many=True)
    ask = serializers.ListField(
        child=serializers.UUIDField(),
        required=False,
        help_text="Held and refused ones whose news is wanted.",
    )


class AnswerSerializer(serializers.Serializer[Any]):
    client_uuid = serializers.CharField()
    answer = serializers.ChoiceField(choices=ANSWERS)
    code = serializers.CharField(allow_blank=True)
    sentence = serializers.CharField(allow_blank=True)
    result = serializers.DictField()


class ReceivedSerializer(serializers.Serializer[Any]):
    """An answer to each operation, in the order they were sent, and news of those asked for."""

    epoch = serializers.UUIDField()
    server_time = serializers.DateTimeField()
    skew_s = serializers.FloatField(help_text="Server's clock minus the phone's.")
    answers = AnswerSerializer(many=True)
    news = AnswerSerializer(many=True)


class PingSerializer(serializers.Serializer[Any]):
    epoch = serializers.UUIDField()
    server_time = serializers.DateTimeField()


class DeviceList(APIView):
    """Phones are taken on by a person who is signed in on them."""

    roles = FIELD_ROLES

    @extend_schema(
        request=DeviceInputSerializer,
        parameters=[
            OpenApiParameter(
                KEY_HEADER,
                str,
                OpenApiParameter.HEADER,
                description="The phone's key, where it was given one before.",
            )
        ],
        responses=RegisteredSerializer,
    )
    def post(self, request: Request) -> Response:
        """
        Take a phone on, or note that one more person signed in on it.

        A phone that is known and does not show its key is answered with 409.
        """
        sent = DeviceInputSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        organisation, user = organisation_of(request), cast("User", request.user)
        now = timezone.now()
        registered = register_device(
            organisation=organisation,
            user=user,
            key=request.headers.get(KEY_HEADER, ""),
            now=now,
            **sent.validated_data,
        )
        return Response(
            {
                "device_uuid": registered.device.device_uuid,
                "key": registered.key,
                "epoch": current_epoch(now=now),
                **_who(user, organisation),
            }
        )


class WhoAmI(APIView):
    """Who is signed in on the phone; the answer sets the cookie that POST devices/ needs."""

    roles = FIELD_ROLES

    @extend_schema(responses=WhoSerializer)
    def get(self, request: Request) -> Response:
        get_token(request._request)
        return Response(_who(cast("User", request.user), organisation_of(request)))


class OperationList(APIView):
    """What phones recorded."""

    authentication_classes = (DeviceAuthentication,)
    permission_classes = (IsKnownDevice,)
    parser_classes = (PackedJSONParser,)

    @extend_schema(request=BatchSerializer, responses=ReceivedSerializer)
    def post(self, request: Request) -> Response:
        """
        Take in what a phone sends, gzipped or not; at most 1,000 operations, 10 MB unpacked.

        Each is applied once, however often it is sent, or held, or refused and kept.
        """
        batch = read_batch(request.data)
        received = receive_batch(device=device_of(request), batch=batch)
        return Response(
            {
                "epoch": received.epoch,
                "server_time": received.server_time,
                "skew_s": received.skew_s,
                "answers": [each.as_json() for each in received.answers],
                "news": [each.as_json() for each in received.news],
            }
        )


class Ping(APIView):
    """Whether the server answers, asked before sending and to see the time."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(responses=PingSerializer)
    def get(self, request: Request) -> Response:
        now = timezone.now()
        return Response({"epoch": current_epoch(now=now), "server_time": now})


def _who(user: User, organisation: Organisation) -> dict[str, Any]:
    return {
        "user": {"id": user.pk, "name": str(user)},
        "organisation": {
            "id": organisation.pk,
            "name": organisation.name,
            "time_zone": organisation.time_zone,
        },
    }
