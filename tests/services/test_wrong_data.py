"""Data said to be wrong: kept once as it was said, settled with a reason, never changed."""

from __future__ import annotations

import uuid

import pytest

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LogbookEntry, Sign, WrongDataFlag
from inventory.services.wrong_data import flag_wrong_data, open_wrong_data, settle_wrong_data
from tests.factories import NOW, make_agency, make_person, make_shop, make_sign
from tests.races import at_once

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def sign(agency):
    return make_sign(agency)


def test_what_is_said_is_kept_and_the_record_stays_as_it_is(agency, sign):
    crew = make_person(agency)
    flag = flag_wrong_data(sign=sign, field="code", said=" it is a Yield ", by=crew, now=NOW)
    assert (flag.said, flag.raised_by, flag.seen_at) == ("it is a Yield", crew, NOW)
    sign.refresh_from_db()
    assert sign.sign_code == "R1-1"
    assert list(open_wrong_data(agency)) == [flag]
    entry = LogbookEntry.objects.get(sign=sign, verb="flag wrong data")
    assert entry.text == "Said to be wrong, the code or legend: it is a Yield"


def test_sent_twice_it_is_kept_once_and_other_words_are_refused(sign):
    key = uuid.uuid4()
    once = {"sign": sign, "field": "size", "said": "36 in", "client_uuid": key, "now": NOW}
    assert flag_wrong_data(**once) == flag_wrong_data(**once)
    with pytest.raises(StateConflictError, match="Something else was already flagged"):
        flag_wrong_data(**once | {"said": "48 in"})
    assert WrongDataFlag.objects.get().said == "36 in"


@pytest.mark.parametrize(
    ("field", "said", "words"),
    [
        ("code", " ", "Say what is wrong"),
        ("code", "x" * 256, "there are 256"),
        ("colour", "red", "'colour' is nothing on record"),
        ("added", "new", "'added' is nothing on record"),
    ],
)
def test_what_says_nothing_is_refused(sign, field, said, words):
    with pytest.raises(OutOfRangeError, match=words):
        flag_wrong_data(sign=sign, field=field, said=said, now=NOW)
    assert not WrongDataFlag.objects.exists()


def test_shop_stock_is_not_an_agencys_record():
    face = Sign.objects.create(maker=make_shop(), state=Sign.State.IN_STOCK)
    with pytest.raises(StateConflictError, match="is shop stock"):
        flag_wrong_data(sign=face, field="code", said="no", now=NOW)


def test_it_is_settled_once_with_a_reason(agency, sign):
    engineer = make_person(agency)
    flag = flag_wrong_data(sign=sign, field="place", said="north side", now=NOW)
    with pytest.raises(OutOfRangeError, match="Say in a few words"):
        settle_wrong_data(flag=flag, reason=" ", by=engineer, now=NOW)
    settle_wrong_data(flag=flag, reason="moved on 2 June", by=engineer, now=NOW)
    assert not open_wrong_data(agency).exists()
    with pytest.raises(StateConflictError, match=r"was settled at .*: moved on 2 June"):
        settle_wrong_data(flag=flag, reason="again", by=engineer, now=NOW)
    assert flag.settlement.settled_by == engineer


@pytest.mark.django_db(transaction=True)
def test_two_engineers_at_once_settle_it_once():
    flag = flag_wrong_data(sign=make_sign(make_agency()), field="size", said="36", now=NOW)
    outcomes = at_once(
        *[lambda n=n: settle_wrong_data(flag=flag, reason=f"by {n}", now=NOW) for n in (1, 2)]
    )
    assert sorted(type(each).__name__ for each in outcomes) == [
        "NoneType",
        "StateConflictError",
    ]


@pytest.mark.django_db(transaction=True)
def test_one_key_sent_twice_at_once_is_kept_once():
    sign, key = make_sign(make_agency()), uuid.uuid4()

    def say() -> None:
        flag_wrong_data(sign=sign, field="size", said="36 in", client_uuid=key, now=NOW)

    assert at_once(say, say) == [None, None]
    assert WrongDataFlag.objects.count() == 1
