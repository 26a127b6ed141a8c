"""Every kind of letter, for every role it can go to, in each stage: whole, named, and no word that is not theirs."""

from __future__ import annotations

import re
from datetime import date, timedelta
from email import message_from_bytes, policy

import pytest
from django.core import mail
from django.core.mail import EmailMultiAlternatives
from django.utils import timezone

from galleries.models import Final, Invite, Letter, Round, Sitting, Studio
from galleries.steps import jobs
from galleries.steps.people import again, caps, composing, letters, openings, posting
from galleries.steps.people import invite as invites
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
CHOOSING = re.compile(r"mark the ones|your picks|mark your picks", re.IGNORECASE)


@pytest.fixture
def cast() -> Cast:
    made = make_cast()
    Studio.objects.update(letters_from=0, letters_until=24)
    Sitting.objects.update(deadline=date(2027, 2, 1))
    made.sitting.refresh_from_db()
    return made


def assistant_of(cast: Cast) -> Invite:
    until = timezone.now() + timedelta(days=9)
    return cast.sitting.invites.create(
        role="assistant", name="Mirre Solland", email="m@solland.example", expires_at=until
    )


def sent() -> dict[str, EmailMultiAlternatives]:
    jobs.run_waiting(kinds=["letter"])
    box = {message.to[0]: message for message in mail.outbox}
    mail.outbox.clear()
    return box


@pytest.mark.parametrize("stage", ["planning", "proofing", "agreeing", "finishing", "delivered"])
def test_only_who_chooses_is_asked_to_choose(cast: Cast, stage: str) -> None:
    people = [cast.subject, cast.representation, cast.recipient, assistant_of(cast)]
    Sitting.objects.update(stage=stage)
    for person in people:
        letters.invite_by_letter(person, cast.as_owner)
    box = sent()
    assert len(box) == 4
    for person in people:
        text = box[person.email].body
        asked = CHOOSING.search(text) is not None
        assert asked == (person.is_side and stage in {"proofing", "agreeing"}), (person.role, text)
        assert ("1 February 2027" in text) == asked
        assert ("3 finals are included" in text) == asked
        assert "holds until" in text  # how long the link opens the page
    assert "Ansa Veld" not in box["ansa@veld.example"].body.replace("Dear Ansa Veld", "")
    assert "frames" not in box["desk@elsewhere.example"].body


@pytest.mark.parametrize(
    ("stage", "state", "words"),
    [
        ("proofing", "", "Their list is not closed yet"), ("agreeing", "", "Their list is not closed yet"),
        ("finishing", "agreed", "Accept the terms there first"),
        ("finishing", "shown", "None of them waits for a version at present"),
        ("delivered", "approved", "None of them waits for a version at present"),
    ],
)  # fmt: skip
def test_a_retoucher_is_invited_by_what_is_so(cast: Cast, stage: str, state: str, words: str) -> None:
    Sitting.objects.update(stage=stage)
    cast.sitting.refresh_from_db()
    if state:
        cast.final(1, state)
    person = cast.retoucher(accepted=False)
    letters.invite_by_letter(person, cast.as_owner)
    text = sent()[person.email].body
    told = [one for one in ("is not closed yet", "Accept the terms there", "None of them waits") if one in text]
    assert len(told) == 1
    assert words in text


@pytest.mark.parametrize("kind", ["proofs", "closed", "delivery"])
def test_nobody_reads_of_himself_in_the_third_person(cast: Cast, kind: str) -> None:
    cast.sitting.title = "Spring"
    cast.sitting.save()
    letters.notify(cast.sitting, kind, [cast.subject])
    body = sent()["ansa@veld.example"].body
    assert "Ansa" not in body.replace("Dear Ansa Veld", "")


