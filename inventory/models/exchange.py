"""What phones send: every action as an operation, kept as it was sent and applied once."""

import uuid

from django.db import models
from django.db.models import F, Q

from inventory.models.inspection import Photo
from inventory.models.people import Organisation, User
from inventory.models.places import Support
from inventory.models.scope import Fact, Scoped
from inventory.models.signs import Sign


class ExchangeEpoch(models.Model):
    """A stretch of this database's life; a new one begins when a backup was restored."""

    epoch = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    began_at = models.DateTimeField()
    reason = models.CharField(max_length=255)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"epoch {self.epoch} from {self.began_at:%Y-%m-%d %H:%M}"


class Device(Scoped):
    """A phone that records for an organisation; it sends with a key of its own."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="devices"
    )
    device_uuid = models.UUIDField(unique=True)
    name = models.CharField(max_length=80, blank=True)
    key_sha256 = models.CharField(max_length=64, help_text="Of the key the phone was given.")
    app_version = models.CharField(max_length=40, blank=True)
    registered_at = models.DateTimeField()
    last_heard_at = models.DateTimeField()
    last_skew_s = models.FloatField(
        null=True, blank=True, help_text="Server's clock minus the phone's when it last sent."
    )
    is_withdrawn = models.BooleanField(
        default=False, help_text="Lost or handed back: what it sends waits for an engineer."
    )

    class Meta:
        ordering = ("organisation", "-last_heard_at", "-pk")
        indexes = (
            models.Index(
                fields=("organisation", "-last_heard_at", "-id"), name="device_by_org_heard"
            ),
        )

    def __str__(self) -> str:
        return self.name or f"phone {str(self.device_uuid)[:8]}"


class DevicePerson(models.Model):
    """A person who signed in on a phone: whose name it may put to what it sends."""

    device = models.ForeignKey(Device, on_delete=models.CASCADE, related_name="people")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="devices")
    signed_in_at = models.DateTimeField()

    class Meta:
        ordering = ("device", "user")
        constraints = (
            models.UniqueConstraint(fields=("device", "user"), name="device_person_once"),
        )

    def __str__(self) -> str:
        return f"{self.user} on {self.device}"


class DeviceBatch(Fact):
    """One sending of a phone, with the clock it had then."""

    device = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="batches")
    sent_at = models.DateTimeField(help_text="By the phone's clock.")
    received_at = models.DateTimeField(help_text="By the server's clock.")
    skew_s = models.FloatField(help_text="Received minus sent; over 300 s it is flagged.")
    app_version = models.CharField(max_length=40, blank=True)

    reader_paths = {"owner": "device__organisation"}

    class Meta:
        ordering = ("device", "-received_at", "-pk")

    def __str__(self) -> str:
        return f"batch of {self.device} at {self.received_at:%Y-%m-%d %H:%M}"


class DeviceOperation(Scoped):
    """
    One action of a person on a phone: applied exactly once, or kept until a person settles it.

    What was sent never changes; its state does.
    """

    class State(models.TextChoices):
        APPLIED = "applied", "applied"
        HELD = "held", "held"
        REFUSED = "refused", "refused"
        DISCARDED = "discarded", "discarded"

    class Identified(models.TextChoices):
        UNKNOWN = "", "not recorded"
        NEAREST = "nearest", "picked from the signs near the phone"
        MAP = "map", "picked on the map"
        LABEL = "label", "label scanned"
        TYPED = "typed", "id typed"
        PACKAGE = "package", "stop of a work package"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="device_operations"
    )
    device = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="operations")
    batch = models.ForeignKey(DeviceBatch, on_delete=models.PROTECT, related_name="operations")
    client_uuid = models.UUIDField(unique=True)
    sequence = models.PositiveBigIntegerField(help_text="The phone's own count, from 1.")
    kind = models.CharField(max_length=24)
    content = models.TextField(help_text="The text that was sent; never changed.")
    content_sha256 = models.CharField(max_length=64)
    device_at = models.DateTimeField(help_text="By the phone's clock, as it was.")
    device_offset_minutes = models.SmallIntegerField(default=0)
    corrected_at = models.DateTimeField(
        help_text="The same moment by the server's clock, where the phone's was out."
    )
    is_clock_flagged = models.BooleanField(default=False)
    person = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    app_version = models.CharField(max_length=40, blank=True)
    base_version = models.CharField(
        max_length=64, blank=True, help_text="Of what it changes, as the phone knew it."
    )
    identified_by = models.CharField(max_length=8, choices=Identified, blank=True, default="")
    fix_latitude_deg = models.FloatField(null=True, blank=True)
    fix_longitude_deg = models.FloatField(null=True, blank=True)
    fix_accuracy_m = models.FloatField(null=True, blank=True)
    candidate_count = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Signs within the phone's accuracy when it was picked."
    )
    replaces_uuid = models.UUIDField(
        null=True, blank=True, help_text="The refused operation this one puts right."
    )
    received_at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=State)
    code = models.CharField(max_length=40, blank=True, help_text="Why it waits or was refused.")
    sentence = models.TextField(blank=True)
    result = models.JSONField(default=dict, blank=True)
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    settled_reason = models.CharField(max_length=255, blank=True, default="")

    class Meta:
        ordering = ("organisation", "-received_at", "-pk")
        indexes = (
            models.Index(
                fields=("organisation", "state", "-received_at", "-id"),
                name="operation_by_state",
            ),
            models.Index(
                fields=("organisation", "-settled_at", "-id"),
                condition=Q(settled_at__isnull=False),
                name="operation_settled",
            ),
            models.Index(fields=("device", "sequence"), name="operation_by_sequence"),
            models.Index(
                fields=("replaces_uuid",),
                condition=Q(replaces_uuid__isnull=False),
                name="operation_by_replaced",
            ),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(settled_at__isnull=True, settled_reason="")
                | (Q(settled_at__isnull=False) & ~Q(settled_reason="")),
                name="operation_settled_with_reason",
            ),
            models.CheckConstraint(
                condition=Q(replaces_uuid__isnull=True) | ~Q(replaces_uuid=F("client_uuid")),
                name="operation_replaces_another",
            ),
        )

    def __str__(self) -> str:
        return f"{self.kind} {self.client_uuid}"


class OperationNeed(models.Model):
    """An operation that another one waits for, named by the phone."""

    operation = models.ForeignKey(
        DeviceOperation, on_delete=models.CASCADE, related_name="needs"
    )
    needed_uuid = models.UUIDField(db_index=True)

    class Meta:
        ordering = ("operation", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("operation", "needed_uuid"), name="operation_need_once"
            ),
        )

    def __str__(self) -> str:
        return f"operation {self.operation_id} needs {self.needed_uuid}"


class PhotoUpload(Scoped):
    """A photo an operation announced; its bytes come apart, in pieces, and are checked."""

    class State(models.TextChoices):
        ANNOUNCED = "announced", "announced"
        STORED = "stored", "stored"
        REFUSED = "refused", "refused"
        SET_ASIDE = "set_aside", "set aside"

    operation = models.ForeignKey(
        DeviceOperation, on_delete=models.PROTECT, related_name="photo_uploads"
    )
    client_uuid = models.UUIDField(unique=True)
    role = models.CharField(max_length=8, help_text="seen, before or after.")
    caption = models.CharField(max_length=255, blank=True)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    received_bytes = models.PositiveBigIntegerField(default=0)
    state = models.CharField(max_length=10, choices=State, default=State.ANNOUNCED)
    sentence = models.TextField(blank=True)
    photo = models.OneToOneField(
        Photo, null=True, blank=True, on_delete=models.PROTECT, related_name="upload"
    )

    reader_paths = {"owner": "operation__organisation"}

    class Meta:
        ordering = ("operation", "pk")
        indexes = (
            models.Index(
                fields=("operation",), condition=Q(state="refused"), name="upload_refused"
            ),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(received_bytes__lte=F("size_bytes")),
                name="upload_not_longer_than_announced",
            ),
        )

    def __str__(self) -> str:
        return f"photo {self.client_uuid} of operation {self.operation_id}"


class SupportMove(Fact):
    """A support's point put right by a person on the spot; the point it had stays on record."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="support_moves"
    )
    support = models.ForeignKey(Support, on_delete=models.PROTECT, related_name="moves")
    from_latitude_deg = models.FloatField()
    from_longitude_deg = models.FloatField()
    from_accuracy_m = models.FloatField(null=True, blank=True)
    to_latitude_deg = models.FloatField()
    to_longitude_deg = models.FloatField()
    to_accuracy_m = models.FloatField(null=True, blank=True)
    reason = models.CharField(max_length=255, blank=True)
    moved_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    moved_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("support", "-recorded_at", "-pk")

    def __str__(self) -> str:
        return f"move of {self.support} at {self.moved_at:%Y-%m-%d}"


