"""Signs added, records said to be wrong, and records made twice: the engineer's pages."""

from __future__ import annotations

import pytest
from django.urls import reverse

from inventory.models import (
    Role,
    Sign,
    SignMerge,
    SignMergeUndo,
    Standing,
    SupportMerge,
    SupportMergeUndo,
    WrongDataSettlement,
)
from inventory.services.inspection import ReadingSetInput, record_inspection
from inventory.services.merging import merge_signs, merge_supports
from inventory.services.new_signs import NewSupport, add_unknown_sign
from inventory.services.standing import refresh_standing
from inventory.services.wrong_data import flag_wrong_data
from tests.factories import (
    NOW,
    make_agency,
    make_position,
    make_sign,
    make_support,
    position_of,
)
from tests.web.acting import act_as, read_reminder, stop_the_clock

pytestmark = pytest.mark.django_db

ADDED, WRONG, MERGES = (
    reverse("added-signs"),
    reverse("wrong-data"),
    reverse("merge-list"),
)


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency("Alder County")


@pytest.fixture
def engineer(client, agency):
    return act_as(client, agency, Role.ENGINEER)


def text(answer):
    return answer.content.decode()


def standing_sign(agency, latitude_deg=43.0, **fields):
    position = make_position(agency, support=make_support(agency, latitude_deg=latitude_deg))
    sign = make_sign(agency, position=position, **fields)
    refresh_standing(sign=sign, now=NOW)
    return sign


def added(agency, latitude_deg=43.0001):
    return add_unknown_sign(
        organisation=agency,
        support=NewSupport(latitude_deg, -89.5, 6.0),
        sign_code="R1-1",
        note="behind the hedge",
        now=NOW,
    )


# --- signs added -----------------------------------------------------------------------------


def test_an_added_sign_is_shown_with_what_stands_near_it(client, agency, engineer):
    near = standing_sign(agency)
    far = standing_sign(agency, 43.0005)
    sign = added(agency)
    page = client.get(ADDED)
    # 0.0001° of latitude are 36 ft and 0.0004° 146 ft (111.2 km a degree on the sphere).
    (row,) = page.context["rows"]
    assert [each.sign for each in row[1]] == [near]
    assert "36 ft south" in text(page)
    assert "behind the hedge" in text(page)
    assert reverse("merge-signs", args=(near.pk, sign.pk)) in text(page)
    assert f"sign {far.pk}" not in text(page)


def test_one_of_its_own_is_settled_with_a_reason(client, agency, engineer):
    sign = added(agency)
    flag = sign.wrong_data_flags.get()
    address = reverse("wrong-data-settle", args=(flag.pk,))
    refused = client.post(address, {"reason": " "})
    assert refused.status_code == 400
    assert "Say in a few words" in text(refused)
    assert "Signs added" in text(refused)
    page = client.post(address, {"reason": "new driveway, two signs"}, follow=True)
    assert "No sign that a crew added waits" in text(page)
    assert WrongDataSettlement.objects.get().settled_by == engineer


def test_added_signs_are_listed_in_few_queries(
    client, agency, engineer, django_assert_max_num_queries
):
    for n in range(22):
        standing_sign(agency, 43 + n / 1000)
        added(agency, 43.0001 + n / 1000)
    with django_assert_max_num_queries(16):
        page = client.get(ADDED)
    assert len(page.context["rows"]) == 20
    assert all(len(near) == 1 for _flag, near, _more in page.context["rows"])


# --- said to be wrong ------------------------------------------------------------------------


def test_what_is_said_to_be_wrong_is_listed_and_settled(client, agency, engineer):
    sign = make_sign(agency)
    flag = flag_wrong_data(sign=sign, field="size", said="it is <36> in", now=NOW)
    flag_wrong_data(sign=make_sign(make_agency()), field="size", said="not ours", now=NOW)
    page = text(client.get(WRONG))
    assert "The size:" in page
    assert "it is &lt;36&gt; in" in page
    assert "not ours" not in page
    assert "it is &lt;36&gt; in" in text(client.get(reverse("sign-page", args=(sign.pk,))))
    address = reverse("wrong-data-settle", args=(flag.pk,))
    done = client.post(address, {"reason": "measured, put right"}, follow=True)
    assert "No crew says that a record is wrong" in text(done)
    assert "measured, put right" in text(client.get(f"{WRONG}?show=settled"))
    again = client.post(address, {"reason": "once more"})
    assert again.status_code == 409
    assert "This was settled at" in text(again)


def test_flags_are_paged_and_listed_in_few_queries(
    client, agency, engineer, django_assert_max_num_queries
):
    for n in range(30):
        flag_wrong_data(sign=make_sign(agency), field="size", said=f"{n} in", now=NOW)
    with django_assert_max_num_queries(14):
        page = client.get(WRONG)
    assert len(page.context["page"].object_list) == 25


# --- recorded twice --------------------------------------------------------------------------


