"""Two crews on one sign: both facts are kept; what contradicts is settled by an engineer."""

from __future__ import annotations

import pytest

from inventory.errors import OutOfRangeError
from inventory.models import DeviceOperation, Inspection, Sign, StopResult, SupportMove
from inventory.services.exchange.settling import open_operations, settle_operation
from inventory.services.exchange.showing import show, versions_of
from inventory.services.installation import install_sign
from inventory.services.work_packages import WantedStop, hand_out, make_package
from tests.factories import NOW, make_agency, make_person, make_sign, make_support, position_of
from tests.races import at_once
from tests.services.exchange.phones import Phone, only, readings_of, said

LABELS = ["000-01Y", "001-0JK"]
HELD = ("held", "conflict")


@pytest.fixture
def agency():
    return make_agency()


def faces_for(agency):
    return [
        Sign.objects.create(
            owner=agency,
            state=Sign.State.IN_STOCK,
            sign_code="R1-1",
            width_in=30.0,
            height_in=30.0,
            label_id=label,
        )
        for label in LABELS
    ]


def install(phone, old, label, **payload):
    return phone.record(
        "install",
        {
            "position": {"id": old.position_id},
            "face": {"label": label},
            "installed_on": NOW.date().isoformat(),
            "replaces": {"id": old.pk},
            "removal_reason": "below_level",
            **payload,
        },
    )


def the_held_one():
    return DeviceOperation.objects.select_related("organisation").get(state="held")


@pytest.mark.django_db
def test_what_both_crews_read_is_kept(agency):
    sign = make_sign(agency)
    for white, red in (("60", "12"), ("58", "11")):
        phone = Phone(agency)
        phone.record("inspection", readings_of({"id": sign.pk}, white, red))
        assert said(phone.send()) == [("applied", "")]
    assert Inspection.objects.filter(sign=sign).count() == 2


@pytest.mark.django_db
def test_the_second_face_is_held_with_both_versions(agency):
    old = make_sign(agency)
    first, second = faces_for(agency)
    crews = [Phone(agency), Phone(agency)]
    for crew, label in zip(crews, LABELS, strict=True):
        install(crew, old, label)
    assert said(crews[0].send()) == [("applied", "")]
    assert said(crews[1].send()) == [HELD]
    held = the_held_one()
    (shown,) = show([held], agency)
    assert shown.kind == "Face put up"
    assert shown.sign == first
    versions = versions_of(shown, agency)
    assert versions is not None
    rows = {name: (ours, theirs) for name, ours, theirs in versions.rows}
    assert rows["Face in this place"] == (
        f"{first}, label {LABELS[0]}",
        f"{second}, label {LABELS[1]}",
    )
    assert rows["Put up on"] == ("2026-06-01", "2026-06-01")
    assert str(crews[0].user) in rows["Recorded by"][0]
    assert str(crews[1].user) in rows["Recorded by"][1]


@pytest.mark.django_db
def test_the_engineer_keeps_what_stands_or_applies_the_other(agency):
    old = make_sign(agency)
    first, second = faces_for(agency)
    crews = [Phone(agency), Phone(agency), Phone(agency)]
    for crew, label in zip(crews, [*LABELS, LABELS[1]], strict=True):
        install(crew, old, label)
        crew.send()
    engineer = make_person(agency)
    keep, put = open_operations(agency).order_by("pk")
    settle_operation(
        operation=keep, decision="discard", reason="the first stands", by=engineer, now=NOW
    )
    assert Sign.objects.get(position=position_of(old), state="installed") == first
    settle_operation(
        operation=put, decision="apply", reason="seen from the road", by=engineer, now=NOW
    )
    assert Sign.objects.get(position=position_of(old), state="installed") == second
    first.refresh_from_db()
    assert first.state == "removed"
    assert not open_operations(agency).exists()
    # The phone learns of it when it asks.
    assert only(crews[2].send()).answer == "already_applied"


@pytest.mark.django_db
def test_what_hangs_on_a_held_face_waits_with_it_and_goes_nowhere_else(agency):
    old = make_sign(agency)
    faces_for(agency)
    crews = [Phone(agency), Phone(agency)]
    install(crews[0], old, LABELS[0])
    crews[0].send()
    put_up = install(crews[1], old, LABELS[1])
    crews[1].note(old)  # of the sign itself: that does not wait
    crews[1].record("inspection", readings_of({"operation": put_up.client_uuid}, "400", "80"))
    assert said(crews[1].send()) == [HELD, ("applied", ""), ("held", "waits")]
    settle_operation(operation=open_operations(agency).get(code="conflict"), decision="apply",
                     reason="it stands", by=None, now=NOW)  # fmt: skip
    assert Inspection.objects.get(how="hand_held").sign.label_id == LABELS[1]


