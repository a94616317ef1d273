"""
New faces checked at the shop, against the minimum of new sheeting.

Outside: white Type I at 0.2° and −4° has to have 70 cd/lx/m² when new (ASTM D4956-01, as quoted
by an unofficial page: see the table's own mark).
"""

from __future__ import annotations

import pytest
from django.urls import reverse

from inventory.engineering.standards.new_sheeting import new_sheeting_minimum
from inventory.engineering.standards.vocabulary import Color
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import ColourArea, FaceCheck, QualityReading, Role, Sign
from inventory.services.ordering import order_progress
from inventory.services.ordering.shipping import Found, faces_to_ship, receive_faces, ship_faces
from inventory.services.production.quality import Seen, check_face, newest_checks, pass_faces
from tests.factories import NOW, make_agency, make_person
from tests.services.test_order_life import World

pytestmark = pytest.mark.django_db


class Printed(World):
    def __init__(self):
        super().__init__()
        self.faces = self.printed()
        # The legend is the white of a Type I sheeting, whose minimum is published.
        ColourArea.objects.filter(sign__in=self.faces, color="white").update(
            sheeting_type="I", colouring="sheeting"
        )


@pytest.fixture
def world(db):
    return Printed()


def test_the_published_minimum_is_what_it_is():
    assert new_sheeting_minimum("I", Color.WHITE, 0.2, -4).minimum_ra_cd_lx_m2 == 70


@pytest.mark.parametrize(
    ("typed", "outcome", "is_passed"),
    [
        (["70", "70"], "met", True),
        (["69.9", "70.1"], "met", True),
        (["69.9"], "below", False),
        (["140", "0.1"], "met", True),
        ([], "none", True),
    ],
)
def test_the_mean_is_held_against_the_minimum(world, typed, outcome, is_passed):
    face = world.faces[0]
    check = check_face(sign=face, seen=Seen(), readings={"white": typed}, now=NOW)
    assert (check.readings, check.is_passed) == (outcome, is_passed)
    assert QualityReading.objects.filter(sign=face).count() == len(typed)
    assert (
        list(
            QualityReading.objects.filter(sign=face)
            .order_by("pk")
            .values_list("typed", flat=True)
        )
        == typed
    )
    face.refresh_from_db()
    assert face.state == (Sign.State.IN_STOCK if is_passed else Sign.State.REMOVED)


def test_a_printed_colour_has_no_minimum_and_is_not_passed_by_one(world):
    face = world.faces[0]
    readings = {"white": ["90"], "red": ["40", "44"]}
    check = check_face(sign=face, seen=Seen(), readings=readings, now=NOW)
    told = {each["color"]: each for each in check.colors}
    assert told["red"]["verdict"] == "not_known"
    assert "printed" in told["red"]["why"]
    assert told["red"]["mean_ra_cd_lx_m2"] == "42.0"
    assert told["white"]["verdict"] == "met"
    assert check.readings == "not_known"  # not met: one colour is not known
    assert check.is_passed


def test_a_face_that_does_not_pass_is_lost_and_printed_again(world):
    face = world.faces[0]
    with pytest.raises(OutOfRangeError, match="Say what is wrong"):
        check_face(sign=face, seen=Seen(is_legend_right=False), now=NOW)
    seen = Seen(is_legend_right=False, note="letters upside down")
    check = check_face(sign=face, seen=seen, now=NOW)
    assert check.lost_ft2 == pytest.approx(30 * 30 / 144)
    face.refresh_from_db()
    assert face.state == Sign.State.REMOVED
    assert sum(line.counts.outstanding for line in order_progress(world.order)) == 1
    assert face.pk not in {sign.pk for sign in faces_to_ship(world.order)}
    with pytest.raises(StateConflictError, match="not in the shop's stock"):
        check_face(sign=face, seen=Seen(), now=NOW)


def test_faces_are_passed_together_and_one_again_by_itself(world, django_assert_num_queries):
    assert pass_faces(signs=world.faces, now=NOW) == 3
    counts = [line.counts.checked for line in order_progress(world.order)]
    assert sum(counts) == 3
    check_face(sign=world.faces[1], seen=Seen(), readings={"white": ["5"]}, now=NOW)
    with django_assert_num_queries(1):
        newest = newest_checks(world.faces)
    assert [newest[face.pk].is_passed for face in world.faces] == [True, False, True]
    with pytest.raises(OutOfRangeError, match="0 faces cannot"):
        pass_faces(signs=[], now=NOW)
    with pytest.raises(StateConflictError, match="not in the shop's stock"):
        pass_faces(signs=world.faces, now=NOW)
    assert FaceCheck.objects.count() == 4


def test_what_the_agency_has_is_no_longer_checked_by_the_shop(world):
    face = world.faces[0]
    shipment = ship_faces(order=world.order, signs=[face.pk], now=NOW)
    receive_faces(shipment=shipment, found={face.pk: Found("whole")}, now=NOW)
    with pytest.raises(StateConflictError, match="an inspection of the agency's"):
        check_face(sign=face, seen=Seen(), now=NOW)


def test_checks_on_the_pages(client, world):
    client.force_login(make_person(world.shop, Role.SHOP))
    address = reverse("run-checks", args=[world.faces[0].print_run_id])
    assert client.get(address).content.decode().count("checked") >= 3
    first, second, third = world.faces
    assert client.post(address, {"faces": [first.pk]}).status_code == 302
    assert client.post(address, {"faces": []}).status_code == 409
    one = reverse("face-check", args=[second.pk])
    right = {"is_look_right": "on", "is_size_right": "on", "is_legend_right": "on"}
    wrong = client.post(one, right | {"readings_white": "70 x"})
    assert wrong.status_code == 400
    assert 'value="70 x"' in wrong.content.decode()
    assert not QualityReading.objects.exists()
    assert client.post(one, right | {"readings_white": "71 72 73"}).status_code == 302
    assert "minimum 70" in client.get(one).content.decode()
    bad = reverse("face-check", args=[third.pk])
    assert client.post(bad, right | {"readings_white": "3"}).status_code == 302
    assert "did not pass" in client.get(address).content.decode()
    client.force_login(make_person(make_agency(), Role.ENGINEER))
    assert client.get(address).status_code == 403