def test_from_a_sign_to_the_one_it_is_and_back(client, agency, engineer):
    kept, duplicate = standing_sign(agency), standing_sign(agency, 43.0001)
    start = text(client.get(reverse("sign-page", args=(duplicate.pk,))))
    candidates = reverse("same-sign", args=(duplicate.pk,))
    assert candidates in start
    address = reverse("merge-signs", args=(kept.pk, duplicate.pk))
    assert address in text(client.get(candidates))
    compare = text(client.get(address))
    assert "36 ft apart" in compare
    assert reverse("merge-signs", args=(duplicate.pk, kept.pk)) in compare
    assert client.post(address, {"why": ""}).status_code == 400
    done = text(client.post(address, {"why": "one face, seen"}, follow=True))
    assert f'Also on record as <a href="/signs/{duplicate.pk}/">' in done
    merge = SignMerge.objects.get()
    assert merge.merged_by == engineer
    gone = text(client.get(reverse("sign-page", args=(duplicate.pk,))))
    assert "This sign was recorded twice: it is" in gone
    assert "one face, seen" in text(client.get(MERGES))
    undo = reverse("undo-sign-merge", args=(merge.pk,))
    refused = client.post(undo, {"reason": ""})
    assert refused.status_code == 400
    assert "why the merge is undone" in text(refused)
    page = client.post(undo, {"reason": "two faces"}, follow=True)
    assert "the two are apart again" in text(page)
    assert SignMergeUndo.objects.get().undone_by == engineer
    assert Sign.objects.get(pk=duplicate.pk).state == "installed"


def test_a_reading_of_the_duplicate_is_put_right_on_the_sign_kept(client, agency, engineer):
    kept, duplicate = standing_sign(agency), standing_sign(agency, 43.0001)
    wrong = record_inspection(
        sign=duplicate,
        taken_at=NOW,
        how="hand_held",
        reading_sets=[ReadingSetInput("white", ["6.0"]), ReadingSetInput("red", ["1.2"])],
        now=NOW,
    )
    merge_signs(kept=kept, duplicate=duplicate, reason="one face", now=NOW)
    read_reminder(client)
    address = f"{reverse('record-readings', args=(kept.pk,))}?corrects={wrong.pk}"
    page = client.get(address)
    assert 'value="6.0"' in text(page)
    form = page.context["form"]
    typed = {name: form[name].value() or "" for name in form.fields if name != "photo"}
    white = next(each for each in typed if typed[each] == "6.0")
    client.post(address, typed | {white: "60"})
    assert kept.inspections.get().corrects == wrong
    assert Standing.objects.get(sign=kept).verdict == "below"  # red still reads 1.2


def test_a_merge_that_cannot_be_is_told_on_the_page(client, agency, engineer):
    kept, duplicate = make_sign(agency), make_sign(agency, label_id="001-0JK")
    answer = client.post(
        reverse("merge-signs", args=(kept.pk, duplicate.pk)), {"why": "one face"}
    )
    assert answer.status_code == 409
    assert "so that its label still finds it" in text(answer)
    assert "one face" in text(answer)


def test_two_posts_are_merged_and_taken_apart(client, agency, engineer):
    one, other = standing_sign(agency), standing_sign(agency, 43.00003)
    kept, duplicate = position_of(one).support, position_of(other).support
    address = reverse("merge-supports", args=(kept.pk, duplicate.pk))
    page = text(client.get(address))
    assert "11 ft apart" in page
    assert f"sign {other.pk}" in page
    client.post(address, {"why": "one post"})
    merge = SupportMerge.objects.get()
    assert position_of(Sign.objects.get(pk=other.pk)).support == kept
    listed = text(client.get(f"{MERGES}?show=supports"))
    assert "one post" in listed
    assert "1 place moved over" in listed
    undo = reverse("undo-support-merge", args=(merge.pk,))
    assert client.post(undo, {"reason": ""}).status_code == 400
    client.post(undo, {"reason": "two posts"})
    assert SupportMergeUndo.objects.get().reason == "two posts"


def test_merges_are_paged_and_listed_in_few_queries(
    client, agency, engineer, django_assert_max_num_queries
):
    for _ in range(27):
        merge_signs(kept=make_sign(agency), duplicate=make_sign(agency), reason="x", now=NOW)
        merge_supports(
            kept=make_support(agency), duplicate=make_support(agency), reason="x", now=NOW
        )
    for address in (MERGES, f"{MERGES}?show=supports"):
        with django_assert_max_num_queries(12):
            page = client.get(address)
        assert len(page.context["page"].object_list) == 25


def test_signs_of_others_cannot_be_compared(client, agency, engineer):
    ours, theirs = make_sign(agency), make_sign(make_agency())
    for pair in ((ours.pk, theirs.pk), (theirs.pk, ours.pk)):
        assert client.get(reverse("merge-signs", args=pair)).status_code == 404
    assert client.get(reverse("same-sign", args=(theirs.pk,))).status_code == 404


def test_a_crew_sees_what_is_said_but_neither_settles_nor_merges(client, agency):
    sign = make_sign(agency)
    flag = flag_wrong_data(sign=sign, field="size", said="it is 36 in", now=NOW)
    act_as(client, agency, Role.CREW)
    page = text(client.get(reverse("sign-page", args=(sign.pk,))))
    assert "it is 36 in" in page
    assert reverse("same-sign", args=(sign.pk,)) not in page
    assert client.post(reverse("wrong-data-settle", args=(flag.pk,))).status_code == 403
    assert client.get(MERGES).status_code == 403
