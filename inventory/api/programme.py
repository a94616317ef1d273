"""Programmes of replacements: what they come to, which sign in which year, and their steps."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Any, cast

import django_filters
from django.db import models
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import generics, mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.api.permissions import organisation_of
from inventory.models import PlannedReplacement, Programme, ProgrammeRun, Role
from inventory.services.programme.deciding import (
    adopt,
    lock_replacement,
    unlock_replacement,
)
from inventory.services.programme.making import MOST_YEARS, make_programme
from inventory.services.programme.solving import ask_to_stop, start_solving

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from rest_framework.request import Request

    from inventory.models import Organisation, User

NO_YEAR = 0  # in a filter: in none of the programme's years


class Step(models.TextChoices):
    """What is done with a programme as a whole."""

    SOLVE = "solve", "begin to choose its years, in the background"
    STOP = "stop", "stop choosing, and keep the best that was found"
    ADOPT = "adopt", "make it the one the agency works by"


class RunSerializer(serializers.ModelSerializer[ProgrammeRun]):
    """One choosing of the years; open until it has finished."""

    class Meta:
        model = ProgrammeRun
        fields = ("started_at", "seen_at", "finished_at", "stop_asked_at", "words", "error")


class ProgrammeSerializer(serializers.ModelSerializer[Programme]):
    """A programme without what came of it; money in the currency of its work basis."""

    work_basis_version = serializers.IntegerField(source="work_basis.version")
    currency = serializers.CharField(source="work_basis.currency")
    began_from_id = serializers.IntegerField(allow_null=True)

    class Meta:
        model = Programme
        fields: tuple[str, ...] = (
            "id",
            "name",
            "state",
            "first_year",
            "years",
            "budget",
            "crew_hours",
            "currency",
            "work_basis_version",
            "keeps_class_1_legal",
            "began_from_id",
            "made_at",
            "solved_at",
            "adopted_at",
        )


class ProgrammeWithResultSerializer(ProgrammeSerializer):
    """A programme with its figures as its page shows them, and its newest choosing of years."""

    run = serializers.SerializerMethodField()

    class Meta(ProgrammeSerializer.Meta):
        fields = (*ProgrammeSerializer.Meta.fields, "result", "run")

    @extend_schema_field(RunSerializer(allow_null=True))
    def get_run(self, programme: Programme) -> Any:
        """Return how far the newest choosing of its years is; nothing where there was none."""
        run = programme.runs.order_by("-started_at", "-pk").first()
        return None if run is None else RunSerializer(run).data


class ProgrammeInputSerializer(serializers.Serializer[Programme]):
    """A programme to make; its years are chosen by a step of its own."""

    name = serializers.CharField(max_length=120)
    first_year = serializers.IntegerField(min_value=2000, max_value=9999)
    years = serializers.IntegerField(min_value=1, max_value=MOST_YEARS)
    budget = serializers.ListField(
        child=serializers.FloatField(min_value=0), max_length=MOST_YEARS, help_text="Each year."
    )
    crew_hours = serializers.ListField(
        child=serializers.FloatField(min_value=0), max_length=MOST_YEARS, help_text="Each year."
    )
    keeps_class_1_legal = serializers.BooleanField(default=True)
    began_from_id = serializers.IntegerField(allow_null=True, default=None)


class StepSerializer(serializers.Serializer[Programme]):
    step = serializers.ChoiceField(choices=Step.choices)


class ProgrammeFilter(django_filters.FilterSet):  # type: ignore[misc]  # the package has no types
    class Meta:
        model = Programme
        fields = ("state",)


class ProgrammeViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Programme]
):
    """The agency's programmes, newest first."""

    queryset = Programme.objects.none()
    serializer_class = ProgrammeSerializer
    filterset_class = ProgrammeFilter
    roles = (Role.ENGINEER,)

    def get_serializer_class(self) -> type[ProgrammeSerializer]:
        is_list = self.action == "list"
        return ProgrammeSerializer if is_list else ProgrammeWithResultSerializer

    def get_queryset(self) -> QuerySet[Programme]:
        rows = _programmes(organisation_of(self.request)).order_by("-made_at", "-pk")
        return rows.defer("result") if self.action == "list" else rows

    @extend_schema(
        request=ProgrammeInputSerializer,
        responses={HTTPStatus.CREATED: ProgrammeWithResultSerializer},
    )
    def create(self, request: Request) -> Response:
        """Make a programme; it begins from another one's plan if one is named."""
        sent = ProgrammeInputSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        values = sent.validated_data
        organisation, begun = organisation_of(request), values.pop("began_from_id")
        source = None
        if begun is not None:
            source = _programmes(organisation).filter(pk=begun).first()
            if source is None:
                msg = f"There is no programme {begun} among those you may use."
                raise serializers.ValidationError({"began_from_id": [msg]})
        made = make_programme(
            organisation=organisation,
            began_from=source,
            by=cast("User", request.user),
            **values,
        )
        return self._shown(made, HTTPStatus.CREATED)

    @extend_schema(
        request=StepSerializer, responses={HTTPStatus.OK: ProgrammeWithResultSerializer}
    )
    @action(detail=True, methods=["post"])
    def step(self, request: Request, pk: Any = None) -> Response:
        """
        Choose the years, stop and keep the best, or adopt; answers with the programme.

        Choosing goes on by itself in the background: read the programme again, its ``run`` is
        finished when it has ``finished_at``.
        """
        programme = self.get_object()
        sent = StepSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        step, by = sent.validated_data["step"], cast("User", request.user)
        if step == Step.SOLVE:
            start_solving(programme=programme, by=by)
        elif step == Step.STOP:
            for run in programme.runs.filter(finished_at=None):
                ask_to_stop(run=run)
        else:
            adopt(programme=programme, by=by)
        return self._shown(programme, HTTPStatus.OK)

    def _shown(self, programme: Programme, status: HTTPStatus) -> Response:
        found = get_object_or_404(self.get_queryset(), pk=programme.pk)
        return Response(self.get_serializer(found).data, status=status)


