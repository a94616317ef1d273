"""Orders between an agency and its shop; each party reads its own columns."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, cast

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import generics, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.api.filters import OrderFilter
from inventory.api.permissions import organisation_of
from inventory.models import (
    FaceReceipt,
    OrderLine,
    OrderQuestion,
    PrintOrder,
    Role,
    Shipment,
    ShipmentFace,
)
from inventory.models.scope import ALL_COLUMNS
from inventory.services.ordering import order_counts
from inventory.services.ordering.accepting import (
    MOST_LETTERS,
    accept_order,
    answer_question,
    ask_about,
)
from inventory.services.ordering.shipping import Found, receive_faces, ship_faces

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from rest_framework.request import Request

    from inventory.models import User

PARTS_OPEN_TO_BOTH = {"id", "lines", "counts"}
MOST_FACES = 1_000
MOST_NOTE = 200


class OrderLineSerializer(serializers.ModelSerializer[OrderLine]):
    position_id = serializers.IntegerField(allow_null=True)
    replaces_id = serializers.IntegerField(allow_null=True)

    class Meta:
        model = OrderLine
        fields = (
            "number",
            "position_id",
            "replaces_id",
            "sign_code",
            "variant",
            "legend_text",
            "is_custom_legend",
            "shape",
            "width_in",
            "height_in",
            "quantity",
            "sheeting_type",
            "optics",
            "base_color",
            "background_color",
            "legend_color",
            "secondary_color",
            "reason",
        )


class OrderSerializer(serializers.ModelSerializer[PrintOrder]):
    agency_id = serializers.IntegerField()
    shop_id = serializers.IntegerField()

    class Meta:
        model = PrintOrder
        fields: tuple[str, ...] = (
            "id",
            "number",
            "title",
            "state",
            "agency_id",
            "shop_id",
            "drafted_at",
            "needed_by_on",
            "released_at",
            "press_rate_ft2_per_h",
            "accepted_at",
            "promised_on",
        )

    def to_representation(self, instance: PrintOrder) -> dict[str, Any]:
        shown: dict[str, Any] = super().to_representation(instance)
        organisation = organisation_of(self.context["request"])
        part = "owner" if instance.agency_id == organisation.pk else "counterparty"
        columns = PrintOrder.reader_columns[part]
        if columns == ALL_COLUMNS:
            return shown
        open_names = {*columns, *PARTS_OPEN_TO_BOTH}
        return {name: value for name, value in shown.items() if name in open_names}


class CountsSerializer(serializers.Serializer[PrintOrder]):
    """How many faces of an order have come how far; ``lost`` never were put up."""

    ordered = serializers.IntegerField()
    printed = serializers.IntegerField()
    checked = serializers.IntegerField()
    labelled = serializers.IntegerField()
    shipped = serializers.IntegerField()
    received = serializers.IntegerField()
    in_stock = serializers.IntegerField()
    installed = serializers.IntegerField()
    lost = serializers.IntegerField()
    outstanding = serializers.IntegerField()


class OrderWithLinesSerializer(OrderSerializer):
    lines = OrderLineSerializer(many=True)
    counts = serializers.SerializerMethodField()

    class Meta(OrderSerializer.Meta):
        fields = (*OrderSerializer.Meta.fields, "lines", "counts")

    @extend_schema_field(CountsSerializer)
    def get_counts(self, order: PrintOrder) -> dict[str, int]:
        """Return how far the order's faces are."""
        counts = order_counts([order])[order.pk]
        return {**asdict(counts), "outstanding": counts.outstanding}


class AcceptSerializer(serializers.Serializer[PrintOrder]):
    promised_on = serializers.DateField(help_text="When the last face leaves the shop.")


class TextSerializer(serializers.Serializer[OrderQuestion]):
    text = serializers.CharField(max_length=MOST_LETTERS)


class QuestionSerializer(serializers.ModelSerializer[OrderQuestion]):
    """A question of one party, and the other's answer; an empty one is still to come."""

    answer = serializers.SerializerMethodField()
    answered_at = serializers.SerializerMethodField()

    class Meta:
        model = OrderQuestion
        fields = ("id", "text", "asked_at", "is_by_shop", "answer", "answered_at")

    @extend_schema_field(serializers.CharField())
    def get_answer(self, question: OrderQuestion) -> str:
        """Return the answer's text, or nothing."""
        answer = getattr(question, "answer", None)
        return "" if answer is None else answer.text

    @extend_schema_field(serializers.DateTimeField(allow_null=True))
    def get_answered_at(self, question: OrderQuestion) -> Any:
        """Return when it was answered."""
        answer = getattr(question, "answer", None)
        return None if answer is None else answer.answered_at


