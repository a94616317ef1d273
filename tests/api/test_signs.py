"""Signs, standings and verdicts over the API: each reader its own columns."""

import pytest

from inventory.models import Role, Sign
from inventory.services.assessment import assess_sign
from tests.factories import (
    NOW,
    make_agency,
    make_press,
    make_released_order,
    make_roll,
    make_shop,
    make_sign,
    make_standing,
    print_order,
)
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db

OWNERS_ONLY = {"responsible", "planned_replacement_year", "position", "is_reconstructed"}


@pytest.fixture
def agency():
    return make_agency()


def test_the_owner_reads_everything_of_a_sign(client, agency):
    sign = make_sign(agency, planned_replacement_year=2030)
    act_as(client, agency)
    shown = client.get(f"/api/v1/signs/{sign.pk}/").json()
    assert set(shown) >= OWNERS_ONLY
    assert shown["planned_replacement_year"] == 2030
    assert shown["position"]["latitude_deg"] == 43.0
    assert [area["color"] for area in shown["colour_areas"]] == ["red", "white"]


def test_the_maker_reads_the_face_and_its_life_but_not_the_agencys_plans(client, agency):
    shop = make_shop(agency=agency)
    sign = make_sign(agency, maker=shop, planned_replacement_year=2030)
    act_as(client, shop, Role.SHOP)
    shown = client.get(f"/api/v1/signs/{sign.pk}/").json()
    assert not OWNERS_ONLY & set(shown)
    assert shown["sign_code"] == "R1-1"
    assert shown["installed_on"] == "2015-05-01"


def test_the_makers_columns_are_those_the_record_names(client, agency):
    shop = make_shop(agency=agency)
    make_sign(agency, maker=shop)
    act_as(client, shop, Role.SHOP)
    (shown,) = client.get("/api/v1/signs/").json()["results"]
    assert set(shown) == {*Sign.reader_columns["maker"], "id", "colour_areas"}


def test_what_is_not_known_is_null_or_blank_never_a_guess(client, agency):
    sign = make_sign(
        agency, sheeting_type="", optics="unknown", installed_on=None, width_in=None
    )
    act_as(client, agency)
    shown = client.get(f"/api/v1/signs/{sign.pk}/").json()
    assert shown["installed_on"] is None
    assert shown["width_in"] is None
    assert shown["colour_areas"][0]["sheeting_type"] == ""
    assert shown["colour_areas"][0]["optics"] == "unknown"


@pytest.mark.parametrize(
    ("query", "count"), [("state=installed", 2), ("state=removed", 0), ("code=w", 1)]
)
def test_signs_are_narrowed_by_what_is_asked(client, agency, query, count):
    make_sign(agency)
    make_sign(agency, sign_code="W1-2")
    act_as(client, agency)
    assert client.get(f"/api/v1/signs/?{query}").json()["count"] == count


def test_a_filter_that_is_none_is_refused(client, agency):
    act_as(client, agency)
    answer = client.get("/api/v1/signs/?state=flying")
    assert answer.status_code == 400
    assert "state" in answer.json()["error"]["detail"]


def test_lists_come_in_pages_as_long_as_asked_within_bounds(client, agency):
    for _ in range(3):
        make_sign(agency)
    act_as(client, agency)
    page = client.get("/api/v1/signs/?page_size=2").json()
    assert (page["count"], len(page["results"])) == (3, 2)
    assert "page=2" in page["next"]
    assert client.get("/api/v1/signs/?page=9").status_code == 404


@pytest.mark.parametrize(
    ("path", "most"), [("signs", 7), ("standings", 5), ("inspections", 8), ("orders", 5)]
)
def test_a_longer_list_takes_no_more_queries(
    client, agency, path, most, django_assert_max_num_queries
):
    for _ in range(12):
        make_standing(make_sign(agency))
    act_as(client, agency)
    with django_assert_max_num_queries(most):
        client.get(f"/api/v1/{path}/")


def test_standings_come_in_the_order_of_the_due_list(client, agency):
    later = make_standing(make_sign(agency), is_due=True, due_order=2)
    first = make_standing(make_sign(agency), is_due=True, due_order=1)
    make_standing(make_sign(agency))
    act_as(client, agency)
    rows = client.get("/api/v1/standings/?due=true").json()["results"]
    assert [row["sign_id"] for row in rows] == [first.sign_id, later.sign_id]


def test_a_verdict_names_its_level_table_edition_and_rules(client, agency):
    sign = make_sign(agency)
    assess_sign(sign=sign, now=NOW)
    act_as(client, agency)
    (shown,) = client.get(f"/api/v1/signs/{sign.pk}/assessments/").json()["results"]
    assert shown["verdict"] == "no usable reading"
    assert (shown["edition"], shown["policy_version"]) == ("11th-2023", 1)
    # MUTCD 11th edition (2023), Table 2A-5: white on red asks 35 of white.
    white = next(each for each in shown["elements"] if each["color"] == "white")
    assert float(white["level"]) == 35.0
    assert white["table_id"] == "mutcd-11-2a-5"


def test_the_shop_reads_no_verdicts(client, agency):
    shop = make_shop(agency=agency)
    sign = make_sign(agency, maker=shop)
    act_as(client, shop, Role.SHOP)
    assert client.get("/api/v1/standings/").status_code == 403
    assert client.get(f"/api/v1/signs/{sign.pk}/assessments/").status_code == 403


def test_each_party_reads_its_own_columns_of_an_order(client, agency):
    shop = make_shop(agency=agency)
    order = make_released_order(agency, shop, [make_sign(agency)])
    print_order(order, make_press(shop, make_roll(shop)))
    act_as(client, agency)
    ours = client.get(f"/api/v1/orders/{order.pk}/").json()
    client.logout()
    act_as(client, shop, Role.SHOP)
    theirs = client.get(f"/api/v1/orders/{order.pk}/").json()
    assert set(ours) - set(theirs) == {"drafted_at"}
    assert theirs["lines"] == ours["lines"]
    assert len(theirs["lines"]) == 1


def test_a_draft_is_the_agencys_own_affair(client, agency):
    from inventory.services.ordering import draft_order

    shop = make_shop(agency=agency)
    order = draft_order(
        agency=agency, shop=shop, signs=[make_sign(agency)], sheeting_type="XI", now=NOW
    ).order
    act_as(client, shop, Role.SHOP)
    assert client.get("/api/v1/orders/").json()["count"] == 0
    assert client.get(f"/api/v1/orders/{order.pk}/").status_code == 404


def test_the_rules_in_force_are_given_and_none_is_said_in_words(client, agency):
    from inventory.models import Organisation
    from inventory.services.people import create_organisation

    act_as(client, agency)
    assert client.get("/api/v1/policy/").json()["edition"] == "11th-2023"
    client.logout()
    act_as(client, create_organisation(name="New County", kind=Organisation.Kind.AGENCY))
    answer = client.get("/api/v1/policy/")
    assert answer.status_code == 409
    assert "has no rules in force" in answer.json()["error"]["message"]
