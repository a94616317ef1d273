"""Roads, supports, and the places on them that each hold one sign."""

from django.db import models
from django.db.models import F, Q

from inventory.models.people import Organisation
from inventory.models.scope import Scoped


class RoadClass(models.TextChoices):
    """The road classes by which the published size tables are split."""

    UNKNOWN = "", "not known"
    CONVENTIONAL_SINGLE = "conventional_single_lane", "conventional, single lane"
    CONVENTIONAL_MULTI = "conventional_multi_lane", "conventional, multi-lane"
    EXPRESSWAY = "expressway", "expressway"
    FREEWAY = "freeway", "freeway"


class Mount(models.TextChoices):
    """The two mounts the level tables tell apart."""

    UNKNOWN = "", "not known"
    POST = "post", "post-mounted"
    OVERHEAD = "overhead", "overhead"


class Road(Scoped):
    """A named road; class and speed may be unknown."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="roads"
    )
    name = models.CharField(max_length=120)
    road_class = models.CharField(max_length=24, choices=RoadClass, blank=True, default="")
    posted_speed_mph = models.PositiveSmallIntegerField(null=True, blank=True)
    line = models.JSONField(
        null=True,
        blank=True,
        help_text="Centre line as [longitude, latitude] pairs, for the map.",
    )

    class Meta:
        ordering = ("organisation", "name", "pk")
        constraints = (
            models.UniqueConstraint(fields=("organisation", "name"), name="road_name_once"),
        )

    def __str__(self) -> str:
        return self.name


class Support(Scoped):
    """A post, pole or structure at a point; it holds one or more positions."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="supports"
    )
    external_key = models.CharField(max_length=120, blank=True)
    latitude_deg = models.FloatField()
    longitude_deg = models.FloatField()
    accuracy_m = models.FloatField(null=True, blank=True)
    cell = models.BigIntegerField(help_text="Level-24 map cell; see engineering.places.cells.")
    road = models.ForeignKey(
        Road, null=True, blank=True, on_delete=models.PROTECT, related_name="supports"
    )
    milepoint_mi = models.FloatField(null=True, blank=True)
    side = models.CharField(max_length=24, blank=True)
    support_type = models.CharField(max_length=40, blank=True)
    post_count = models.PositiveSmallIntegerField(null=True, blank=True)
    district = models.CharField(
        max_length=60, blank=True, help_text="As the agency names it; blank: not known."
    )

    class Meta:
        ordering = ("organisation", "pk")
        indexes = (models.Index(fields=("organisation", "cell"), name="support_by_cell"),)
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "external_key"),
                condition=~Q(external_key=""),
                name="support_key_once",
            ),
            models.CheckConstraint(
                condition=Q(latitude_deg__gte=-90, latitude_deg__lte=90),
                name="support_latitude_on_globe",
            ),
            models.CheckConstraint(
                condition=Q(longitude_deg__gte=-180, longitude_deg__lte=180),
                name="support_longitude_on_globe",
            ),
        )

    def __str__(self) -> str:
        return self.external_key or f"support {self.pk}"


class Position(Scoped):
    """A place for one sign on a support, and what that place asks for."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="positions"
    )
    support = models.ForeignKey(Support, on_delete=models.PROTECT, related_name="positions")
    sign_code = models.CharField(max_length=24, blank=True, help_text="Blank: not known.")
    source_code = models.CharField(
        max_length=48, blank=True, help_text="The code as the source wrote it."
    )
    variant = models.CharField(max_length=24, blank=True, help_text="For example L or R.")
    legend_text = models.CharField(max_length=255, blank=True)
    is_custom_legend = models.BooleanField(default=False)
    width_in = models.FloatField(null=True, blank=True)
    height_in = models.FloatField(null=True, blank=True)
    size_override_reason = models.CharField(max_length=255, blank=True)
    facing_deg = models.FloatField(
        null=True, blank=True, help_text="True bearing the front looks towards."
    )
    mount = models.CharField(max_length=10, choices=Mount, blank=True, default="")
    mounting_height_in = models.FloatField(null=True, blank=True)
    order_on_support = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="1 is the uppermost."
    )
    parent = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="plaques"
    )
    artwork = models.FileField(upload_to="artwork/", blank=True)
    is_retired = models.BooleanField(default=False)

    class Meta:
        ordering = ("organisation", "pk")
        indexes = (models.Index(fields=("organisation", "sign_code"), name="position_by_code"),)
        constraints = (
            models.CheckConstraint(
                condition=Q(facing_deg__isnull=True) | Q(facing_deg__gte=0, facing_deg__lt=360),
                name="position_facing_0_to_360",
            ),
            models.CheckConstraint(
                condition=Q(width_in__isnull=True) | Q(width_in__gt=0),
                name="position_width_positive",
            ),
            models.CheckConstraint(
                condition=Q(height_in__isnull=True) | Q(height_in__gt=0),
                name="position_height_positive",
            ),
            models.CheckConstraint(
                condition=Q(parent__isnull=True) | ~Q(parent=F("id")),
                name="position_not_its_own_parent",
            ),
        )

    def __str__(self) -> str:
        return f"{self.sign_code or 'sign of unknown code'} at {self.support}"