class ShipSerializer(serializers.Serializer[Shipment]):
    signs = serializers.ListField(
        child=serializers.IntegerField(),
        min_length=1,
        max_length=MOST_FACES,
        help_text="The faces' numbers, as the shop's stock has them.",
    )
    note = serializers.CharField(max_length=255, default="", allow_blank=True)


class ShippedFaceSerializer(serializers.ModelSerializer[ShipmentFace]):
    """A face of a shipment; ``outcome`` is empty until it was looked at on arrival."""

    sign_id = serializers.IntegerField()
    label_id = serializers.CharField(source="sign.label_id", allow_null=True)
    sign_code = serializers.CharField(source="sign.sign_code")
    outcome = serializers.SerializerMethodField()
    note = serializers.SerializerMethodField()

    class Meta:
        model = ShipmentFace
        fields = ("sign_id", "label_id", "sign_code", "outcome", "note")

    @extend_schema_field(serializers.CharField())
    def get_outcome(self, face: ShipmentFace) -> str:
        """Return what was found, or nothing."""
        receipt = getattr(face, "receipt", None)
        return "" if receipt is None else receipt.outcome

    @extend_schema_field(serializers.CharField())
    def get_note(self, face: ShipmentFace) -> str:
        """Return what was said of it, or nothing."""
        receipt = getattr(face, "receipt", None)
        return "" if receipt is None else receipt.note


class ShipmentSerializer(serializers.ModelSerializer[Shipment]):
    class Meta:
        model = Shipment
        fields = ("id", "number", "shipped_at", "note")


class FoundSerializer(serializers.Serializer[FaceReceipt]):
    sign_id = serializers.IntegerField()
    outcome = serializers.ChoiceField(choices=FaceReceipt.Outcome.choices)
    note = serializers.CharField(max_length=MOST_NOTE, default="", allow_blank=True)


