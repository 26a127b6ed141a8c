"""Every letter of a sitting: what became of it and why, what it says, a link to copy, and once more."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.core import mail as post
from django.test import Client
from django.urls import reverse

from galleries.models import InviteLink, Job, JournalLine, Letter, Studio
from galleries.steps import jobs
from galleries.steps.people import letters, posting
from galleries.steps.people.mail import is_this_machine
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
TOKEN = re.compile(r"/i/([\w-]{32})")


@pytest.fixture
def cast() -> Cast:
    made = make_cast()
    Studio.objects.update(letters_from=0, letters_until=24)
    return made


@pytest.fixture
def by_mail(settings: Any) -> None:
    settings.MAIL, settings.BASE_URL = "smtp", "https://proofs.northlight.example"


def away(_letter: int) -> None:
    raise ConnectionRefusedError("no mail server")


def page(client: Client, cast: Cast, name: str = "studio-letters", *more: int) -> str:
    answer = client.get(reverse(name, args=[cast.sitting.slug, *more]))
    assert answer.status_code == 200
    return answer.content.decode()


def press(client: Client, cast: Cast, letter: Letter, act: str) -> str:
    answer = client.post(reverse(f"studio-letter-{act}", args=[cast.sitting.slug, letter.pk]), follow=True)
    return answer.content.decode()


def sent(cast: Cast, kind: str = "proofs") -> Letter:
    [letter] = letters.notify(cast.sitting, kind, [cast.subject])
    jobs.run_waiting(kinds=["letter"])
    letter.refresh_from_db()
    return letter


@pytest.mark.usefixtures("by_mail")
def test_a_letter_that_went_is_kept_without_its_link(cast: Cast, client: Client) -> None:
    letter = sent(cast)
    [(token)] = TOKEN.findall(post.outbox[0].body)
    assert letter.text.startswith(post.outbox[0].subject)
    assert posting.LINK in letter.text
    assert token not in str(Letter.objects.values())
    listed, read = page(client, cast), page(client, cast, "studio-letter", letter.pk)
    assert "ansa@veld.example" in listed
    assert "sent" in listed
    assert "not set up" not in listed + read
    assert "Dear Ansa Veld" in read
    assert "not kept" in read
    assert "As it would be written now" not in read


def test_where_mail_is_not_set_up_every_place_says_so_and_shows_letter_and_link(cast: Cast, client: Client) -> None:
    sent(cast)
    for name in ("letters", "people", "lists", "finals", "delivery", "usage"):
        shown = page(client, cast, f"studio-{name}")
        assert "reach nobody" in shown
        assert "on this machine only" in shown
    assert "not mailed" in page(client, cast)
    invited = {"role": "assistant", "name": "Ines Maro", "email": "ines@maro.example", "letter": "on"}
    answer = client.post(reverse("studio-invite", args=[cast.sitting.slug]), invited, follow=True)
    said = answer.content.decode()
    assert "on its way" not in said
    assert "hand the link over yourself" in said
    assert "Dear Ines Maro" in said
    shown = press(client, cast, Letter.objects.latest("pk"), "link")
    [one, *_more] = set(TOKEN.findall(shown))
    assert TOKEN.findall(shown).count(one) == 2  # to copy, and in the letter itself
    assert client.get(f"/i/{one}").status_code in {200, 302}


@pytest.mark.usefixtures("by_mail")
def test_sent_again_is_one_more_letter_with_a_link_of_its_own_however_often_it_is_pressed(
    cast: Cast, client: Client
) -> None:
    letter = sent(cast)
    for _press in range(2):
        assert "The letter to Ansa Veld is on its way" in press(client, cast, letter, "again")
    jobs.run_waiting(kinds=["letter"])
    assert len(post.outbox) == 2
    assert len({token for one in post.outbox for token in TOKEN.findall(one.body)}) == 2
    assert JournalLine.objects.filter(verb="letter", thing="letter to Ansa Veld").count() == 1
    press(client, cast, letter, "again")
    jobs.run_waiting(kinds=["letter"])
    assert sorted(Letter.objects.values_list("about", flat=True)) == ["", "-again-1", "-again-2"]


@pytest.mark.usefixtures("by_mail")
def test_what_failed_or_waits_says_why_and_goes_when_it_is_asked_for(
    cast: Cast, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as broken:
        broken.setitem(jobs.KINDS, "letter", away)
        [letter] = letters.notify(cast.sitting, "proofs", [cast.subject])
        jobs.run_waiting(kinds=["letter"])
    assert "Next try at" in page(client, cast)
    Job.objects.filter(kind="letter").update(state="failed", not_before=None)
    assert "failed" in page(client, cast)
    assert "As it would be written now" in page(client, cast, "studio-letter", letter.pk)
    press(client, cast, letter, "again")
    jobs.run_waiting(kinds=["letter"])
    assert len(post.outbox) == 1
    assert Letter.objects.get().way == "smtp"


@pytest.mark.usefixtures("by_mail")
def test_a_letter_held_back_by_the_hour_says_when_letters_go(cast: Cast, client: Client) -> None:
    letters.notify(cast.sitting, "proofs", [cast.subject])
    with pytest.MonkeyPatch.context() as clock:
        clock.setattr(posting, "is_quiet", lambda *_: True)
        shown = page(client, cast)
    assert "from 0 to 24" in shown
    assert "Send it now" not in shown


def test_nobody_shut_out_gets_a_letter_or_a_link_again(cast: Cast, client: Client) -> None:
    letter = sent(cast)
    cast.subject.__class__.objects.filter(pk=cast.subject.pk).update(revoked_at=letter.sent_at)
    assert "Send again" not in page(client, cast)
    links = InviteLink.objects.count()
    for act in ("again", "link"):
        answer = client.post(reverse(f"studio-letter-{act}", args=[cast.sitting.slug, letter.pk]))
        assert answer.status_code == 409
    assert (Letter.objects.count(), InviteLink.objects.count()) == (1, links)


def test_a_letter_of_another_sitting_is_nobodys_to_read(cast: Cast, client: Client) -> None:
    letter = sent(cast)
    other = make_cast(slug="another")
    reader = other.client_of(other.owner)
    for name in ("studio-letter", "studio-letter-link", "studio-letter-again"):
        for slug in (cast.sitting.slug, other.sitting.slug):
            ask = reader.get if name == "studio-letter" else reader.post
            assert ask(reverse(name, args=[slug, letter.pk])).status_code == 404


@pytest.mark.parametrize(
    ("address", "only_here"),
    [
        # RFC 6761, 6.3: localhost and names below it are loopback; RFC 1122, 3.2.1.3: 127/8 is; RFC 4291, 2.5.3: ::1
        ("http://localhost:8010", True),
        ("http://studio.localhost.", True),
        ("http://127.0.0.1:8010", True),
        ("http://127.9.8.7", True),
        ("http://[::1]:8010", True),
        ("http://0.0.0.0:8010", True),
        ("http://192.168.1.20:8010", False),
        ("https://proofs.northlight.example", False),
        ("https://localhost.northlight.example", False),
    ],
)
def test_an_address_of_this_machine_is_known(address: str, only_here: bool) -> None:
    assert is_this_machine(address) is only_here
