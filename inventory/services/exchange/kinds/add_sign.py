"""A sign that is not on record, as far as the crew that found it knows it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.models import ColourArea, Position, Road, Sign, Support
from inventory.models.places import Mount
from inventory.services.exchange import shapes
from inventory.services.exchange.content import MOST_ACCURACY_M
from inventory.services.new_signs import (
    FULL_CIRCLE_DEG,
    LARGEST_SIDE_IN,
    MOST_COLOURS,
    NewSupport,
    SeenColour,
    add_unknown_sign,
)

if TYPE_CHECKING:
    from inventory.services.exchange.content import Content
    from inventory.services.exchange.context import Context

LONGEST_CODE = Sign._meta.get_field("sign_code").max_length or 0
LONGEST_LEGEND = Position._meta.get_field("legend_text").max_length or 0
LONGEST_COLOUR = ColourArea._meta.get_field("color").max_length or 0
LONGEST_SHEETING = ColourArea._meta.get_field("sheeting_type").max_length or 0
LONGEST_SUPPORT_TYPE = Support._meta.get_field("support_type").max_length or 0
LONGEST_SIDE = Support._meta.get_field("side").max_length or 0
LONGEST_LABEL = 40
LONGEST_NOTE = 255
MOST_ORDER = 99


def apply(content: Content, context: Context) -> dict[str, Any]:
    """Put the sign on record, flagged for an engineer; what was left empty is not known."""
    payload = content.payload
    sign = add_unknown_sign(
        organisation=context.organisation,
        support=_support(payload.get("support"), context),
        sign_code=_text(payload, "sign_code", LONGEST_CODE),
        variant=_text(payload, "variant", LONGEST_CODE),
        legend_text=_text(payload, "legend_text", LONGEST_LEGEND),
        width_in=_side(payload, "width_in"),
        height_in=_side(payload, "height_in"),
        facing_deg=shapes.number_or_none(
            payload, "facing_deg", least=0.0, most=FULL_CIRCLE_DEG
        ),
        mount=shapes.choice(payload, "mount", Mount.values, default=""),
        order_on_support=shapes.whole_or_none(
            payload, "order_on_support", least=1, most=MOST_ORDER
        ),
        colours=[
            SeenColour(
                part=shapes.choice(each, "part", ColourArea.Part.values),
                color=_text(each, "color", LONGEST_COLOUR),
                sheeting_type=_text(each, "sheeting_type", LONGEST_SHEETING),
                optics=shapes.choice(
                    each,
                    "optics",
                    ["", *ColourArea.Optics.values],
                    default=ColourArea.Optics.UNKNOWN.value,
                ),
            )
            for each in shapes.mappings(payload, "colours", most=MOST_COLOURS, default=[])
        ],
        label_id=_text(payload, "label_id", LONGEST_LABEL),
        note=_text(payload, "note", LONGEST_NOTE),
        by=context.person,
        seen_at=context.at,
        now=context.now,
    )
    place = Position.objects.get(signs=sign)
    return {"support_id": place.support_id, "position_id": place.pk, "sign_id": sign.pk}


def _support(ref: Any, context: Context) -> Support | NewSupport:
    """Return the support it stands on: one on record, or a new one at a point."""
    if not isinstance(ref, dict) or "new" not in ref:
        return context.resolve(ref, Support, "support")
    new = shapes.mapping(ref, "new")
    road: Road | None = None
    if new.get("road_id") is not None:
        road = context.resolve({"id": new["road_id"]}, Road, "road_id")
    return NewSupport(
        latitude_deg=shapes.number(new, "latitude_deg", least=-90.0, most=90.0),
        longitude_deg=shapes.number(new, "longitude_deg", least=-180.0, most=180.0),
        accuracy_m=shapes.number_or_none(new, "accuracy_m", least=0.0, most=MOST_ACCURACY_M),
        support_type=_text(new, "support_type", LONGEST_SUPPORT_TYPE),
        side=_text(new, "side", LONGEST_SIDE),
        road=road,
    )


def _text(of: dict[str, Any], name: str, most: int) -> str:
    return shapes.text(of, name, most=most, default="")


def _side(payload: dict[str, Any], name: str) -> float | None:
    return shapes.number_or_none(payload, name, least=0.0, most=LARGEST_SIDE_IN)