class ReceiveSerializer(serializers.Serializer[Shipment]):
    """What was found of faces of a shipment; each is told of once."""

    faces = FoundSerializer(many=True, allow_empty=False)

    def validate_faces(self, faces: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """Refuse too many faces at once, and one that is told of twice."""
        if len(faces) > MOST_FACES:
            msg = f"{len(faces):,} faces at once; send up to {MOST_FACES:,}."
            raise serializers.ValidationError(msg)
        twice = [key for key, n in Counter(each["sign_id"] for each in faces).items() if n > 1]
        if twice:
            msg = f"Face {min(twice)} is told of twice; tell of each once."
            raise serializers.ValidationError(msg)
        return faces


class OrderViewSet(viewsets.ReadOnlyModelViewSet[PrintOrder]):
    """Orders the organisation placed or took."""

    queryset = PrintOrder.objects.none()
    serializer_class = OrderSerializer
    filterset_class = OrderFilter
    roles = (Role.ENGINEER, Role.SHOP)

    def get_serializer_class(self) -> type[OrderSerializer]:
        return OrderWithLinesSerializer if self.action == "retrieve" else OrderSerializer

    def get_queryset(self) -> QuerySet[PrintOrder]:
        orders = PrintOrder.objects.readable_by(organisation_of(self.request))
        if self.action == "retrieve":
            orders = orders.prefetch_related("lines")
        return orders.order_by("-drafted_at", "pk")

    @extend_schema(
        request=AcceptSerializer, responses={HTTPStatus.OK: OrderWithLinesSerializer}
    )
    @action(detail=True, methods=["post"], roles=(Role.SHOP,))
    def accept(self, request: Request, pk: Any = None) -> Response:
        """Accept the order for a day, or promise another one; the shop's to do."""
        order = self.get_object()
        sent = AcceptSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        accept_order(order=order, by=cast("User", request.user), **sent.validated_data)
        return self._shown(order)

    @extend_schema(request=TextSerializer, responses={HTTPStatus.CREATED: QuestionSerializer})
    @action(detail=True, methods=["post"])
    def ask(self, request: Request, pk: Any = None) -> Response:
        """Ask the other party about the order."""
        order = self.get_object()
        sent = TextSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        question = ask_about(
            order=order,
            asker=organisation_of(request),
            by=cast("User", request.user),
            **sent.validated_data,
        )
        return Response(QuestionSerializer(question).data, status=HTTPStatus.CREATED)

    @extend_schema(request=ShipSerializer, responses={HTTPStatus.CREATED: ShipmentSerializer})
    @action(detail=True, methods=["post"], roles=(Role.SHOP,))
    def ship(self, request: Request, pk: Any = None) -> Response:
        """Let faces in stock leave the shop together; sent again, it is refused."""
        order = self.get_object()
        sent = ShipSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        shipment = ship_faces(order=order, by=cast("User", request.user), **sent.validated_data)
        return Response(ShipmentSerializer(shipment).data, status=HTTPStatus.CREATED)

    def _shown(self, order: PrintOrder) -> Response:
        found = self.get_queryset().prefetch_related("lines").get(pk=order.pk)
        shown = OrderWithLinesSerializer(found, context=self.get_serializer_context())
        return Response(shown.data)


class QuestionList(generics.ListAPIView[OrderQuestion]):
    """The questions about an order, oldest first, with their answers."""

    serializer_class = QuestionSerializer
    queryset = OrderQuestion.objects.none()
    roles = (Role.ENGINEER, Role.SHOP)

    def get_queryset(self) -> QuerySet[OrderQuestion]:
        order = _order_of(self.request, self.kwargs["pk"])
        return order.questions.select_related("answer").order_by("asked_at", "pk")


class AnswerView(APIView):
    """Answer a question of the other party."""

    roles = (Role.ENGINEER, Role.SHOP)

    @extend_schema(request=TextSerializer, responses={HTTPStatus.CREATED: QuestionSerializer})
    def post(self, request: Request, pk: int, question_id: int) -> Response:
        order = _order_of(request, pk)
        question = get_object_or_404(OrderQuestion, order=order, pk=question_id)
        sent = TextSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        answer_question(
            question=question,
            answerer=organisation_of(request),
            by=cast("User", request.user),
            **sent.validated_data,
        )
        question = OrderQuestion.objects.select_related("answer").get(pk=question.pk)
        return Response(QuestionSerializer(question).data, status=HTTPStatus.CREATED)


class ShipmentList(generics.ListAPIView[Shipment]):
    """The shipments of an order, first to last."""

    serializer_class = ShipmentSerializer
    queryset = Shipment.objects.none()
    roles = (Role.ENGINEER, Role.CREW, Role.SHOP)

    def get_queryset(self) -> QuerySet[Shipment]:
        order = _order_of(self.request, self.kwargs["pk"])
        return order.shipments.order_by("number")


class ShipmentFaceList(generics.ListAPIView[ShipmentFace]):
    """The faces of a shipment, with what was found of each on arrival."""

    serializer_class = ShippedFaceSerializer
    queryset = ShipmentFace.objects.none()
    roles = (Role.ENGINEER, Role.CREW, Role.SHOP)

    def get_queryset(self) -> QuerySet[ShipmentFace]:
        shipment = _shipment_of(self.request, self.kwargs["pk"])
        return shipment.faces.select_related("sign", "receipt").order_by("pk")


class ReceiveView(APIView):
    """Tell what arrived of a shipment; whole faces are the agency's stock from then on."""

    roles = (Role.ENGINEER, Role.CREW)

    @extend_schema(request=ReceiveSerializer, responses={HTTPStatus.OK: ShipmentSerializer})
    def post(self, request: Request, pk: int) -> Response:
        shipment = _shipment_of(request, pk)
        sent = ReceiveSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        found = {
            each["sign_id"]: Found(each["outcome"], each["note"])
            for each in sent.validated_data["faces"]
        }
        receive_faces(shipment=shipment, found=found, by=cast("User", request.user))
        return Response(ShipmentSerializer(shipment).data)


def _order_of(request: Request, pk: int) -> PrintOrder:
    readable = PrintOrder.objects.readable_by(organisation_of(request))
    order: PrintOrder = get_object_or_404(readable, pk=pk)
    return order


def _shipment_of(request: Request, pk: int) -> Shipment:
    readable = Shipment.objects.readable_by(organisation_of(request))
    shipment: Shipment = get_object_or_404(readable.select_related("order"), pk=pk)
    return shipment