@pytest.mark.parametrize("kind", sorted(letters.KINDS))
@pytest.mark.parametrize("language", ["en", "de", "es"])
def test_the_page_beside_the_text_says_the_same(cast: Cast, kind: str, language: str) -> None:
    """RFC 2046, 5.1.4: the parts of multipart/alternative carry the same information."""
    cast.sitting.retouch_by = date(2027, 1, 8)
    cast.sitting.title = "Spring & <b>air</b>\nBcc: somebody@elsewhere.example"
    message = composing.compose(
        kind, "a@b.example", language, "https://x.example/i/TOKEN", sitting=cast.sitting, person=cast.subject,
        whose=cast.subject, picking=True, shown=["0001"], still_open=["0002"], chosen=["0003"], not_chosen=["0004"],
        answer_by=date(2027, 1, 4),
    )  # fmt: skip
    parsed = message_from_bytes(message.message().as_bytes(), policy=policy.default)
    plain = parsed.get_body(["plain"]).get_content()
    page = parsed.get_body(["html"]).get_content()
    assert parsed["from"].addresses[0].display_name == "Northlight Rooms"
    assert parsed["from"].addresses[0].addr_spec == "studio@portal.example"
    assert parsed["auto-submitted"] == "auto-generated"
    assert parsed["bcc"] is None
    assert "\n" not in parsed["subject"]
    assert parsed["subject"].strip()
    assert f'lang="{language}"' in page
    assert "<b>air</b>" not in page
    shown = re.sub(r"<(title|style).*?</\1>|<[^>]+>", " ", page, flags=re.DOTALL)
    for word in plain.replace("&", "&amp;").split():
        assert word in shown or "<" in word or ">" in word, word
    assert ("https://x.example/i/TOKEN" in plain) == ('href="https://x.example/i/TOKEN"' in page)
    assert kind == "ended" or "TOKEN" in plain
    # A date in a sentence: "bis zum 4. Januar" (bis 4. Januar is a label's), and by a day is not before it.
    assert not re.search(r"\bbis \d|\bantes del \d", plain), plain


@pytest.mark.parametrize(
    ("language", "words"),
    [("en", "The frames of Ansa"), ("de", "Die Aufnahmen von Ansa"), ("es", "Las tomas de Ansa")],
)
def test_after_a_whole_sentence_the_next_begins_with_a_capital(cast: Cast, language: str, words: str) -> None:
    """Common practice, no source; after "Dear Ansa," the first goes on in small letters."""
    cast.representation.language = language
    cast.representation.save()
    Invite.objects.filter(pk=cast.representation.pk).update(may_pass_on=True)
    cast.representation.refresh_from_db()
    invites.pass_on("Joost", "joost@achterberg.example", cast.as_representation)
    letters.invite_by_letter(cast.representation, cast.as_owner)
    box = sent()
    assert f"\n\n{words}" in box["joost@achterberg.example"].body
    assert f"\n\n{words[0].lower()}{words[1:]}" in box["ruben@achterberg.example"].body


@pytest.mark.parametrize(("language", "words"), [("en", "“Not 3.”"), ("de", "„Not 3.“"), ("es", "«Not 3.»")])
def test_the_words_of_an_objection_stand_between_the_readers_own_marks(cast: Cast, language: str, words: str) -> None:
    """Unicode CLDR, quotation marks of de and es."""
    about = Round(objected_by="Ansa Veld", reason="Not 3.")
    letter = composing.compose("objected", "a@b.example", language, "", sitting=cast.sitting, person=None, round=about)
    assert f"\n\n{words}\n\n" in letter.body


@pytest.mark.parametrize(
    ("kind", "page"),
    [("through", "lists"), ("usage", "usage"), ("returned", "finals"), ("closed", ""), ("objected", "lists")],
)
def test_the_photographers_own_letters_lead_to_what_they_tell_of_and_are_the_sites(
    cast: Cast, kind: str, page: str
) -> None:
    """Nobody gets a letter signed by himself."""
    letters.notify_photographer(cast.sitting, kind)
    body = sent()["tamsin@northlight.example"].body
    assert f"/studio/{cast.sitting.slug}/{page}\n" in body
    assert body.endswith("\n\nNorthlight Rooms\n")
    assert Studio.current().photographer not in body


