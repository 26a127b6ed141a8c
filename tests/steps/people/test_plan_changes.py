"""Who saw the plan is told what was changed since: what was and what is, on the plan and by one letter."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone, translation

from galleries.models import Invite, JournalLine, Letter, Look, Sitting, Studio
from galleries.steps import jobs
from galleries.steps.people import plan_changes, posting
from galleries.steps.planning import sitting_plan
from galleries.steps.sorting import looks
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    made = make_cast()
    Studio.objects.update(letters_from=0, letters_until=24)
    Sitting.objects.update(stage="planning", held_on=date(2027, 5, 3), place="Hall 1")
    Invite.objects.update(first_opened_at=timezone.now())
    made.sitting.refresh_from_db()
    return made


def told(person: Invite) -> list[str]:
    return [str(one) for one in plan_changes.of_person(Invite.objects.get(pk=person.pk))]


def change(cast: Cast, **fields: object) -> None:
    sitting_plan.edit_sitting(Sitting.objects.get(pk=cast.sitting.pk), cast.as_owner, **fields)


def send() -> list[str]:
    """What letters go once nothing was changed for a while."""
    mail.outbox.clear()
    posting.send_due()
    jobs.run_waiting(kinds=["letter"])
    return [f"{message.to[0]}: {message.subject}\n{message.body}" for message in mail.outbox]


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plan_changes, "RESTS", timedelta(0))


def test_what_was_and_what_is_and_nothing_of_what_was_changed_back(cast: Cast) -> None:
    assert told(cast.subject) == []
    change(cast, held_on=date(2027, 5, 4), place="Hall 2")
    change(cast, held_on=date(2027, 5, 5))
    assert told(cast.subject) == [
        "Date of the sitting: 5 May 2027 (before: 3 May 2027)",
        "Place: Hall 2 (before: Hall 1)",
    ]
    change(cast, place="Hall 1", plan="Bring the blue one too.\nAnd a book.")
    assert told(cast.representation) == [
        "Date of the sitting: 5 May 2027 (before: 3 May 2027)",
        "Plan: written anew",
    ]
    kept = JournalLine.objects.filter(verb="settings changed").values_list("detail", flat=True)
    assert "blue" not in str(list(kept)), "the journal holds no texts"
    with translation.override("de"):
        assert told(cast.subject)[0] == "Tag der Sitzung: 5. Mai 2027 (vorher: 3. Mai 2027)"


def test_line_ends_as_forms_send_them_are_no_change(cast: Cast) -> None:
    Sitting.objects.update(plan="Linen first.\nThen wool.")
    look = Look.objects.create(sitting=cast.sitting, title="Linen", notes="Hair back.\nNo hat.")
    change(cast, plan="Linen first.\r\nThen wool.")
    looks.edit_look(look, cast.as_owner, notes="Hair back.\r\nNo hat.")
    assert told(cast.subject) == []


def test_who_said_something_of_the_plan_since_has_seen_it(cast: Cast) -> None:
    change(cast, place="Hall 2")
    sitting_plan.comment(cast.as_subject, cast.sitting, "Fine with me")
    assert told(cast.subject) == []
    assert told(cast.representation) == ["Place: Hall 2 (before: Hall 1)"]


def test_who_never_came_in_is_told_nothing_and_nothing_is_kept(cast: Cast) -> None:
    Invite.objects.update(first_opened_at=None)
    change(cast, place="Hall 2")
    assert told(cast.subject) == []
    assert JournalLine.objects.get(verb="settings changed").detail == {"fields": ["place"]}
    assert not Letter.objects.filter(kind="plan").exists()


def test_looks_come_change_and_go_and_nobody_reads_of_one_kept_from_them(cast: Cast) -> None:
    linen, gone, withheld, hidden = (
        Look.objects.create(sitting=cast.sitting, title=title, wardrobe="white")
        for title in ("Linen", "Hat", "Portfolio", "Secret")
    )
    Look.objects.filter(pk=withheld.pk).update(kept_from_representation=True)
    Look.objects.filter(pk=hidden.pk).update(hidden=True)
    for look in (linen, withheld, hidden):
        fresh = Look.objects.get(pk=look.pk)
        looks.edit_look(fresh, cast.as_owner, wardrobe="sand", title=fresh.title, treatment="monochrome")
    looks.remove_look(gone, cast.as_owner)
    looks.new_look(cast.sitting, "Coat", cast.as_owner)
    everybody = [
        "Linen, wardrobe: sand (before: white)",
        "Linen, treatment: black and white (before: colour)",
        "No longer planned: Hat",
        "New look: Coat",
    ]
    assert sorted(told(cast.representation)) == sorted(everybody)
    assert len(told(cast.subject)) == 6
    assert "Secret" not in str(told(cast.subject))
    Look.objects.filter(pk=withheld.pk).update(kept_from_representation=False)
    assert "Portfolio" not in str(told(cast.representation)), "written while it was kept from them"
    looks.edit_look(Look.objects.get(pk=hidden.pk), cast.as_owner, hidden=False)
    assert "New look: Secret" in told(cast.subject)
    looks.edit_look(Look.objects.get(pk=linen.pk), cast.as_owner, kept_from_representation=True)
    assert "Linen" not in str(told(cast.representation)), "it disappears without a word"


def test_after_the_sitting_only_day_of_picks_and_number_of_finals_are_told(cast: Cast) -> None:
    change(cast, place="Hall 4")
    looks.new_look(cast.sitting, "Coat", cast.as_owner)
    Sitting.objects.update(stage="proofing", deadline=date(2027, 6, 1))
    assert told(cast.representation) == []
    change(cast, deadline=date(2027, 6, 9), place="Hall 2", held_on=date(2027, 5, 9))
    assert told(cast.representation) == ["Picks wanted by: 9 June 2027 (before: 1 June 2027)"]
    Sitting.objects.update(stage="finishing")
    change(cast, deadline=date(2027, 7, 9))
    assert told(cast.representation) == [], "the list is closed"


def test_one_letter_once_the_photographer_is_done(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    change(cast, held_on=date(2027, 5, 4))
    change(cast, place="Hall 2")
    assert send() == [], "somebody is still changing it"
    monkeypatch.setattr(plan_changes, "RESTS", timedelta(0))
    subject, agent = sorted(send())
    # RFC 5545, 3.8.2.4: an event of a whole day begins on a DATE; its unchanged UID moves the entry of before
    assert "DTSTART;VALUE=DATE:20270504" in str(mail.outbox[0].attachments[0][1])
    assert subject.startswith("ansa@veld.example: The plan was changed: ")
    assert "4 May 2027 (before: 3 May 2027)\nPlace: Hall 2 (before: Hall 1)" in subject
    assert "the plan for the sitting of Ansa Veld" in agent
    assert send() == []
    change(cast, place="Hall 3")
    subject, _agent = sorted(send())
    assert "Place: Hall 3 (before: Hall 2)" in subject
    assert "4 May" not in subject, "told before"


def test_a_change_taken_back_before_the_letter_went_is_not_told(cast: Cast, later: None) -> None:
    change(cast, place="Hall 2")
    change(cast, place="Hall 1")
    assert send() == []
    assert not Letter.objects.filter(kind="plan").exists()


def test_that_it_suits_is_said_of_what_was_read(cast: Cast) -> None:
    change(cast, place="Hall 2")
    client, address = cast.client_of(cast.subject), reverse("plan", args=[cast.sitting.slug])
    page = client.get(address).content.decode()
    assert "Place: Hall 2 (before: Hall 1)" in page
    newest = plan_changes.newest_line(cast.sitting)
    assert f'name="of" value="{newest}"' in page
    change(cast, place="Hall 3")
    late = client.post(address, {"of": newest, "text": "The plan as it is now suits me."})
    assert late.status_code == 409
    assert "changed once more" in late.content.decode()
    assert client.post(address, {"of": newest + 1, "text": "It suits me."}).status_code == 302
    assert "Changed since you saw it" not in client.get(address).content.decode()


def test_the_photographer_reads_who_will_be_told(cast: Cast) -> None:
    look = Look.objects.create(sitting=cast.sitting, title="Hat")
    address = reverse("studio-look-remove", args=[cast.sitting.slug, look.pk])
    page = cast.client_of(cast.owner).post(address, follow=True).content.decode()
    assert "Ansa Veld, Ruben" in page