class WrongDataFlag(Fact):
    """A person at the sign says that something on record about it is not so."""

    class Field(models.TextChoices):
        CODE = "code", "the code or legend"
        SIZE = "size", "the size"
        PLACE = "place", "where it stands"
        FACING = "facing", "which way it faces"
        SHEETING = "sheeting", "sheeting or colours"
        DATES = "dates", "a date"
        LABEL = "label", "the label"
        OTHER = "other", "something else"
        ADDED = "added", "added by a crew, not on record before"

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="wrong_data_flags"
    )
    client_uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    sign = models.ForeignKey(Sign, on_delete=models.PROTECT, related_name="wrong_data_flags")
    field = models.CharField(max_length=10, choices=Field)
    said = models.CharField(max_length=255)
    seen_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    raised_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("organisation", "-recorded_at", "-pk")
        indexes = (
            models.Index(
                fields=("organisation", "-recorded_at", "-id"), name="wrong_data_by_org_time"
            ),
        )
        constraints = (
            models.CheckConstraint(condition=~Q(said=""), name="wrong_data_says_what"),
        )

    def __str__(self) -> str:
        return f"{self.get_field_display()} of sign {self.sign_id}: {self.said}"


class WrongDataSettlement(Fact):
    """What a person did about data said to be wrong."""

    flag = models.OneToOneField(
        WrongDataFlag, on_delete=models.PROTECT, related_name="settlement"
    )
    reason = models.CharField(max_length=255)
    settled_at = models.DateTimeField()
    settled_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    reader_paths = {"owner": "flag__organisation"}

    class Meta:
        ordering = ("settled_at", "pk")
        constraints = (
            models.CheckConstraint(
                condition=~Q(reason=""), name="wrong_data_settled_with_reason"
            ),
        )

    def __str__(self) -> str:
        return f"settled: {self.flag}"
