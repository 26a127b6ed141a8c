"""A photographer's own account: data, password; nobody else's, and not by whoever finds the machine unlocked."""

from __future__ import annotations

from io import StringIO

import pytest
from django.contrib.auth.models import User
from django.core import mail
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from galleries.models import JournalLine
from galleries.steps import jobs
from galleries.steps.demo import demo_sitting
from galleries.steps.people import account as accounts
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
SECRET, NEW = "a long enough secret", "quite another long one"
DATA = {"first_name": "Tamsin", "last_name": "Orr", "email": "tamsin@orr.example", "password": SECRET}


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    cast.owner.set_password(SECRET)
    cast.owner.save()
    return cast


def test_the_account_is_for_the_studios_people_and_shows_ones_own(cast: Cast) -> None:
    page = cast.client_of(cast.colleague).get("/account").content.decode()
    assert "colleague@northlight.example" in page
    assert "tamsin@northlight.example" not in page.split("<main", 1)[1].split("</main>", 1)[0]
    for somebody in (Client(), cast.client_of(cast.subject)):
        for name, ask in (("account", "get"), ("account-data", "post"), ("account-password", "post")):
            answer = getattr(somebody, ask)(reverse(name), DATA)
            assert answer.status_code == 302
            assert answer["Location"].startswith("/sign-in?next=")


def test_name_and_address_are_kept_and_the_old_address_is_told(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    assert client.post("/account/data", DATA).status_code == 302
    cast.owner.refresh_from_db()
    assert (cast.owner.get_full_name(), cast.owner.email) == ("Tamsin Orr", "tamsin@orr.example")
    jobs.run_waiting()
    (letter,) = mail.outbox
    assert letter.to == ["tamsin@northlight.example"]
    assert "tamsin@orr.example" not in letter.body
    assert JournalLine.objects.get(verb="address changed").detail == {"account": cast.owner.pk}
    jobs.run_waiting()
    assert len(mail.outbox) == 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"password": "guess"}, "not your present password"),
        ({"password": ""}, "not your present password"),
        ({"email": "COLLEAGUE@northlight.example"}, "Another account"),
        ({"email": "no address"}, "E-mail"),
        ({"first_name": "Tamsin (photographer)"}, "without brackets"),
        ({"first_name": " ", "last_name": ""}, "Give your name"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_changes(cast: Cast, change: dict[str, str], said: str) -> None:
    answer = cast.client_of(cast.owner).post("/account/data", {**DATA, **change})
    assert answer.status_code in {400, 409}
    assert said in answer.content.decode()
    cast.owner.refresh_from_db()
    assert (cast.owner.first_name, cast.owner.email) == ("Tamsin", "tamsin@northlight.example")
    assert not mail.outbox


def test_a_new_password_ends_every_other_session_and_is_told(cast: Cast) -> None:
    here, elsewhere = cast.client_of(cast.owner), cast.client_of(cast.owner)
    assert here.post("/account/password", {"present": SECRET, "new": NEW, "again": NEW}).status_code == 302
    assert here.get("/account").status_code == 200
    assert elsewhere.get("/account").status_code == 302
    assert not Client().login(username=cast.owner.username, password=SECRET)
    assert Client().login(username=cast.owner.username, password=NEW)
    jobs.run_waiting()
    (letter,) = mail.outbox
    assert letter.to == ["tamsin@northlight.example"]
    assert NEW not in letter.body


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"present": "guess"}, "not your present password"),
        ({"again": NEW + "!"}, "not typed the same twice"),
        ({"new": "short", "again": "short"}, "too short"),
        ({"new": "password1234", "again": "password1234"}, "too common"),
        ({"new": "trustno1trustno1", "again": "trustno1trustno1"}, "easily guessed"),  # of the leaked lists, twice
        ({"new": "iloveyou12345678", "again": "iloveyou12345678"}, "easily guessed"),
        ({"new": "Northlight2026", "again": "Northlight2026"}, "easily guessed"),  # the studio's own word
        ({"new": "x" * 1001, "again": "x" * 1001}, "1000"),
    ],
)
def test_a_password_that_will_not_do(cast: Cast, change: dict[str, str], said: str) -> None:
    answer = cast.client_of(cast.owner).post(
        "/account/password", {"present": SECRET, "new": NEW, "again": NEW, **change}
    )
    assert answer.status_code == 400
    assert said in answer.content.decode()
    assert Client().login(username=cast.owner.username, password=SECRET)


def test_the_present_password_cannot_be_guessed_at_an_unlocked_machine(cast: Cast, settings: object) -> None:
    settings.DOOR_TRIES = 2  # type: ignore[attr-defined]
    client = cast.client_of(cast.owner)
    for _try in range(2):
        assert client.post("/account/data", {**DATA, "password": "guess"}).status_code == 400
    assert client.post("/account/data", DATA).status_code == 429
    assert client.post("/account/password", {"present": SECRET, "new": NEW, "again": NEW}).status_code == 429


def test_who_comes_by_letters_only_sets_a_first_password(cast: Cast) -> None:
    client = cast.client_of(cast.colleague)
    page = client.get("/account").content.decode()
    assert "Present password" not in page
    assert client.post("/account/password", {"new": NEW, "again": NEW}).status_code == 302
    assert Client().login(username=cast.colleague.username, password=NEW)


# --- accounts made by the operator and the demo ---


def test_the_operator_makes_an_account_of_every_day() -> None:
    said = StringIO()
    call_command("photographer", "iza", "--email", "iza@morell.example", "--name", "Iza Morell", stdout=said)
    made = User.objects.get(username="iza")
    assert (made.is_superuser, made.is_staff, made.has_usable_password()) == (False, False, False)
    assert made.get_full_name() == "Iza Morell"
    client = Client()
    link = said.getvalue().split()[-1]
    assert client.post("/" + link.split("/", 3)[3]).status_code == 302
    assert client.get("/account").status_code == 200
    assert client.get("/upkeep/").status_code == 302
    for wrong in (("iza", "other@morell.example"), ("nora", "IZA@morell.example"), ("n o", "n@o.example")):
        with pytest.raises(CommandError):
            call_command("photographer", wrong[0], "--email", wrong[1])


def test_the_demos_account_is_a_photographers_and_no_operators() -> None:
    User.objects.create_user("imre", is_superuser=True)  # as an earlier release made it
    owner = User.objects.get(pk=demo_sitting.photographer().pk)
    assert not owner.is_superuser
    client = Client()
    client.force_login(owner)
    for page in ("galleries/job/", "auth/user/", "auth/group/"):
        answer = client.get(f"/upkeep/{page}")
        assert (answer.status_code, answer["Location"].partition("?")[0]) == (302, "/upkeep/login/")
    for page in ("/account", "/studio/own"):
        assert b"/upkeep/" not in client.get(page).content


def test_staff_without_the_permission_sees_no_table() -> None:
    somebody = User.objects.create_user("somebody", is_staff=True)
    client = Client()
    client.force_login(somebody)
    assert client.get("/upkeep/galleries/job/").status_code == 403
    assert client.get("/upkeep/galleries/studio/").status_code == 403
    accounts.allow_upkeep(somebody)
    assert client.get("/upkeep/galleries/job/").status_code == 200
