"""The invented scenario: the same every time, plausible, never twice, and labelled."""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time

import pytest
from django.conf import settings
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command

from inventory.errors import NotPermittedError, OutOfRangeError, StateConflictError
from inventory.models import (
    ColourArea,
    OrderLine,
    Organisation,
    Photo,
    PressEvent,
    Reading,
    Sign,
    Support,
    User,
)
from inventory.services.demo.load import load_scenario
from inventory.services.demo.logins import demo_logins
from inventory.services.demo.words import words
from tests.factories import make_agency, make_person
from tests.kept import kept_records

SIZE = 0.05
LAST_DAY = words("scenario")["last_day"]


@pytest.fixture
def demo(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(settings, "IS_DEMO", True)


@pytest.fixture(scope="module")
def wanted(django_db_setup, django_db_blocker) -> str:
    """The number for an undisturbed load of the usual seed."""
    with pytest.MonkeyPatch.context() as patch, kept_records(django_db_blocker):
        patch.setattr(settings, "IS_DEMO", True)
        load()
        return digest()


def load(**options):
    return load_scenario(**{"size": SIZE} | options)


def digest() -> str:
    """Return a number for what is stored, whatever primary keys it was given."""
    rows = [
        sorted(
            Sign.objects.values_list(
                "position__support__external_key",
                "position__order_on_support",
                "sign_code",
                "state",
                "installed_on",
                "removed_on",
                "print_run__run_number",
                "print_number",
                "responsible",
                "legend_text",
            ),
            key=repr,
        ),
        sorted(
            Support.objects.values_list(
                "external_key", "latitude_deg", "longitude_deg", "road__name", "support_type"
            )
        ),
        sorted(
            Reading.objects.values_list(
                "reading_set__inspection__client_uuid", "reading_set__number", "number", "typed"
            )
        ),
        sorted(
            PressEvent.objects.values_list("kind", "happened_at", "roll__lot", "ink_lot"),
            key=repr,
        ),
        sorted(ColourArea.objects.values_list("color", "sheeting_type", "optics", "colouring")),
        sorted(Photo.objects.values_list("client_uuid", "sha256")),
        sorted(OrderLine.objects.values_list("order__number", "number", "sign_code")),
    ]
    text = json.dumps(rows, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


# The same every time -------------------------------------------------------------------------


@pytest.mark.django_db
def test_the_same_seed_gives_the_same_county(wanted, demo):
    assert _loaded_and_undone() == wanted


@pytest.mark.django_db
def test_another_seed_gives_another_county(demo):
    assert _loaded_and_undone(seed=1) != _loaded_and_undone(seed=2)


def _loaded_and_undone(**options) -> str:
    from django.db import transaction

    with transaction.atomic():
        load(**options)
        result = digest()
        transaction.set_rollback(True)
    return result


@pytest.mark.django_db
def test_loading_twice_stores_nothing_twice(demo):
    assert load().is_new
    before = digest()
    again = load()
    assert not again.is_new
    assert again.photos_made == 0
    assert digest() == before


@pytest.mark.django_db
def test_what_a_person_typed_since_is_kept(demo):
    agency = load().agency
    support = Support.objects.owned_by(agency).all()[0]
    support.side = "beside the chapel"
    support.save(update_fields=["side"])
    load()
    support.refresh_from_db()
    assert support.side == "beside the chapel"


class StoppedError(Exception):
    """Somebody pulled the plug."""


@pytest.mark.django_db
@pytest.mark.parametrize(("what", "at"), [("records", 3), ("records", 7), ("inspections", 1)])
def test_an_interrupted_load_leaves_nothing_and_the_next_one_is_whole(wanted, demo, what, at):
    def stop(kind: str, done: int, _total: int) -> None:
        if kind == what and done >= at:
            raise StoppedError

    with pytest.raises(StoppedError):
        load(progress=stop)
    assert not Organisation.objects.exists()
    assert not User.objects.exists()
    load()
    assert digest() == wanted


@pytest.mark.django_db
def test_pictures_go_on_where_they_stopped(wanted, demo):
    def stop(kind: str, done: int, _total: int) -> None:
        if kind == "photos" and done >= 1:
            raise StoppedError

    with pytest.raises(StoppedError):
        load(progress=stop)
    made = Photo.objects.count()
    assert made >= 1
    assert load().photos_made == Photo.objects.count() - made > 0
    assert digest() == wanted


@pytest.mark.faults
def test_a_load_that_is_killed_at_any_moment_is_made_good_by_the_next(tmp_path, migrated_file):
    environment = _environment(tmp_path / "killed", migrated_file)
    chance = random.Random(7)  # noqa: S311 - moments to kill at, no secret
    for _ in range(3):
        process = subprocess.Popen(
            [sys.executable, "manage.py", "load_demo", "--size", "0.1"],
            cwd=settings.BASE_DIR,
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(chance.uniform(0.5, 4.0))
        process.send_signal(signal.SIGKILL)
        process.wait()
    _run("load_demo", "--size", "0.1", environment=environment)
    whole_once = _environment(tmp_path / "once", migrated_file)
    _run("load_demo", "--size", "0.1", environment=whole_once)
    assert _digest_of(environment) == _digest_of(whole_once)


def _environment(folder, migrated_file) -> dict[str, str]:
    folder.mkdir()
    shutil.copyfile(migrated_file, folder / "demo.sqlite3")
    return os.environ | {
        "SIGNFLEET_DEMO": "1",
        "SIGNFLEET_VAR_DIR": str(folder),
        "DATABASE_URL": f"sqlite:///{folder}/demo.sqlite3",
    }


def _run(*arguments: str, environment: dict[str, str]) -> str:
    done = subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=settings.BASE_DIR,
        env=environment,
        check=False,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def _digest_of(environment: dict[str, str]) -> str:
    code = "from tests.services.test_demo import digest; print(digest())"
    return _run("shell", "--verbosity", "0", "-c", code, environment=environment)


# Where it may be loaded ----------------------------------------------------------------------


@pytest.mark.django_db
def test_it_is_refused_outside_the_demo():
    with pytest.raises(NotPermittedError, match="SIGNFLEET_DEMO is off"):
        load()
    assert not Organisation.objects.exists()


@pytest.mark.django_db
def test_forced_into_a_real_site_its_people_cannot_sign_in():
    load(is_forced=True)
    password = words("scenario")["logins"]["password"]
    assert authenticate(username="engineer", password=password) is None
    assert demo_logins() == []


@pytest.mark.django_db
def test_it_is_not_mixed_with_a_real_agency_of_that_name(demo):
    make_agency(name=words("scenario")["agency"]["name"])
    with pytest.raises(StateConflictError, match="not marked as invented"):
        load()


@pytest.mark.django_db
def test_it_does_not_take_over_a_persons_account(demo):
    person = make_person(make_agency())
    person.username = "engineer"
    person.save()
    with pytest.raises(StateConflictError, match="'engineer'"):
        load()


@pytest.mark.django_db
@pytest.mark.parametrize("size", [0.0, -0.1, 1.01])
def test_a_size_outside_zero_to_one_is_refused(demo, size):
    with pytest.raises(OutOfRangeError, match="over 0 and at most 1"):
        load(size=size)


@pytest.mark.django_db
def test_the_three_roles_can_sign_in_with_what_is_shown(demo):
    load()
    logins = demo_logins()
    assert [each.role for each in logins] == ["agency engineer", "field crew", "sign shop"]
    for each in logins:
        assert authenticate(username=each.username, password=each.password) is not None
        assert each.address.startswith("http")


@pytest.mark.django_db
def test_the_command_says_what_is_there(demo, capsys):
    call_command("load_demo", "--size", str(SIZE))
    assert "both invented" in capsys.readouterr().out
    call_command("load_demo", "--size", str(SIZE))
    assert capsys.readouterr().out.startswith("Already there")
    with pytest.raises(CommandError, match="at most 1"):
        call_command("load_demo", "--size", "2")


# Labelled ------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_everybody_and_every_picture_is_marked_as_invented(demo):
    result = load()
    assert result.agency.is_invented
    assert result.shop.is_invented
    assert not Organisation.objects.filter(is_invented=False).exists()
    assert not Photo.objects.filter(is_drawn=False).exists()
