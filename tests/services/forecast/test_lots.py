"""What is kept of lots that were compared, who reads it, and where their signs are."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from inventory.engineering.forecast.fit import Scale, fit_cohort
from inventory.engineering.forecast.shapes import LINEAR
from inventory.models import (
    ColourArea,
    InspectionFlag,
    LotFinding,
    PressEvent,
    PrintRun,
    Sign,
)
from inventory.services.forecast.gathering import gather_cohorts
from inventory.services.forecast.lots import (
    find_suspect_lots,
    position_under_warranty,
    signs_of_finding,
)
from tests.factories import (
    NOW,
    make_agency,
    make_lot_finding,
    make_press,
    make_roll,
    make_shop,
    make_sign,
    make_visit,
)

pytestmark = pytest.mark.django_db

TODAY = NOW.date()
UP_ON = date(2016, 6, 1)
PRINTED_FROM = NOW - timedelta(days=4_000)
LOTS, SIGNS = 8, 8
BAD = "LOT-0"


def printed_at(number: int) -> datetime:
    return PRINTED_FROM + timedelta(days=number)


def make_run(press, number: int) -> PrintRun:
    return PrintRun.objects.create(
        press=press,
        run_number=f"{number:04d}",
        started_at=printed_at(number) + timedelta(hours=1),
        finished_at=printed_at(number) + timedelta(hours=2),
        printed_area_ft2=40.0,
    )


@pytest.fixture
def county():
    """Eight sheeting lots of eight signs read three times; lot 0 loses 20 % a year, not 5."""
    agency = make_agency()
    shop = make_shop(agency=agency)
    press = make_press(shop)
    draw = np.random.default_rng(1)
    for lot in range(LOTS):
        PressEvent.objects.create(
            press=press,
            kind="roll_loaded",
            roll=make_roll(shop, lot=f"LOT-{lot}"),
            happened_at=printed_at(2 * lot),
            recorded_at=NOW,
        )
        # The bad lot was printed in two runs, each of the others in one.
        runs = [make_run(press, 2 * lot + k) for k in range(2 if lot == 0 else 1)]
        loss = 0.20 if lot == 0 else 0.05
        for place in range(SIGNS):
            sign = make_sign(
                agency,
                colours=(("background", "white"),),
                installed_on=UP_ON,
                fabricated_on=UP_ON - timedelta(days=30),
                maker=shop,
                print_run=runs[place % len(runs)],
            )
            level = 300.0 * np.exp(draw.normal(0, 0.1))
            for year in (1, 5, 9):
                ra = level * np.exp(-loss * year + draw.normal(0, 0.04))
                make_visit(
                    sign,
                    UP_ON.replace(year=UP_ON.year + year) + timedelta(days=lot * SIGNS + place),
                    values={"white": [f"{ra:.1f}"]},
                    surface_state="dry",
                )
    return agency, shop


def cohorts_of(agency):
    return [
        (each, fit_cohort(each.observations, scale=Scale.LOG, shape=LINEAR))
        for each in gather_cohorts(organisation=agency, today=TODAY)
        if len(each.observations)
    ]


def test_a_bad_lot_is_found_kept_and_shown_to_its_maker(county, django_assert_max_num_queries):
    agency, shop = county
    cohorts = cohorts_of(agency)
    assert find_suspect_lots(organisation=agency, cohorts=cohorts, now=NOW) == 1
    found = LotFinding.objects.get(organisation=agency, is_suspect=True)
    assert (found.kind, found.name, found.maker) == ("sheeting", BAD, shop)
    assert found.members == [{"kind": "sheeting", "name": BAD, "maker_id": shop.pk}]
    assert (found.sign_count, found.visit_count) == (SIGNS, 3 * SIGNS)
    assert found.effect_low_per_year < -0.15 < found.effect_high_per_year
    assert found.cohort_change_per_year == pytest.approx(-0.05, abs=0.01)
    assert found.q_value <= 0.10
    assert found.detail["cohorts"] == [cohorts[0][0].key.text]
    assert 0 < found.detail["smallest_excess_per_year"] < 0.15
    assert found.detail["hangs_on_one_sign"] is False
    low, high = (found.detail[f"ordinary_{end}_per_year"] for end in ("low", "high"))
    assert -0.05 < low < 0 < high < 0.05
    assert found.detail["to_be_surer"].startswith(
        "All 8 standing signs were read twice or more"
    )
    # The other lots are on record too, each with the one run that it cannot be told from.
    others = LotFinding.objects.filter(organisation=agency, is_suspect=False)
    assert sorted(each.name for each in others) == [f"LOT-{lot}" for lot in range(1, LOTS)]
    for each in others:
        assert [member["kind"] for member in each.members] == ["sheeting", "run"]
        assert "no reading can tell them apart" in each.told_apart_by
    assert LotFinding.objects.readable_by(shop).count() == LOTS
    assert not LotFinding.objects.readable_by(make_shop()).exists()
    # Found again, a lot keeps its row, so that its page keeps its address.
    keys = {each.key: each.pk for each in LotFinding.objects.filter(organisation=agency)}
    later = NOW + timedelta(days=1)
    with django_assert_max_num_queries(9):
        find_suspect_lots(organisation=agency, cohorts=cohorts, now=later)
    again = LotFinding.objects.filter(organisation=agency)
    assert {each.key: each.pk for each in again} == keys
    assert {each.found_at for each in again} == {later}
    # What is not tested any more is taken away, of this agency alone.
    elsewhere = make_lot_finding(make_agency())
    assert find_suspect_lots(organisation=agency, cohorts=[], now=later) == 0
    assert list(LotFinding.objects.all()) == [elsewhere]


def test_every_sign_of_a_lot_is_shown_and_what_a_claim_would_rest_on(county):
    agency, _shop = county
    find_suspect_lots(organisation=agency, cohorts=cohorts_of(agency), now=NOW)
    found = LotFinding.objects.get(organisation=agency, is_suspect=True)
    mine = Sign.objects.filter(print_run__run_number__in=("0000", "0001"))
    Sign.objects.filter(pk=mine.order_by("pk")[0].pk).update(
        state=Sign.State.REMOVED, removed_on=TODAY, removal_reason="other"
    )
    assert set(signs_of_finding(found)) == set(mine)
    assert signs_of_finding(found).count() == SIGNS
    position = position_under_warranty(found)
    assert position.sentence.startswith("No warranty terms are on record")
    rows = dict(position.rows)
    assert rows["Signs made of it"] == "8, 7 of them standing"
    assert rows["Age since fabrication"] == "10.1 to 10.1 years"
    assert rows["Clean, dry readings"].startswith("24 by hand-held instrument")
    # 300 cd/lx/m² × e^(−0.2·9) is near 50; the table's figure of Type IX is recalled only.
    share = rows["Newest readings, white Type IX"]
    assert share.endswith("% of the minimum when new, 380 cd/lx/m² (unverified)")
    assert rows["Minimums when new"].startswith("ASTM D4956")


def test_dirty_readings_and_corrected_ones_are_no_ground_for_a_claim(
    django_assert_num_queries,
):
    agency = make_agency()
    sign = make_sign(agency, colours=(("background", "white"),), sheeting_type="")
    run = make_run(make_press(make_shop(agency=agency)), 1)
    Sign.objects.filter(pk=sign.pk).update(print_run=run)
    finding = make_lot_finding(agency, detail={"made_in": [{"color": "", "run_ids": [run.pk]}]})
    make_visit(sign, date(2024, 5, 1), values={"white": ["90"]}, surface_state="dirty")
    wrong = make_visit(sign, date(2024, 6, 1), values={"white": ["9"]}, surface_state="dry")
    make_visit(
        sign, date(2024, 6, 1), values={"white": ["95"]}, surface_state="dry", corrects=wrong
    )
    doubted = make_visit(sign, date(2025, 6, 1), values={"white": ["7"]}, surface_state="dry")
    InspectionFlag.objects.create(inspection=doubted, reason="check_failed", raised_at=NOW)
    with django_assert_num_queries(4):
        rows = dict(position_under_warranty(finding).rows)
    assert rows["Clean, dry readings"].startswith("1 by hand-held")
    assert rows["Newest readings, white"] == (
        "mean 95 cd/lx/m²; no published minimum of new sheeting is at hand"
    )
    assert rows["Age since fabrication"] == ""


def test_the_signs_of_an_ink_lot_are_those_that_show_its_colour_in_print():
    agency = make_agency()
    run = make_run(make_press(make_shop(agency=agency)), 1)
    red, plain, other = (make_sign(agency, print_run=run) for _ in range(3))
    ColourArea.objects.filter(sign=red, color="red").update(colouring="printed_spot")
    ColourArea.objects.filter(sign=other, color="red").delete()
    finding = make_lot_finding(
        agency, kind="ink", detail={"made_in": [{"color": "red", "run_ids": [run.pk]}]}
    )
    assert list(signs_of_finding(finding)) == [red]
    assert plain.print_run == run
    assert not signs_of_finding(make_lot_finding(agency)).exists()


def test_a_lot_that_hangs_on_one_sign_is_told_and_not_suspect(county):
    agency, _shop = county
    ((gathered, fit),) = cohorts_of(agency)
    seen = gathered.observations
    # Give lot 0 back its ordinary loss; then paint over one sign of lot 1.
    lot = seen.lot[seen.sign]
    bad = gathered.lot_names.index(BAD)
    ra = seen.ra_cd_lx_m2 * np.where(lot == bad, np.exp(0.15 * seen.age_years), 1.0)
    one = int(np.flatnonzero(seen.lot == gathered.lot_names.index("LOT-1"))[0])
    ra = np.where((seen.sign == one) & (seen.age_years > 3), 2.0, ra)
    healed = np.where(seen.sign == one, seen.ra_cd_lx_m2, ra)
    fit = fit_cohort(replace(seen, ra_cd_lx_m2=healed), scale=fit.scale, shape=fit.shape)
    painted = replace(gathered, observations=replace(seen, ra_cd_lx_m2=ra))
    assert find_suspect_lots(organisation=agency, cohorts=[(painted, fit)], now=NOW) == 0
    of_lot = LotFinding.objects.get(organisation=agency, name="LOT-1", kind="sheeting")
    assert of_lot.q_value <= 0.10
    assert of_lot.detail["hangs_on_one_sign"] is True