def test_the_photographer_hears_who_let_somebody_in(cast: Cast) -> None:
    Invite.objects.filter(pk=cast.representation.pk).update(may_pass_on=True)
    cast.representation.refresh_from_db()
    invites.pass_on("Joost", "joost@achterberg.example", cast.as_representation)
    assert "Ruben Achterberg has let another person" in sent()["tamsin@northlight.example"].body


# --- retouches that wait ---


def shown_final(cast: Cast, number: int, sent_at: object) -> Final:
    final = Final.objects.create(
        sitting=cast.sitting, frame=cast.frame(number), round=cast.sitting.rounds.get(), state="shown", position=number
    )
    final.versions.create(
        number=1, sha256=f"{number:064x}", key="k", name="n.jpg", bytes=1, width=9, height=9, sent_at=sent_at
    )
    return final


def test_retouches_that_wait_are_reminded_of_with_their_day(cast: Cast) -> None:
    Sitting.objects.update(stage="finishing", answer_days=7)
    cast.sitting.refresh_from_db()
    at = timezone.now().replace(hour=12)
    final = shown_final(cast, 1, at)
    day = at.date()
    for days in (0, 3, 4, 4, 5, 6, 6, 7, 8, 20):
        posting.send_due(day + timedelta(days=days))
    box = sent()
    assert set(box) == {"ansa@veld.example"}  # the representation does not approve here
    assert final.frame.label in box["ansa@veld.example"].body
    wanted = day + timedelta(days=7)
    assert f"{wanted.day} {wanted:%B %Y}" in box["ansa@veld.example"].body
    assert sorted(Letter.objects.filter(kind="answer").values_list("about", flat=True)) == [
        f"{wanted.isoformat()}-1",
        f"{wanted.isoformat()}-3",
    ]


def test_who_has_answered_is_not_reminded_and_no_days_mean_no_letter(cast: Cast) -> None:
    Sitting.objects.update(stage="finishing", answer_days=7, representation_approves=True)
    cast.sitting.refresh_from_db()
    at = timezone.now().replace(hour=12)
    version = shown_final(cast, 1, at).versions.get()
    version.approvals.create(sha256=version.sha256, decision="approved", who="Ansa Veld", invite=cast.subject)
    posting.send_due(at.date() + timedelta(days=6))
    assert set(sent()) == {"ruben@achterberg.example"}
    Letter.objects.all().delete()
    Sitting.objects.update(answer_days=0)
    posting.send_due(at.date() + timedelta(days=6))
    assert not sent()


# --- the way in, again ---


def test_everybody_invited_gets_their_link_again_at_their_own_address(cast: Cast) -> None:
    assistant = assistant_of(cast)
    for person in (cast.subject, cast.recipient, assistant):
        assert again.send_links_again(f" {person.email.upper()} ") == 1
        body = sent()[person.email].body
        assert openings.open_link(body.split("/i/")[1].split()[0], "a browser") == person
    assert again.send_links_again("nobody@elsewhere.example") == 0
    assert again.send_links_again("\0") == 0
    assert not sent()


def test_an_ended_invite_is_said_to_its_owner_and_to_the_photographer_once_a_day(cast: Cast) -> None:
    Invite.objects.filter(pk=cast.subject.pk).update(expires_at=timezone.now() - timedelta(days=2))
    for _time in range(3):
        again.send_links_again("ansa@veld.example")
    box = sent()
    assert set(box) == {"ansa@veld.example", "tamsin@northlight.example"}
    assert "/i/" not in box["ansa@veld.example"].body
    assert "Ansa Veld asks for the link" in box["tamsin@northlight.example"].body
    assert Letter.objects.count() == 2


def test_a_revoked_invite_is_silent_and_a_box_is_not_filled(cast: Cast) -> None:
    invites.revoke(cast.recipient, cast.as_owner)
    assert again.send_links_again(cast.recipient.email) == 0
    assert sum(again.send_links_again(cast.subject.email) for _time in range(20)) == caps.LINK_LETTERS_AN_HOUR
    Sitting.objects.update(subject_is_minor=True, guardian_name="")
    assert again.send_links_again(assistant_of(cast).email) == 0
