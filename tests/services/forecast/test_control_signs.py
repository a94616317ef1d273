"""Control signs of a group: enough of them, which more, when, and what they say."""

from datetime import UTC, date, datetime

import pytest

from inventory.errors import OutOfRangeError
from inventory.models import SignForecast
from inventory.services.forecast.control_signs import control_groups
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.methods import assign, create_group, set_control_signs
from tests.factories import NOW, make_agency, make_instrument, make_position, make_sign

pytestmark = pytest.mark.django_db


def group_of(agency, signs, controls=()):
    group = create_group(
        organisation=agency,
        name="By control signs",
        method="control_signs",
        started_on=date(2020, 1, 1),
        basis="council decision (invented)",
        interval_months=24,
        now=NOW,
    )
    assign(
        group=group, positions=[s.position for s in signs], from_on=date(2026, 1, 1), now=NOW
    )
    if controls:
        set_control_signs(
            group=group,
            positions=[each.position for each in controls],
            from_on=date(2026, 2, 1),
            now=NOW,
        )
    return group


def put_up(agency, year, facing_deg=None, **fields):
    position = make_position(agency, facing_deg=facing_deg)
    return make_sign(agency, position=position, installed_on=date(year, 6, 1), **fields)


def forecast(sign, year, spread=2):
    return SignForecast.objects.create(
        organisation=sign.owner,
        sign=sign,
        made_at=NOW,
        as_of_on=NOW.date(),
        method_version="for tests",
        fingerprint="",
        basis="cohort",
        end="level",
        due_on=date(year, 6, 1),
        due_early_on=date(year - spread, 6, 1),
        due_late_on=date(year + spread, 6, 1),
        sentence="for tests",
        safety_class=1,
    )


def groups(agency, **fields):
    return control_groups(organisation=agency, now=NOW, **fields)


def test_an_agency_without_such_a_group_has_none():
    assert groups(make_agency()) == []


def test_fewer_than_three_of_a_sheeting_are_too_few_and_more_are_proposed():
    agency = make_agency()
    old = put_up(agency, 2008, 0.0)
    signs = [old, *(put_up(agency, 2018, 90.0 * k) for k in range(4))]
    group_of(agency, signs, controls=[old])
    kind = groups(agency)[0].sheetings[0]
    assert (kind.sheeting, kind.sign_count, kind.control_count) == ("Type IX prismatic", 5, 1)
    assert kind.is_too_few
    assert "NCHRP Synthesis 431 p. 12" in kind.least_source
    assert kind.share_below_at_most == pytest.approx(0.95)
    assert len(kind.proposed) == 2
    assert old.pk not in {each.line.sign_id for each in kind.proposed}
    assert len({each.facing for each in kind.proposed}) == 2


def test_the_oldest_is_proposed_first_and_more_where_the_agency_wants_more():
    agency = make_agency()
    signs = [put_up(agency, year, 10.0) for year in (2018, 2009, 2020, 2015, 2012)]
    group_of(agency, signs)
    proposed = groups(agency, per_sheeting=4)[0].sheetings[0].proposed
    assert len(proposed) == 4
    assert proposed[0].line.sign_id == signs[1].pk
    assert proposed[0].facing == "north"
    assert proposed[0].age_years == pytest.approx(17.0, abs=0.01)


def test_a_control_sign_is_measured_before_its_forecast_and_by_the_interval():
    agency = make_agency()
    read, soon, unread = (put_up(agency, 2015) for _ in range(3))
    group_of(agency, [read, soon, unread], controls=[read, soon, unread])
    instrument = make_instrument(agency)
    for sign in (read, soon):
        record_inspection(
            sign=sign,
            taken_at=datetime(2026, 5, 1, 12, tzinfo=UTC),
            how="hand_held",
            surface_state="dry",
            instrument=instrument,
            reading_sets=[ReadingSetInput("red", ["30.0", "31.0"])],
            is_confirmed=True,
            now=NOW,
        )
    forecast(read, 2040)
    forecast(soon, 2030)  # 5 % before June 2028: a year sooner is June 2027
    of_sign = {each.line.sign_id: each for each in groups(agency)[0].controls}
    assert of_sign[read.pk].measured_on == date(2026, 5, 1)
    assert of_sign[read.pk].next.on == date(2028, 5, 1)
    assert of_sign[soon.pk].next.on == date(2027, 6, 1)
    assert of_sign[unread.pk].next.on == date(2028, 2, 1)  # under the method as one since then
    lead = groups(agency, lead_months=6)[0].controls
    assert {each.line.sign_id: each.next.on for each in lead}[soon.pk] == date(2027, 12, 1)


def test_what_control_signs_say_is_told_by_the_forecasts():
    agency = make_agency()
    controls = [put_up(agency, 2015) for _ in range(3)]
    others = [put_up(agency, 2015) for _ in range(4)]
    group_of(agency, [*controls, *others], controls=controls)
    for sign, year in zip(controls, (2031, 2032, 2034), strict=True):
        forecast(sign, year)
    for sign, year in zip(others[:3], (2029, 2033, 2036), strict=True):
        forecast(sign, year)
    kind = groups(agency)[0].sheetings[0]
    assert not kind.is_too_few
    assert kind.without_forecast_count == 1
    assert (kind.said.first_on.year, kind.said.middle_on.year) == (2031, 2032)
    assert kind.said.share_before_first == pytest.approx(1 / 3)
    assert kind.said.share_agreeing == pytest.approx(1 / 3)


def test_sheetings_are_told_apart():
    agency = make_agency()
    old = put_up(agency, 2010, sheeting_type="III", optics="beaded")
    new = put_up(agency, 2020)
    group_of(agency, [old, new], controls=[old, new])
    kinds = {each.sheeting: each.control_count for each in groups(agency)[0].sheetings}
    assert kinds == {"Type III beaded": 1, "Type IX prismatic": 1}


def test_signs_of_unknown_sheeting_are_too_few_and_none_is_proposed():
    agency = make_agency()
    sign = put_up(agency, 2015, sheeting_type="", optics="unknown")
    group_of(agency, [sign])
    kind = groups(agency)[0].sheetings[0]
    assert kind.words == "sheeting not known"
    assert kind.is_too_few
    assert kind.proposed == ()


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"per_sheeting": 2}, "choose 3"),
        ({"per_sheeting": 61}, "to 60"),
        ({"lead_months": -1}, "0 to 60"),
        ({"lead_months": 61}, "61 months"),
    ],
)
def test_what_cannot_be_is_refused(fields, words):
    with pytest.raises(OutOfRangeError, match=words):
        groups(make_agency(), **fields)


def test_the_queries_do_not_grow_with_the_signs(django_assert_max_num_queries):
    agency = make_agency()
    signs = [put_up(agency, 2015) for _ in range(12)]
    group_of(agency, signs, controls=signs[:3])
    with django_assert_max_num_queries(16):
        groups(agency)
