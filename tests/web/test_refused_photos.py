"""The page of photos that were refused: looked at, kept with a sign, or set aside."""

from __future__ import annotations

import re
from html import unescape

import pytest

from inventory.models import Photo, PhotoUpload, Role
from tests.factories import make_agency, make_sign
from tests.services.test_photo_uploads import make_device, picture, refused
from tests.web.acting import act_as, stop_the_clock

pytestmark = pytest.mark.django_db
LIST = "/from-phones/photos/"


@pytest.fixture(autouse=True)
def _here(settings, tmp_path, monkeypatch):
    settings.MEDIA_ROOT = tmp_path / "media"
    stop_the_clock(monkeypatch)


@pytest.fixture
def agency():
    return make_agency()


def text(answer):
    return unescape(answer.content.decode())


def test_a_refused_photo_is_listed_with_why_and_counted_on_its_tab(client, agency):
    refused(make_device(agency), picture(), caption="By the mill")
    act_as(client, agency)
    page = text(client.get(LIST))
    assert "By the mill" in page
    assert "no sign on record that the photo could be kept with" in page
    assert re.search(r"Photos refused[^/]*>1<", page)


def test_what_came_is_saved_as_a_file_and_never_shown_as_a_picture(client, agency):
    upload = refused(make_device(agency), b"<script>alert(1)</script>")
    act_as(client, agency)
    answer = client.get(f"{LIST}{upload.pk}/content/")
    assert answer.content == b"<script>alert(1)</script>"
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["Content-Disposition"].startswith("attachment")
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_a_photo_is_kept_with_the_sign_of_a_number(client, agency):
    upload, sign = refused(make_device(agency), picture()), make_sign(agency)
    act_as(client, agency)
    answer = client.post(f"{LIST}{upload.pk}/settle/", {"keep": "1", "sign": sign.pk})
    assert answer.status_code == 302
    assert Photo.objects.get().sign == sign


@pytest.mark.parametrize(
    ("sent", "status", "words"),
    [
        ({"keep": "1", "sign": "the big one"}, 404, "There is no sign 'the big one'"),
        ({"keep": "1", "sign": "999999"}, 404, "There is no sign '999999'"),
        ({"aside": "1", "reason": ""}, 400, "Say in a few words why"),
    ],
)
def test_what_cannot_be_done_is_said_and_what_was_typed_stays(
    client, agency, sent, status, words
):
    upload = refused(make_device(agency), picture())
    act_as(client, agency)
    answer = client.post(f"{LIST}{upload.pk}/settle/", sent)
    assert answer.status_code == status
    assert words in text(answer)
    assert f'value="{sent.get("sign", "")}"' in text(answer)


def test_a_photo_is_set_aside_once(client, agency):
    upload = refused(make_device(agency))
    act_as(client, agency)
    address = f"{LIST}{upload.pk}/settle/"
    assert client.post(address, {"aside": "1", "reason": "blurred"}).status_code == 302
    assert PhotoUpload.objects.get().state == PhotoUpload.State.SET_ASIDE
    assert client.post(address, {"aside": "1", "reason": "blurred"}).status_code == 409


def test_only_the_engineer_of_the_agency_decides(client, agency):
    upload = refused(make_device(agency))
    act_as(client, agency, Role.CREW)
    assert client.get(LIST).status_code == 403
    act_as(client, make_agency())
    assert client.get(f"{LIST}{upload.pk}/content/").status_code == 404
    assert client.post(f"{LIST}{upload.pk}/settle/", {"reason": "x"}).status_code == 404


def test_more_refused_photos_take_no_more_queries(
    client, agency, django_assert_max_num_queries
):
    device = make_device(agency)
    refused(device)
    act_as(client, agency)
    client.get(LIST)
    with django_assert_max_num_queries(13) as few:
        client.get(LIST)
    for _ in range(3):
        refused(device)
    with django_assert_max_num_queries(len(few)):
        client.get(LIST)
