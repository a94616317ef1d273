"""Steps after the press by the shop's own list, and the blanks that faces take."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Blank, FaceStep, Role, ShopStep, Sign
from inventory.services.production.blanks import add_blanks, blanks_left, change_count
from inventory.services.production.steps import (
    done_on,
    mark_step,
    next_steps,
    set_step,
    withdraw_step,
)
from tests.factories import NOW, make_agency, make_person
from tests.services.test_order_life import World

pytestmark = pytest.mark.django_db
PRINTED_AT = NOW - timedelta(minutes=1)  # see print_order


class Printed(World):
    def __init__(self):
        super().__init__()
        self.faces = self.printed()
        self.dry, self.film, self.put = (
            set_step(shop=self.shop, name=name, kind=kind, least_hours=hours, now=NOW)
            for name, kind, hours in (
                ("Dry", "dried", None),
                ("Laminate", "laminated", 24.0),
                ("Put on its blank", "applied", None),
            )
        )

    def blanks(self, count=3, **more):
        size = {"width_in": 30.0, "height_in": 30.0, "thickness_in": 0.08}
        return add_blanks(shop=self.shop, count=count, now=NOW, **size | more)

    def mark(self, step, faces=None, hours=0, **more):
        at = PRINTED_AT + timedelta(hours=hours)
        return mark_step(
            signs=self.faces if faces is None else faces,
            step=step,
            done_at=at,
            now=at + timedelta(minutes=1),
            **more,
        )


@pytest.fixture
def world(db):
    return Printed()


def test_steps_are_done_in_order_and_after_their_hours(world):
    assert [step.place for step in (world.dry, world.film, world.put)] == [1, 2, 3]
    with pytest.raises(StateConflictError, match="'Dry' comes before 'Laminate'"):
        world.mark(world.film, hours=30)
    assert world.mark(world.dry) == 3
    with pytest.raises(StateConflictError, match="asks for 24 h since printing"):
        world.mark(world.film, hours=23.9)
    assert world.mark(world.film, hours=24) == 3
    with pytest.raises(StateConflictError, match="is done on face"):
        world.mark(world.film, hours=25)
    assert {each.step for each in done_on(world.faces)[world.faces[0].pk].values()} == {
        world.dry,
        world.film,
    }
    after = next_steps(world.shop, world.faces)
    assert {each.step for each in after.values() if each} == {world.put}


def test_when_the_next_step_may_be_done_is_told(world):
    world.mark(world.dry, faces=world.faces[:1])
    told = next_steps(world.shop, world.faces)
    first, second = (told[face.pk] for face in world.faces[:2])
    assert first is not None
    assert second is not None
    assert (first.step, second.step) == (world.film, world.dry)
    assert first.not_before == PRINTED_AT + timedelta(hours=24)
    assert second.not_before is None


def test_a_step_is_marked_in_as_many_queries_for_many_faces(
    world, django_assert_max_num_queries
):
    with django_assert_max_num_queries(10) as one:
        world.mark(world.dry, faces=world.faces[:1])
    with django_assert_max_num_queries(len(one)):
        world.mark(world.dry, faces=world.faces[1:])


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"faces": []}, "pick 1 to 500"),
        ({"hours": -2}, "printed, or its step before done, after"),
    ],
)
def test_what_cannot_be_is_refused(world, more, sentence):
    with pytest.raises(OutOfRangeError, match=sentence):
        world.mark(world.dry, **more)
    assert not FaceStep.objects.exists()


def test_a_step_that_was_not_done_is_withdrawn_the_last_first(world):
    world.mark(world.dry)
    world.mark(world.film, hours=24)
    face = world.faces[0]
    with pytest.raises(StateConflictError, match="withdraw that first"):
        withdraw_step(sign=face, step=world.dry, reason="wrong run", now=NOW)
    with pytest.raises(OutOfRangeError, match="Say why"):
        withdraw_step(sign=face, step=world.film, reason=" ", now=NOW)
    later = NOW + timedelta(days=2)
    withdraw_step(sign=face, step=world.film, reason="film was not on", now=later)
    assert world.film.pk not in done_on([face])[face.pk]
    assert FaceStep.objects.filter(sign=face).count() == 3  # what was written stays
    with pytest.raises(StateConflictError, match="not on record as done"):
        withdraw_step(sign=face, step=world.film, reason="again", now=later)
    assert world.mark(world.film, faces=[face], hours=72) == 1


def test_a_face_takes_a_blank_of_its_size(world):
    world.mark(world.dry)
    world.mark(world.film, hours=24)
    with pytest.raises(OutOfRangeError, match="say which"):
        world.mark(world.put, hours=25)
    with pytest.raises(StateConflictError, match="pick blanks of its size"):
        world.mark(world.put, hours=25, blank=world.blanks(width_in=36.0))
    blank = world.blanks(count=2)
    with pytest.raises(StateConflictError, match="2 are in stock"):
        world.mark(world.put, hours=25, blank=blank)
    assert not Sign.objects.filter(panel__isnull=False, maker=world.shop).exists()
    world.mark(world.put, faces=world.faces[:2], hours=25, blank=blank)
    assert blanks_left([blank]) == {blank.pk: 0}
    panel = Sign.objects.get(pk=world.faces[0].pk).panel
    assert panel is not None
    assert (panel.width_in, panel.thickness_in) == (30.0, 0.08)
    withdraw_step(
        sign=world.faces[0], step=world.put, reason="fell off", now=NOW + timedelta(days=3)
    )
    assert blanks_left([blank]) == {blank.pk: 1}
    assert Sign.objects.get(pk=world.faces[0].pk).panel is None
    cut = set_step(shop=world.shop, name="Cut", kind="cut", place=4, now=NOW)
    with pytest.raises(OutOfRangeError, match="puts no face on a blank"):
        world.mark(cut, faces=world.faces[1:2], hours=26, blank=blank)


def test_blanks_come_in_and_go_out_with_a_reason(world):
    blank = world.blanks(count=5)
    assert world.blanks(count=4).pk == blank.pk  # the same kind
    change_count(blank=blank, change=-3, reason="bent", now=NOW)
    assert blanks_left([blank]) == {blank.pk: 6}
    with pytest.raises(StateConflictError, match="6 are in stock"):
        change_count(blank=blank, change=-7, reason="bent", now=NOW)
    for change, reason, sentence in ((0, "none", "not 0"), (1, " ", "Say why")):
        with pytest.raises(OutOfRangeError, match=sentence):
            change_count(blank=blank, change=change, reason=reason, now=NOW)
    for size in ({"width_in": 0}, {"thickness_in": 2}, {"height_in": float("nan")}):
        with pytest.raises(OutOfRangeError, match="out of range"):
            world.blanks(**size)
    with pytest.raises(StateConflictError, match="only a sign shop"):
        add_blanks(
            shop=world.agency, width_in=30, height_in=30, thickness_in=0.08, count=1, now=NOW
        )


def test_the_list_is_the_shops_own(world):
    with pytest.raises(StateConflictError, match="a step 'Dry' already"):
        set_step(shop=world.shop, name="Dry", kind="dried", now=NOW)
    for more, sentence in (
        ({"name": ""}, "Give the step a name"),
        ({"kind": "baked"}, "Give the step a name and a kind"),
        ({"least_hours": -1}, "-1 hours"),
        ({"place": 0}, "1 to 99"),
    ):
        with pytest.raises(OutOfRangeError, match=sentence):
            set_step(**{"shop": world.shop, "name": "New", "kind": "other", "now": NOW} | more)
    set_step(
        shop=world.shop, step=world.dry, name="Dry", kind="dried", is_in_use=False, now=NOW
    )
    first = next_steps(world.shop, world.faces[:1])[world.faces[0].pk]
    assert first is not None
    assert first.step == world.film


def test_steps_and_blanks_on_the_pages(client, world):
    client.force_login(make_person(world.shop, Role.SHOP))
    added = {"name": "Cut", "kind": "cut", "place": "4", "is_in_use": "on"}
    assert client.post(reverse("step-add"), added | {"kind": ""}).status_code == 400
    assert client.post(reverse("step-add"), added).status_code == 302
    step = ShopStep.objects.get(name="Cut")
    renamed = added | {"name": "Trim", "least_hours": "1"}
    assert client.post(reverse("step-set", args=[step.pk]), renamed).status_code == 302
    assert "Trim" in client.get(reverse("step-list")).content.decode()
    run = world.faces[0].print_run_id
    address = reverse("run-steps", args=[run])
    assert client.get(address).content.decode().count(" checked") == 3
    picked = [face.pk for face in world.faces]
    at = f"{(PRINTED_AT + timedelta(minutes=2)).astimezone():%Y-%m-%dT%H:%M}"
    typed = {"step": world.dry.pk, "done_at": at, "faces": picked, "blank": ""}
    assert client.post(address, typed | {"faces": []}).status_code == 400
    assert client.post(address, typed).status_code == 302
    one = reverse("face-steps", args=[world.faces[0].pk])
    assert "Dry" in client.get(one).content.decode()
    assert client.post(one, {"step": world.dry.pk, "reason": ""}).status_code == 409
    assert client.post(one, {"step": world.dry.pk, "reason": "no"}).status_code == 302
    blanks = reverse("stock-blanks")
    taken = {"width_in": "30", "height_in": "30", "thickness_in": "0.080", "count": "12"}
    assert client.post(blanks, taken | {"count": "many"}).status_code == 400
    assert client.post(blanks, taken).status_code == 302
    blank = Blank.objects.get()
    page = reverse("blank-page", args=[blank.pk])
    assert client.post(page, {"change": "-2", "reason": "bent"}).status_code == 302
    assert "10 in stock" in client.get(page).content.decode()
    client.force_login(make_person(make_agency(), Role.ENGINEER))
    for each in (address, one, blanks, page):
        assert client.get(each).status_code == 403
