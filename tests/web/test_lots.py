"""The pages of lots: suspects first, each beside ordinary ones, for agency and shop."""

import pytest
from django.urls import reverse

from inventory.models import Role
from tests.factories import (
    make_agency,
    make_lot_finding,
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

SUSPECT = {
    "is_suspect": True,
    "effect_per_year": -0.021,
    "effect_low_per_year": -0.030,
    "effect_high_per_year": -0.012,
    "p_value": 0.0005,
    "q_value": 0.04,
}


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def shop(agency):
    return make_shop("Tern Signs", agency)


def page_of(client, finding):
    answer = client.get(reverse("lot-page", args=(finding.pk,)))
    assert answer.status_code == 200
    return answer.content.decode()


def printed_sign(agency, shop):
    """Return a face of the shop's making that stands on the agency's road, and its run."""
    press = make_press(shop, make_roll(shop))
    run = print_order(make_released_order(agency, shop, [make_sign(agency)]), press)
    sign = make_sign(agency, print_run=run, maker=shop, label_id="TS-0007")
    make_standing(sign)
    return sign, {"made_in": [{"color": "", "run_ids": [run.pk]}]}


def test_suspects_come_first_with_their_loss_in_a_sentence(client, agency):
    make_lot_finding(agency, name="L-100", q_value=0.9)
    suspect = make_lot_finding(agency, name="L-204", **SUSPECT)
    act_as(client, agency)
    answer = client.get(reverse("lot-list"))
    assert [row.name for row in answer.context["page"]] == ["L-204", "L-100"]
    page = answer.content.decode()
    assert (
        "Sheeting lot L-204 loses 7.1 % a year where such faces lose 5.0 % (between 6.2 and "
        "8.0); 58 signs read."
    ) in page
    assert reverse("lot-page", args=(suspect.pk,)) in page


def test_lots_are_narrowed_by_kind_and_name(client, agency):
    make_lot_finding(agency, name="L-204")
    make_lot_finding(agency, kind="ink", name="M-7")
    act_as(client, agency)

    def names(**query):
        page = client.get(reverse("lot-list"), query).context["page"]
        return [row.name for row in page]

    assert names(kind="ink") == ["M-7"]
    assert names(name="l-2") == ["L-204"]
    assert names(kind="overlay") == []
    assert "No lot to show" in client.get(reverse("lot-list"), {"kind": "run"}).content.decode()


def test_a_lot_stands_beside_the_others_of_its_kind(client, agency):
    for n in range(12):
        make_lot_finding(agency, name=f"L-{n}", effect_per_year=0.001 * n)
    make_lot_finding(agency, kind="ink", name="M-7")
    ordinary = {"ordinary_low_per_year": -0.008, "ordinary_high_per_year": 0.008}
    suspect = make_lot_finding(agency, name="L-204", detail=ordinary, **SUSPECT)
    act_as(client, agency)
    answer = client.get(reverse("lot-page", args=(suspect.pk,)))
    plot = answer.context["plot"]
    assert "13 that were compared" in plot.title
    assert "number 1" in plot.summary
    ordinary, others, mine = plot.spec["series"]
    assert (ordinary["low"], ordinary["high"]) == ([-0.8, -0.8], [0.8, 0.8])
    assert (len(others["values"]), mine["values"]) == (12, [2.1])
    assert len(plot.rows) == 10
    page = answer.content.decode()
    assert "Suspect" in page
    assert "1 in 2,000 ordinary lots" in page


def test_what_always_occurs_together_is_one_finding_and_says_how_to_tell_it_apart(
    client, agency
):
    members = [{"kind": "sheeting", "name": "L-204"}, {"kind": "run", "name": "Press 1, run 7"}]
    finding = make_lot_finding(
        agency,
        name="L-204",
        members=members,
        told_apart_by="Read signs of sheeting lot L-204 out of another run.",
        **SUSPECT,
    )
    act_as(client, agency)
    page = page_of(client, finding)
    assert "Sheeting lot L-204 and print run Press 1, run 7 lose 7.1 %" in page
    assert "Cannot be told apart" in page
    assert "Read signs of sheeting lot L-204 out of another run." in page


def test_the_page_says_what_the_test_cannot_see(client, agency):
    seen = make_lot_finding(agency, detail={"smallest_excess_per_year": 0.018})
    unseen = make_lot_finding(agency)
    act_as(client, agency)
    assert "loses 1.8 % a year more than ordinary ones is found 9 times in 10" in page_of(
        client, seen
    )
    assert "not known which excess could be found" in page_of(client, unseen)


def test_a_lot_that_hangs_on_one_sign_warns_of_it(client, agency):
    finding = make_lot_finding(agency, detail={"hangs_on_one_sign": True})
    act_as(client, agency)
    assert "Without the readings of one single sign" in page_of(client, finding)


def test_the_engineer_sees_every_sign_of_the_lot_and_its_warranty_position(
    client, agency, shop
):
    sign, made_in = printed_sign(agency, shop)
    finding = make_lot_finding(agency, maker=shop, detail=made_in)
    act_as(client, agency)
    page = page_of(client, finding)
    assert reverse("sign-page", args=(sign.pk,)) in page
    assert f'data-map-query="lot={finding.pk}"' in page
    assert f"{reverse('sign-map')}?lot={finding.pk}" in page
    assert "No warranty terms are on record" in page


def test_the_shop_sees_the_faces_it_made_and_nothing_of_the_agencys_plans(client, agency, shop):
    sign, made_in = printed_sign(agency, shop)
    finding = make_lot_finding(agency, maker=shop, name="L-204", detail=made_in, **SUSPECT)
    act_as(client, shop, Role.SHOP)
    assert "L-204" in client.get(reverse("lot-list")).content.decode()
    page = page_of(client, finding)
    assert "TS-0007" in page
    assert "on the roads of Alder County" in page
    assert reverse("sign-page", args=(sign.pk,)) not in page
    for word in ("data-map", "Due date", "work package", "/due/"):
        assert word not in page


def test_a_lot_of_another_maker_or_agency_is_not_there(client, agency, shop):
    others = make_lot_finding(agency, maker=make_shop("Other shop"), name="L-999")
    act_as(client, shop, Role.SHOP)
    assert "L-999" not in client.get(reverse("lot-list")).content.decode()
    assert client.get(reverse("lot-page", args=(others.pk,))).status_code == 404
    act_as(client, make_agency())
    assert client.get(reverse("lot-page", args=(others.pk,))).status_code == 404


def test_a_crew_has_no_use_of_lots(client, agency):
    act_as(client, agency, Role.CREW)
    assert client.get(reverse("lot-list")).status_code == 403


def test_more_lots_take_no_more_queries(client, agency, shop, django_assert_max_num_queries):
    for n in range(30):
        make_lot_finding(agency, maker=shop, name=f"L-{n}")
    act_as(client, agency)
    with django_assert_max_num_queries(9):
        client.get(reverse("lot-list"))


def test_a_larger_lot_takes_no_more_queries(
    client, agency, shop, django_assert_max_num_queries
):
    sign, made_in = printed_sign(agency, shop)
    for _ in range(6):
        make_standing(make_sign(agency, print_run=sign.print_run, maker=shop))
    finding = make_lot_finding(agency, maker=shop, detail=made_in)
    act_as(client, agency)
    with django_assert_max_num_queries(26):
        page_of(client, finding)


def test_a_lot_that_stands_out_by_another_lots_signs_says_so_and_leads_there(client, agency):
    cause = make_lot_finding(agency, name="L-204", **SUSPECT)
    ink = make_lot_finding(
        agency,
        kind="ink",
        name="R-9",
        **SUSPECT | {"is_suspect": False},
        detail={
            "explained_by": "It stands out only by signs that are also of sheeting lot L-204.",
            "explained_by_key": cause.key,
        },
    )
    act_as(client, agency)
    assert "also of sheeting lot L-204" in client.get(reverse("lot-list")).content.decode()
    page = page_of(client, ink)
    assert "Nothing out of the ordinary" not in page
    assert f'{reverse("lot-page", args=(cause.pk,))}">Look at that lot' in page


def test_the_page_of_a_sign_names_the_suspect_lot_it_is_made_of(client, agency, shop):
    sign, made_in = printed_sign(agency, shop)
    finding = make_lot_finding(agency, name="L-204", detail=made_in, **SUSPECT)
    run_ids = made_in["made_in"][0]["run_ids"]
    of_ink = {"made_in": [{"color": "red", "run_ids": run_ids}]}
    make_lot_finding(agency, kind="ink", name="R-9", detail=of_ink, **SUSPECT)
    make_lot_finding(agency, name="L-205", detail=made_in)
    act_as(client, agency)
    address = reverse("sign-page", args=(sign.pk,))
    page = client.get(address).content.decode()
    assert reverse("lot-page", args=(finding.pk,)) in page
    assert "loses 7.1 % a year where such faces lose 5.0 %" in page
    assert "L-205" not in page  # an ordinary lot
    assert "R-9" not in page  # the red of this face is its sheeting's, not printed
    sign.colour_areas.filter(color="red").update(colouring="printed_spot")
    assert "R-9" in client.get(address).content.decode()
    other = make_sign(agency)
    assert "L-204" not in client.get(reverse("sign-page", args=(other.pk,))).content.decode()
