"""Instruments and their checks: read here, and checks recorded by the phone."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Any, cast

from django.db.models import Count
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.response import Response

from inventory.api.inspection_input import LONGEST_NUMBER_TEXT
from inventory.api.permissions import organisation_of
from inventory.api.refused import kept_when_refused
from inventory.models import Instrument, InstrumentCheck, RefusedEntry, Role
from inventory.services.instruments import record_check

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from rest_framework.request import Request

    from inventory.models import User


class InstrumentSerializer(serializers.ModelSerializer[Instrument]):
    class Meta:
        model = Instrument
        fields = (
            "id",
            "serial",
            "observation_angle_deg",
            "entrance_angle_deg",
            "receiver",
            "certificate_on",
            "certificate_due_on",
            "check_tolerance_rel",
            "is_retired",
        )


class CheckSerializer(serializers.ModelSerializer[InstrumentCheck]):
    instrument_id = serializers.IntegerField()
    checked_by = serializers.StringRelatedField[InstrumentCheck]()
    flag_count = serializers.IntegerField(
        read_only=True, help_text="How many visits the check put in doubt."
    )

    class Meta:
        model = InstrumentCheck
        fields = (
            "id",
            "client_uuid",
            "instrument_id",
            "moment",
            "checked_at",
            "recorded_at",
            "reference_ra_cd_lx_m2",
            "shown_ra_cd_lx_m2",
            "tolerance_rel",
            "is_within_tolerance",
            "checked_by",
            "flag_count",
        )


class CheckInputSerializer(serializers.Serializer[InstrumentCheck]):
    """One check; ``client_uuid`` makes sending it twice the same as once."""

    client_uuid = serializers.UUIDField()
    moment = serializers.ChoiceField(choices=InstrumentCheck.Moment.choices)
    checked_at = serializers.DateTimeField()
    reference_ra_cd_lx_m2 = serializers.CharField(max_length=LONGEST_NUMBER_TEXT)
    shown_ra_cd_lx_m2 = serializers.CharField(max_length=LONGEST_NUMBER_TEXT)


class InstrumentViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Instrument]
):
    """The agency's instruments, with how long each certificate holds."""

    queryset = Instrument.objects.none()
    serializer_class = InstrumentSerializer
    roles = (Role.ENGINEER, Role.CREW)

    def get_queryset(self) -> QuerySet[Instrument]:
        rows: QuerySet[Instrument] = Instrument.objects.owned_by(
            organisation_of(self.request)
        ).order_by("serial", "pk")
        return rows

    @extend_schema(responses=CheckSerializer(many=True))
    @action(detail=True)
    def checks(self, request: Request, pk: Any = None) -> Response:
        """List the checks of an instrument, newest first."""
        rows = _with_counts(self.get_object()).order_by("-checked_at", "-pk")
        page = self.paginate_queryset(cast("Any", rows))
        return self.get_paginated_response(CheckSerializer(page, many=True).data)

    @extend_schema(
        request=CheckInputSerializer, responses={HTTPStatus.CREATED: CheckSerializer}
    )
    @checks.mapping.post
    def record(self, request: Request, pk: Any = None) -> Response:
        """
        Record a check against the reference standard.

        Outside the tolerance, the readings since the last good check are flagged. Sending the
        same ``client_uuid`` again is answered with what was stored the first time.
        """
        instrument = self.get_object()
        with kept_when_refused(request, RefusedEntry.Kind.CHECK):
            sent = CheckInputSerializer(data=request.data)
            sent.is_valid(raise_exception=True)
            values = sent.validated_data
            stored = record_check(
                instrument=instrument,
                moment=values["moment"],
                reference=values["reference_ra_cd_lx_m2"],
                shown=values["shown_ra_cd_lx_m2"],
                checked_at=values["checked_at"],
                client_uuid=values["client_uuid"],
                by=cast("User", request.user),
            )
        shown = get_object_or_404(_with_counts(instrument), pk=stored.pk)
        return Response(CheckSerializer(shown).data, status=HTTPStatus.CREATED)


def _with_counts(instrument: Instrument) -> QuerySet[InstrumentCheck]:
    rows: QuerySet[InstrumentCheck] = (
        InstrumentCheck.objects.filter(instrument=instrument)
        .select_related("checked_by")
        .annotate(flag_count=Count("flags"))
    )
    return rows
