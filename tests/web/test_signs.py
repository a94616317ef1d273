"""The page of one sign: the answer first, the reason beside it, unknown shown as unknown."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.models import (
    ElementAssessment,
    ImportRun,
    Role,
    Sign,
    SourceFace,
    SourceRecord,
)
from inventory.services.assessment import assess_sign, decide_disposition
from inventory.services.inspection import (
    ObservationInput,
    PhotoInput,
    ReadingSetInput,
    record_inspection,
    store_photo,
)
from inventory.services.own_levels import set_agency_level
from inventory.services.sign_record import governing_element, sign_record
from inventory.web.sign_answer import answer
from tests.factories import NOW, make_agency, make_shop, make_sign, position_of
from tests.web.acting import act_as

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


def read(sign, white=("40",), red=("15",), days_ago=1, **fields):
    return record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(days=days_ago),
        how="hand_held",
        surface_state="dry",
        reading_sets=[ReadingSetInput("white", white), ReadingSetInput("red", red)],
        now=NOW,
        **fields,
    )


def page_of(client, sign):
    return client.get(reverse("sign-page", args=(sign.pk,)))


def test_the_page_starts_with_the_verdict_the_number_and_its_level(client, agency):
    # MUTCD 11th edition (2023), Table 2A-5: white on red, white 35, red 7.
    sign = make_sign(agency)
    read(sign, white=("40",), red=("6",))
    act_as(client, agency)
    context = page_of(client, sign).context
    shown = context["answer"]
    assert shown.mark.word == "below"
    assert (shown.governing.name, shown.governing.value, shown.governing.level) == (
        "red",
        "6",
        "7",
    )


def test_the_table_row_edition_and_its_mark_lie_underneath(client, agency):
    sign = make_sign(agency)
    read(sign)
    act_as(client, agency)
    page = page_of(client, sign).content.decode()
    assert "Table 2A-5" in page
    assert "the 11th edition" in page
    assert "white-on-red" in page


def test_each_colour_is_shown_with_its_uncertainty_rule_and_probability(client):
    agency = make_agency(decision_rule="guarded")
    sign = make_sign(agency)
    read(sign, white=("40",), red=("12",))
    act_as(client, agency)
    response = page_of(client, sign)
    shown = response.context["answer"]
    assert (shown.rule, shown.mark.word) == ("guarded at 95 %", "undecided")
    # By hand, with the shipped assumption: u² = (0.1 · 40)² + (0.08 · 40)² = 26.24, so
    # U = 1.96 · 5.122 = 10.0 and p = Φ(5/5.122) = 0.835.
    white = next(each for each in shown.judged if each.name == "white")
    assert (white.value, white.spread, white.probability) == ("40", "± 10", "0.835")
    # The common part alone asks for 1.645 · 3.2 = 5.3, more than the 5 there are.
    assert white.further == "none: the instrument's own uncertainty is too large"
    assert white.flags == ["Only one reading; 4 a colour are usual."]
    contrast = next(each for each in shown.judged if each.unit == "to 1")
    assert " to " in contrast.spread
    page = response.content.decode()
    assert "guarded at 95 %" in page
    assert "An assumption, not a published figure" in page


def test_an_own_level_is_always_labelled(client, agency):
    set_agency_level(
        agency=agency,
        background="fluorescent-yellow-green",
        legend="black",
        color="fluorescent-yellow-green",
        minimum="75",
        basis="an invented trial",
        approved_by="the agency engineer",
        approved_on=NOW.date(),
        effective_on=NOW.date(),
        now=NOW,
    )
    colours = (("background", "fluorescent-yellow-green"), ("legend", "black"))
    sign = make_sign(agency, sign_code="S1-1", colours=colours)
    record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(hours=1),
        how="hand_held",
        reading_sets=[ReadingSetInput("fluorescent-yellow-green", ["80"] * 4)],
        now=NOW,
    )
    act_as(client, agency)
    response = page_of(client, sign)
    assert response.context["answer"].governing.is_own_level
    assert response.content.decode().count("the agency’s own level") >= 1
    assert response.content.decode().count("the agency&#x27;s own level") >= 2


def test_readings_that_are_not_judged_are_listed_with_the_reason(client, agency):
    sign = make_sign(agency)
    read(sign, white=("200",), red=("40",), days_ago=400)
    read(sign, white=("180",), red=("40",), days_ago=2)
    record_inspection(
        sign=sign,
        taken_at=NOW - timedelta(days=1),
        how="hand_held",
        surface_state="dew",
        reading_sets=[ReadingSetInput("white", ["90"])],
        now=NOW,
    )
    act_as(client, agency)
    response = page_of(client, sign)
    whites = [row for row in response.context["record"].readings if row.color == "white"]
    assert [row.not_judged.partition(" (")[0] for row in whites] == [
        "not the newest usable visit",
        "",
        "dew was on the face",
    ]
    assert "no: dew was on the face" in response.content.decode()


def test_an_unverified_level_says_so_beside_its_number(client):
    # The table of the 2009 edition was read in part only; see its 'checked' mark.
    agency = make_agency(edition="2009")
    sign = make_sign(agency)
    read(sign, white=("20",))
    unverified = ElementAssessment.objects.exclude(checked__in=("", "yes"))
    assert unverified.exists()
    act_as(client, agency)
    assert "unverified" in page_of(client, sign).content.decode()
    levels = page_of(client, sign).context["outlook"].parts[0].plot.spec["levels"]
    assert levels == [{"label": "level 35, unverified", "value": 35}]


def test_a_sign_nobody_read_says_that_and_offers_to_record_readings(client, agency):
    sign = make_sign(agency)
    assess_sign(sign=sign, now=NOW)
    act_as(client, agency)
    page = page_of(client, sign).content.decode()
    assert "no usable reading" in page
    assert reverse("record-readings", args=(sign.pk,)) in page
    assert "No reading of this face has been recorded" in page


def test_what_is_not_known_is_shown_as_not_known(client, agency):
    sign = make_sign(
        agency, sheeting_type="", optics="unknown", installed_on=None, fabricated_on=None
    )
    act_as(client, agency)
    page = page_of(client, sign).content.decode()
    assert page.count("not known") >= 4


def test_readings_are_drawn_against_the_level_and_written_beside_it(client, agency):
    sign = make_sign(agency)
    read(sign, white=("40", "42"), days_ago=400)
    read(sign, white=("36", "38"), days_ago=2)
    act_as(client, agency)
    response = page_of(client, sign)
    white, red = response.context["outlook"].parts
    assert (white.color, red.color) == ("white", "red")
    assert white.plot.spec["levels"] == [{"label": "level 35", "value": 35}]
    assert white.plot.spec["series"][0]["values"] == [41, 37]
    assert [row[2] for row in white.plot.rows] == ["41.0", "37.0"]
    page = response.content.decode()
    assert "37.00" in page  # the mean of 36 and 38
    assert "36, 38" in page


def test_a_corrected_reading_stays_and_is_marked(client, agency):
    sign = make_sign(agency)
    first = read(sign, white=("4",), is_confirmed=True)
    read(sign, white=("40",), corrects=first)
    act_as(client, agency)
    page = page_of(client, sign)
    assert "corrected since" in page.content.decode()
    white = page.context["outlook"].parts[0].plot
    assert [each["label"] for each in white.spec["series"]] == [
        "read, ± 90 %",
        "read, not counted",
    ]
    assert white.rows[0][1] == "read; not counted: corrected since"
    assert page.context["answer"].mark.word == "below"  # red 15 of white 40: contrast 2.67


def test_the_history_tells_what_was_seen_decided_and_removed(client, agency):
    sign = make_sign(agency)
    read(
        sign,
        observations=[ObservationInput("bent", 1, "lower corner")],
        inspector=act_as(client, agency),
    )
    decide_disposition(
        sign=sign,
        decision="defer",
        by=None,
        reason="New road next year",
        defer_until_on=(NOW + timedelta(days=90)).date(),
        now=NOW,
    )
    events = page_of(client, sign).context["timeline"]
    told = " ".join(f"{event.what} {event.detail}" for event in events)
    for fact in ("Installed", "white 40", "bent", "Decided: defer", "New road next year"):
        assert fact in told, fact
    assert [e.sort_key for e in events] == sorted((e.sort_key for e in events), reverse=True)


def test_the_earlier_face_of_the_place_is_one_step_away(client, agency):
    old = make_sign(agency)
    position = old.position
    Sign.objects.filter(pk=old.pk).update(
        state="removed", removed_on="2020-01-01", removal_reason="aged"
    )
    new = make_sign(agency, position=position)
    act_as(client, agency)
    assert reverse("sign-page", args=(old.pk,)) in page_of(client, new).content.decode()
    page = page_of(client, old).content.decode()
    assert "end of expected life" in page
    assert "Put on an order" not in page


def test_the_page_takes_the_same_queries_however_long_the_history(
    client, agency, django_assert_max_num_queries
):
    make_shop(agency=agency)
    sign = make_sign(agency)
    for n in range(6):
        read(sign, days_ago=n + 1, observations=[ObservationInput("bent", 1)])
    act_as(client, agency)
    with django_assert_max_num_queries(37):
        page_of(client, sign)


def test_the_crew_reads_the_page_but_orders_and_decides_nothing(client, agency):
    sign = make_sign(agency)
    make_shop(agency=agency)
    act_as(client, agency, Role.CREW)
    page = page_of(client, sign).content.decode()
    assert "Put on an order" not in page
    assert "Decide something else" not in page


def png():
    from io import BytesIO

    from PIL import Image

    file = BytesIO()
    Image.new("RGB", (40, 30), "red").save(file, "PNG")
    return file.getvalue()


def test_a_photo_is_sent_only_to_those_who_may_see_its_sign(client, agency):
    photo = store_photo(sign=make_sign(agency), content=png(), now=NOW)
    address = reverse("sign-photo", args=(photo.pk,))
    act_as(client, agency, Role.CREW)
    answer_ = client.get(address)
    assert answer_.status_code == 200
    assert answer_["X-Content-Type-Options"] == "nosniff"
    assert answer_["Content-Type"].startswith("image/")
    assert "private" in answer_["Cache-Control"]
    client.logout()
    assert client.get(address).status_code == 302
    act_as(client, make_agency())
    assert client.get(address).status_code == 404


def test_the_element_least_above_its_level_governs():
    def element(color, verdict, value, level):
        return ElementAssessment(
            color=color, verdict=verdict, value=Decimal(value), level=Decimal(level)
        )

    white = element("white", "below", "30", "35")
    red = element("red", "below", "3", "7")
    green = element("green", "meets", "1", "7")
    assert governing_element([white, red, green], "below") is red
    assert governing_element([], "no level") is None


def test_rounding_never_shows_a_value_at_a_level_it_does_not_reach(agency):
    sign = make_sign(agency)
    read(sign, white=("34.99", "35.00", "35.00"), red=("7.5",))
    shown = answer(sign_record(sign=sign, organisation=agency))
    assert shown is not None
    assert shown.governing is not None
    assert shown.governing.value.startswith("34.99")


def test_photo_input_is_part_of_a_visit_and_shown_with_it(client, agency):
    sign = make_sign(agency)
    record_inspection(
        sign=sign,
        taken_at=NOW,
        how="visual_day",
        photos=[PhotoInput(png(), caption="Leaning north")],
        now=NOW,
    )
    act_as(client, agency)
    assert "Leaning north" in page_of(client, sign).content.decode()


def test_what_the_imported_list_said_is_shown_in_its_own_words(client, agency):
    sign = make_sign(agency)
    run = ImportRun.objects.create(
        organisation=agency,
        source_name="yard list",
        file_name="list.csv",
        file_sha256="0" * 64,
        mapping_text="",
        started_at=NOW,
    )
    record = SourceRecord.objects.create(
        organisation=agency,
        source_name="yard list",
        external_id="A-7",
        raw={"Tag": "A-7", "Painter's note": "behind the hedge", "Empty": ""},
        row_sha256="0" * 64,
        first_run=run,
        last_run=run,
        changed_at=NOW,
    )
    SourceFace.objects.create(record=record, position=position_of(sign))
    act_as(client, agency)
    page = page_of(client, sign).content.decode()
    assert "yard list, row A-7" in page
    assert "behind the hedge" in page
    assert "Empty" not in page