class ReplacementSerializer(serializers.ModelSerializer[PlannedReplacement]):
    """What a programme says of one position; an empty year is none of its years."""

    position_id = serializers.IntegerField()
    sign_id = serializers.IntegerField()
    sign_code = serializers.CharField(source="position.sign_code")
    road = serializers.SerializerMethodField()
    latitude_deg = serializers.FloatField(source="position.support.latitude_deg")
    longitude_deg = serializers.FloatField(source="position.support.longitude_deg")

    class Meta:
        model = PlannedReplacement
        fields = (
            "id",
            "position_id",
            "sign_id",
            "sign_code",
            "road",
            "latitude_deg",
            "longitude_deg",
            "year",
            "must_by_year",
            "is_locked",
            "lock_reason",
            "reason",
            "cost",
            "crew_hours",
            "due_on",
            "safety_class",
            "risk_left",
        )

    def get_road(self, planned: PlannedReplacement) -> str:
        """Return the road's name; empty where it is not known."""
        road = planned.position.support.road
        return "" if road is None else road.name


class ReplacementFilter(django_filters.FilterSet):  # type: ignore[misc]  # the package has no types
    """By year (0: in none of the programme's), safety class, and whether a person locked it."""

    year = django_filters.NumberFilter(method="of_year", min_value=0, max_value=9999)
    safety_class = django_filters.NumberFilter(min_value=1, max_value=4)
    is_locked = django_filters.BooleanFilter()

    class Meta:
        model = PlannedReplacement
        fields = ("year", "safety_class", "is_locked")

    def of_year(self, rows: Any, _name: str, year: Any) -> Any:
        """Narrow to a calendar year, or to none."""
        if year == NO_YEAR:
            return rows.filter(year__isnull=True)
        return rows.filter(year=int(year))


class ReplacementList(generics.ListAPIView[PlannedReplacement]):
    """What a programme says of its positions, by year, class and position."""

    queryset = PlannedReplacement.objects.none()
    serializer_class = ReplacementSerializer
    filterset_class = ReplacementFilter
    roles = (Role.ENGINEER,)

    def get_queryset(self) -> QuerySet[PlannedReplacement]:
        programme = get_object_or_404(
            _programmes(organisation_of(self.request)), pk=self.kwargs["programme_id"]
        )
        return _replacements(programme)


class LockInputSerializer(serializers.Serializer[PlannedReplacement]):
    """The year to lock to, empty for none of the programme's, and why."""

    year = serializers.IntegerField(allow_null=True)
    reason = serializers.CharField()


class ReplacementLock(APIView):
    """A person's word on one position, which choosing the years keeps."""

    roles = (Role.ENGINEER,)

    @extend_schema(request=LockInputSerializer, responses=ReplacementSerializer)
    def post(self, request: Request, programme_id: int, planned_id: int) -> Response:
        """Lock a position to a year or to none; a lock before it is replaced."""
        planned = self._planned(request, programme_id, planned_id)
        sent = LockInputSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        values = sent.validated_data
        lock_replacement(
            planned=planned,
            year=values["year"],
            reason=values["reason"],
            by=cast("User", request.user),
        )
        return self._shown(request, programme_id, planned_id)

    @extend_schema(responses={HTTPStatus.OK: ReplacementSerializer})
    def delete(self, request: Request, programme_id: int, planned_id: int) -> Response:
        """Let choosing decide about the position again."""
        planned = self._planned(request, programme_id, planned_id)
        unlock_replacement(planned=planned, by=cast("User", request.user))
        return self._shown(request, programme_id, planned_id)

    def _planned(
        self, request: Request, programme_id: int, planned_id: int
    ) -> PlannedReplacement:
        programme = get_object_or_404(_programmes(organisation_of(request)), pk=programme_id)
        return get_object_or_404(_replacements(programme), pk=planned_id)

    def _shown(self, request: Request, programme_id: int, planned_id: int) -> Response:
        planned = self._planned(request, programme_id, planned_id)
        return Response(ReplacementSerializer(planned).data)


def _programmes(organisation: Organisation) -> QuerySet[Programme]:
    rows: QuerySet[Programme] = Programme.objects.owned_by(organisation)
    return rows.select_related("work_basis")


def _replacements(programme: Programme) -> QuerySet[PlannedReplacement]:
    rows = PlannedReplacement.objects.filter(programme=programme)
    return rows.select_related("position__support__road").order_by(
        models.F("year").asc(nulls_last=True), "safety_class", "position"
    )