@pytest.mark.django_db
def test_a_decision_says_why(agency):
    old = make_sign(agency)
    faces_for(agency)
    for label in LABELS:
        crew = Phone(agency)
        install(crew, old, label)
        crew.send()
    with pytest.raises(OutOfRangeError, match="Say in a few words why"):
        settle_operation(
            operation=the_held_one(), decision="discard", reason=" ", by=None, now=NOW
        )


@pytest.mark.django_db
def test_a_stop_is_done_by_an_operation_and_once(agency):
    package = make_package(
        organisation=agency,
        title="North round",
        work_on=NOW.date(),
        stops=[WantedStop(position_of(make_sign(agency)), "read")],
        now=NOW,
    )
    hand_out(package=package, now=NOW)
    stop, phone = package.stops.get(), Phone(agency)
    phone.record("stop", {"stop_id": stop.pk, "outcome": "done", "reason": ""})
    phone.record("stop", {"stop_id": stop.pk, "outcome": "not_done", "reason": ""})
    phone.record("stop", {"stop_id": 10**9, "outcome": "done"})
    assert [answer for answer, _code in said(phone.send())] == ["applied", "refused", "refused"]
    phone.send()
    result = StopResult.objects.get()
    assert (result.stop, result.outcome, result.person) == (stop, "done", phone.user)


# --- at the same moment ----------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_two_crews_who_send_at_once_put_one_face_up_and_one_waits():
    agency = make_agency()
    old = make_sign(agency)
    faces_for(agency)
    crews = [Phone(agency), Phone(agency)]
    for crew, label in zip(crews, LABELS, strict=True):
        install(crew, old, label)
    assert at_once(*[crew.send for crew in crews]) == [None, None]
    states = sorted(DeviceOperation.objects.values_list("state", "code"))
    assert states == [("applied", ""), HELD]
    assert Sign.objects.filter(position=position_of(old), state="installed").count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_crew_at_the_desk_and_one_on_the_phone_put_one_face_up():
    agency = make_agency()
    old = make_sign(agency)
    first, _second = faces_for(agency)
    phone = Phone(agency)
    install(phone, old, LABELS[1])
    at_once(
        phone.send,
        lambda: install_sign(
            sign=first,
            position=position_of(old),
            installed_on=NOW.date(),
            replaces=old,
            removal_reason="faded",
            now=NOW,
        ),
    )
    assert Sign.objects.filter(position=position_of(old), state="installed").count() == 1
    operation = DeviceOperation.objects.get()
    standing = Sign.objects.get(position=position_of(old), state="installed")
    # Whoever came second was told: the phone by being held, the desk by a refusal.
    assert (operation.state == "applied") == (standing.label_id == LABELS[1])


@pytest.mark.django_db(transaction=True)
def test_one_post_moved_by_two_crews_at_once_keeps_both_points():
    agency = make_agency()
    support = make_support(agency)
    crews = [Phone(agency), Phone(agency)]
    for crew, latitude_deg in zip(crews, (43.0001, 43.0002), strict=True):
        crew.record(
            "move_support",
            {"support": {"id": support.pk}, "latitude_deg": latitude_deg,
             "longitude_deg": -89.5, "accuracy_m": 5.0, "reason": ""},
        )  # fmt: skip
    assert at_once(*[crew.send for crew in crews]) == [None, None]
    moves = list(SupportMove.objects.order_by("pk"))
    assert len(moves) == 2
    assert moves[1].from_latitude_deg == moves[0].to_latitude_deg
    support.refresh_from_db()
    assert support.latitude_deg == moves[1].to_latitude_deg


@pytest.mark.django_db(transaction=True)
def test_two_engineers_who_decide_at_once_decide_once():
    agency = make_agency()
    old = make_sign(agency)
    faces_for(agency)
    for label in LABELS:
        crew = Phone(agency)
        install(crew, old, label)
        crew.send()
    held = the_held_one()
    outcomes = at_once(
        lambda: settle_operation(
            operation=held, decision="apply", reason="it stands", by=None, now=NOW
        ),
        lambda: settle_operation(
            operation=held, decision="discard", reason="it does not", by=None, now=NOW
        ),
    )
    assert sorted(type(each).__name__ for each in outcomes) == [
        "NoneType",
        "StateConflictError",
    ]
    assert Sign.objects.filter(position=position_of(old), state="installed").count() == 1
