"""The crew's pages: what is near, one sign, putting up and taking down."""

from datetime import date

import pytest
from django.urls import reverse

from inventory.engineering.production.labels import make_label
from inventory.models import PrintOrder, Road, Role, Sign
from inventory.services.inspection import ReadingSetInput, record_inspection
from tests.factories import (
    NOW,
    make_agency,
    make_position,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    make_standing,
    make_support,
    position_of,
    print_order,
)
from tests.web.acting import act_as, read_reminder, stop_the_clock

pytestmark = pytest.mark.django_db
HERE = {"latitude": "43.0", "longitude": "-89.5"}


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def shop(agency):
    return make_shop("Tern Signs", agency)


@pytest.fixture
def crew(client, agency):
    user = act_as(client, agency, Role.CREW)
    read_reminder(client)
    return user


def sign_at(agency, latitude_deg, longitude_deg=-89.5, **fields):
    support = make_support(agency, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    sign = make_sign(agency, position=make_position(agency, support=support), **fields)
    make_standing(sign)
    return sign


def printed_face(agency, shop, sign):
    """Return the face printed for a sign's place, waiting in stock."""
    order = make_released_order(agency, shop, [sign])
    print_order(order, make_press(shop, make_roll(shop)))
    return Sign.objects.get(layout_face__line__order=order)


def page_of(client, name, *args, **query):
    return client.get(reverse(name, args=args), query).content.decode()


def test_near_me_is_for_those_in_the_field(client, agency, shop):
    act_as(client, agency, Role.ENGINEER)
    assert client.get(reverse("near-me")).status_code == 200
    client.logout()
    act_as(client, shop, Role.SHOP)
    assert client.get(reverse("near-me")).status_code == 403


def test_the_nearest_signs_come_first_with_distance_and_direction(client, agency, crew):
    # 0.001° of latitude is 111 m on the mean sphere (IUGG R1): 360 ft to the nearest ten.
    far, near = sign_at(agency, 43.001), sign_at(agency, 43.0001)
    page = page_of(client, "near-me", **HERE)
    assert page.index(reverse("crew-sign", args=(near.pk,))) < page.index(
        reverse("crew-sign", args=(far.pk,))
    )
    assert "360 ft north" in page


def test_signs_within_the_accuracy_of_the_position_are_marked_and_none_is_picked(
    client, agency, crew
):
    sign_at(agency, 43.0001)
    sign_at(agency, 43.001)
    page = page_of(client, "near-me", **HERE, accuracy_m="30")
    assert page.count("could be the sign before you") == 1
    assert "checked" not in page


def test_signs_of_others_are_not_near(client, agency, crew):
    other = sign_at(make_agency(), 43.0001)
    page = page_of(client, "near-me", **HERE)
    assert reverse("crew-sign", args=(other.pk,)) not in page
    assert "No sign of Alder County" in page


def test_a_place_without_a_sign_is_near_too(client, agency, crew):
    position = make_position(agency)
    page = page_of(client, "near-me", **HERE)
    assert reverse("install-face", args=(position.pk,)) in page


@pytest.mark.parametrize(
    ("where", "sentence"),
    [
        ({"latitude": "north", "longitude": "-89.5"}, "is not a number"),
        ({"latitude": "43.0", "longitude": ""}, "Type the longitude as well"),
        ({"latitude": "98", "longitude": "-89.5"}, "90"),
    ],
)
def test_a_position_that_is_none_is_refused_and_kept(client, crew, where, sentence):
    answer = client.get(reverse("near-me"), where)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert sentence in page
    assert f'value="{where["latitude"]}"' in page


def test_a_sign_is_found_by_label_code_and_street(client, agency, crew):
    road = Road.objects.create(organisation=agency, name="Old Mill Road")
    support = make_support(agency, latitude_deg=43.0, longitude_deg=-89.5, road=road)
    sign = make_sign(
        agency, position=make_position(agency, support=support), label_id="001-0JK"
    )
    make_standing(sign)
    other = sign_at(agency, 43.1, sign_code="W1-2")
    address = reverse("crew-sign", args=(sign.pk,))
    for words in ("oo1 ojk", "r1-", "mill"):
        page = page_of(client, "near-me", q=words)
        assert address in page, words
        assert reverse("crew-sign", args=(other.pk,)) not in page, words
    assert "No installed sign" in page_of(client, "near-me", q="Nowhere Street")


def test_the_lists_near_me_ask_no_more_for_more_signs(
    client, agency, crew, django_assert_max_num_queries
):
    for n in range(40):
        sign_at(agency, 43.0 + n * 0.00001)
    make_position(agency)
    # Session, user, roles; the radius that holds enough; the signs with roads and colours;
    # empty places with their roads; the agency's own types.
    with django_assert_max_num_queries(11):
        client.get(reverse("near-me"), HERE)
    with django_assert_max_num_queries(9):
        page = client.get(reverse("near-me"), {"q": "R1"}).content.decode()
    assert "1 to 40 of 40" in page


def test_a_signs_page_offers_the_next_step(client, agency, crew):
    sign = make_sign(agency)
    page = page_of(client, "crew-sign", sign.pk)
    for name in ("record-readings", "report-damage", "remove-face"):
        assert reverse(name, args=(sign.pk,)) in page
    assert reverse("install-face", args=(sign.position_id,)) in page


def test_a_sign_of_another_agency_is_no_page(client, crew):
    sign = make_sign(make_agency())
    assert client.get(reverse("crew-sign", args=(sign.pk,))).status_code == 404
    assert client.get(reverse("remove-face", args=(sign.pk,))).status_code == 404
    position = position_of(sign)
    assert client.get(reverse("install-face", args=(position.pk,))).status_code == 404


def test_the_shop_puts_no_face_up(client, agency, shop):
    sign = make_sign(agency)
    face = printed_face(agency, shop, sign)
    act_as(client, shop, Role.SHOP)
    answer = client.post(
        reverse("install-face", args=(sign.position_id,)), {"label_id": face.label_id}
    )
    assert answer.status_code == 403


def install_form(face, old, **fields):
    return {
        "replaces": "" if old is None else str(old.pk),
        "label_id": face.label_id.lower().replace("-", " "),
        "installed_on": "2026-06-01",
        "removal_reason": "faded",
        "removed_note": "bolt rusted",
    } | fields


def test_a_new_face_goes_up_and_closes_the_circle(client, agency, shop, crew):
    old = make_sign(agency)
    face = printed_face(agency, shop, old)
    address = reverse("install-face", args=(old.position_id,))
    assert face.label_id in client.get(address).content.decode()
    answer = client.post(address, install_form(face, old))
    assert answer["Location"] == reverse("crew-sign", args=(face.pk,))
    face.refresh_from_db()
    old.refresh_from_db()
    assert (face.state, face.position_id) == ("installed", old.position_id)
    assert (old.state, old.removal_reason) == ("removed", "faded")
    assert PrintOrder.objects.get().state == PrintOrder.State.CLOSED
    gone = page_of(client, "crew-sign", old.pk)
    assert "taken down on 1 Jun 2026" in gone
    assert answer["Location"] in gone


def test_a_double_tap_puts_a_face_up_once(client, agency, shop, crew):
    old = make_sign(agency)
    face = printed_face(agency, shop, old)
    address = reverse("install-face", args=(old.position_id,))
    first, second = (client.post(address, install_form(face, old)) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert old.logbook.filter(verb="remove sign").count() == 1
    assert face.logbook.filter(verb="install sign").count() == 1


def test_a_double_tap_at_an_empty_place_puts_a_face_up_once(client, agency, shop, crew):
    old = make_sign(agency)
    face = printed_face(agency, shop, old)
    address = reverse("install-face", args=(old.position_id,))
    client.post(
        reverse("remove-face", args=(old.pk,)),
        {"reason": "knocked_down", "removed_on": "2026-05-30"},
    )
    form = install_form(face, None)
    first, second = (client.post(address, form) for _ in range(2))
    assert first.status_code == second.status_code == 302


@pytest.mark.parametrize(
    ("change", "status", "sentence"),
    [
        ({"label_id": "001-0JM"}, 400, "its last character does not fit"),
        ({"label_id": ""}, 400, "Type the label id"),
        ({"label_id": "00Z-ZZ7"}, 404, "No face with the label"),
        ({"installed_on": "2026-06-09"}, 400, "cannot have been put up"),
        ({"installed_on": "soon"}, 400, "is not a calendar date"),
        ({"removal_reason": ""}, 400, "Say why the old face came down"),
    ],
)
def test_a_refused_face_keeps_what_was_typed(
    client, agency, shop, crew, change, status, sentence
):
    if change.get("label_id", "").startswith("00Z"):
        change = {"label_id": make_label(999_999)}
    old = make_sign(agency)
    face = printed_face(agency, shop, old)
    form = install_form(face, old) | change
    answer = client.post(reverse("install-face", args=(old.position_id,)), form)
    page = answer.content.decode()
    assert answer.status_code == status
    assert sentence in page
    assert "bolt rusted" in page
    for name in ("label_id", "installed_on"):
        assert not form[name] or f'value="{form[name]}"' in page
    old.refresh_from_db()
    assert old.state == "installed"


def test_a_face_changed_meanwhile_is_not_taken_down_unseen(client, agency, shop, crew):
    seen = make_sign(agency)
    face = printed_face(agency, shop, seen)
    client.post(
        reverse("remove-face", args=(seen.pk,)),
        {"reason": "damaged", "removed_on": "2026-05-30"},
    )
    make_sign(agency, position=position_of(seen), installed_on=date(2026, 5, 31))
    answer = client.post(
        reverse("install-face", args=(seen.position_id,)), install_form(face, seen)
    )
    assert answer.status_code == 409
    assert "look at the position again" in answer.content.decode()


def test_a_face_made_for_another_agency_is_not_known(client, agency, shop, crew):
    other = make_agency()
    other_shop = make_shop(agency=other)
    face = printed_face(other, other_shop, make_sign(other))
    mine = make_sign(agency)
    answer = client.post(
        reverse("install-face", args=(mine.position_id,)), install_form(face, mine)
    )
    assert answer.status_code == 404


def test_taking_down_asks_why_and_keeps_the_note(client, agency, crew):
    sign = make_sign(agency)
    address = reverse("remove-face", args=(sign.pk,))
    answer = client.post(
        address, {"reason": "", "removed_on": "2026-06-01", "note": "post cut off"}
    )
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "Say why the face came down" in page
    assert "post cut off" in page
    for _ in range(2):
        answer = client.post(
            address, {"reason": "stolen", "removed_on": "2026-06-01", "note": "post cut off"}
        )
        assert answer.status_code == 302
    sign.refresh_from_db()
    assert (sign.state, sign.removal_reason) == ("removed", "stolen")
    assert sign.logbook.filter(verb="remove sign").count() == 1


def test_a_colleagues_taking_down_is_not_written_over(client, agency, crew):
    sign = make_sign(agency)
    address = reverse("remove-face", args=(sign.pk,))
    client.post(address, {"reason": "stolen", "removed_on": "2026-06-01"})
    answer = client.post(
        address, {"reason": "damaged", "removed_on": "2026-06-01", "note": "hit by a plough"}
    )
    assert answer.status_code == 409
    assert "already removed" in answer.content.decode()
    assert "hit by a plough" in answer.content.decode()


def test_night_colours_stay_until_day_colours_are_asked_for(client, agency, crew):
    sign = make_sign(agency)
    address = reverse("crew-sign", args=(sign.pk,))
    assert 'class="in-field"' in client.get(address).content.decode()
    answer = client.post(reverse("field-theme"), {"theme": "night", "next": address})
    assert answer["Location"] == address
    assert 'class="in-field night"' in client.get(address).content.decode()
    client.post(reverse("field-theme"), {"theme": "day", "next": address})
    assert 'class="in-field"' in client.get(address).content.decode()


def test_changing_colours_leads_to_no_other_site(client, crew):
    answer = client.post(
        reverse("field-theme"), {"theme": "night", "next": "https://elsewhere.example/"}
    )
    assert answer["Location"] == reverse("near-me")


def test_a_signs_page_asks_no_more_for_a_longer_history(
    client, agency, crew, django_assert_max_num_queries
):
    sign = make_sign(agency)
    for hour in range(6):
        record_inspection(
            sign=sign,
            taken_at=NOW.replace(hour=hour),
            how="hand_held",
            reading_sets=[ReadingSetInput("white", ["60"]), ReadingSetInput("red", ["12"])],
            now=NOW,
        )
    # Four ask for merges, what is said to be wrong, how a phone found the sign, and its damage.
    with django_assert_max_num_queries(26):
        client.get(reverse("crew-sign", args=(sign.pk,)))
