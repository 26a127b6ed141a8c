"""Letters looked at and sent again: one more of what went, at once what waits, nothing to who is shut out."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.core import mail
from django.utils import timezone

from galleries.access import Visitor
from galleries.errors import Conflict, Missing, Refused
from galleries.models import Invite, InviteLink, Job, JournalLine, Letter, Studio
from galleries.steps import jobs
from galleries.steps.people import composing, letters, openings, outbox, posting
from galleries.steps.people import mail as ways
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    made = make_cast()
    Studio.objects.update(letters_from=0, letters_until=24)
    return made


def listed(cast: Cast, kind: str = "proofs", about: str = "", *, sent: bool = False) -> Letter:
    (letter,) = letters.notify(cast.sitting, kind, [cast.subject], about)
    if sent:
        jobs.run_waiting(kinds=["letter"])
        mail.outbox.clear()
    return Letter.objects.get(pk=letter.pk)


def to_photographer(cast: Cast, kind: str, about: str = "") -> Letter:
    letter = letters.notify_photographer(cast.sitting, kind, about)
    assert letter is not None
    return letter


def shut_out(person: Invite) -> None:
    Invite.objects.filter(pk=person.pk).update(revoked_at=timezone.now())


def lines() -> list[tuple[str, str, Any]]:
    return list(JournalLine.objects.order_by("pk").values_list("verb", "thing", "detail"))


def test_one_more_of_what_went_however_often_it_is_pressed(cast: Cast) -> None:
    letter, other = listed(cast, about="r-1", sent=True), listed(cast, about="r-2", sent=True)
    for _time in range(3):
        more = outbox.send_again(letter, cast.as_owner)
    assert (more.about, more.occasion, more.to, more.invite) == ("r-1-again-1", "r-1", letter.to, cast.subject)
    assert lines() == [("letter", "letter to Ansa Veld", {"kind": "proofs"})]
    jobs.run_waiting(kinds=["letter"])
    assert len(mail.outbox) == 1
    second = outbox.send_again(Letter.objects.get(pk=more.pk), cast.as_owner)  # one more of the one more
    assert second.about == "r-1-again-2"
    assert Letter.objects.filter(about__startswith="r-1").count() == 3
    other.refresh_from_db()
    assert (other.about, other.sent_at is not None) == ("r-2", True)


def test_the_same_letter_of_another_sitting_or_to_another_is_no_more_of_this(cast: Cast) -> None:
    there = make_cast("there")
    letters.notify(there.sitting, "proofs", [there.subject])
    letters.notify(cast.sitting, "proofs", [cast.representation])
    mine = listed(cast, sent=True)
    for letter in Letter.objects.exclude(pk=mine.pk):
        outbox.send_again(letter, Visitor(user=letter.sitting.photographer))
    assert outbox.send_again(mine, cast.as_owner).about == "-again-1"
    assert Letter.objects.filter(sitting=cast.sitting, to=mine.to).count() == 2


def test_what_did_not_go_yet_is_tried_at_once_and_not_doubled(cast: Cast) -> None:
    letter = listed(cast)
    Job.objects.update(state="failed", attempts=4, not_before=timezone.now() + timedelta(hours=1))
    assert outbox.send_again(letter, cast.as_owner) == letter
    job = Job.objects.get()
    assert (job.state, job.attempts, job.not_before) == ("waiting", 0, None)
    Job.objects.update(not_before=timezone.now() + timedelta(hours=1), setbacks=3)
    outbox.send_again(letter, cast.as_owner)
    assert Job.objects.get().not_before is None
    assert Letter.objects.count() == 1
    assert lines() == [("letter", "letter to Ansa Veld", {"kind": "proofs"})] * 2


def test_an_invitation_is_asked_for_as_an_invitation(cast: Cast) -> None:
    letters.invite_by_letter(cast.subject, cast.as_owner)
    jobs.run_waiting(kinds=["letter"])
    first = Letter.objects.get()
    more = outbox.send_again(first, cast.as_owner)
    assert more.about == f"{cast.subject.pk}-2"
    assert lines()[-1] == ("letter", "invitation to Ansa Veld", {})


def test_a_letter_to_the_photographer_is_told_by_its_address(cast: Cast) -> None:
    letter = to_photographer(cast, "through")
    Letter.objects.update(sent_at=timezone.now())
    letter.refresh_from_db()
    outbox.send_again(letter, cast.as_owner)
    assert lines() == [("letter", "letter to tamsin@northlight.example", {"kind": "through"})]


@pytest.mark.parametrize("sent", [True, False])
def test_who_is_shut_out_gets_nothing_but_the_word_that_it_ended(cast: Cast, sent: bool) -> None:
    letter, last = listed(cast, sent=sent), listed(cast, "ended", sent=sent)
    shut_out(cast.subject)
    letter, last = Letter.objects.get(pk=letter.pk), Letter.objects.get(pk=last.pk)
    before = Letter.objects.count()
    assert not outbox.still_wanted(letter)
    assert outbox.still_wanted(last)
    with pytest.raises(Conflict, match="revoked or expired"):
        outbox.send_again(letter, cast.as_owner)
    with pytest.raises(Conflict, match="revoked or expired"):
        outbox.text_with_link(letter, cast.as_owner)
    assert (Letter.objects.count(), lines()) == (before, [])
    assert outbox.send_again(last, cast.as_owner).kind == "ended"


def test_nobody_else_reads_or_sends(cast: Cast) -> None:
    letter = listed(cast)
    elsewhere = make_cast("elsewhere")
    for by, error in (
        (cast.as_subject, Refused),
        (cast.as_representation, Refused),
        (elsewhere.as_owner, Missing),
        (elsewhere.as_subject, Missing),
        (Visitor(), Missing),
    ):
        for verb in (outbox.send_again, outbox.text_with_link):
            with pytest.raises(error):
                verb(letter, by)
    assert not InviteLink.objects.exists()
    assert not JournalLine.objects.exists()


def test_what_went_is_read_as_it_went_and_what_waits_as_it_would_go(cast: Cast) -> None:
    letter = listed(cast)
    waiting = outbox.text_of(letter)
    assert posting.LINK in waiting
    assert waiting.splitlines()[0] == posting.message(letter, "x").subject
    jobs.run_waiting(kinds=["letter"])
    went = Letter.objects.get()
    assert went.way == "folder"
    type(cast.sitting).objects.update(title="Another title")
    assert outbox.text_of(Letter.objects.get()) == went.text == waiting
    Letter.objects.update(text="")  # of an earlier release, which kept none
    assert "Another title" in outbox.text_of(Letter.objects.get())
    Letter.objects.update(text="kept", sent_at=None)  # could not be sent after all
    assert "Another title" in outbox.text_of(Letter.objects.get())


def test_a_text_to_be_handed_over_holds_a_link_that_opens(cast: Cast) -> None:
    letter = listed(cast, sent=True)
    text, link = outbox.text_with_link(letter, cast.as_owner)
    assert link in text
    assert posting.LINK not in text
    assert openings.open_link(link.rpartition("/")[2], "a browser") == cast.subject
    with pytest.raises(Conflict):  # the studio's own letter carries nobody's link
        outbox.text_with_link(to_photographer(cast, "through"), cast.as_owner)


# --- what is sent, and where it leads ---


@pytest.mark.parametrize(
    ("kind", "page"),
    [("through", "lists"), ("passed", "people"), ("asked", "people"), ("removal", "settings"), ("closed", "")],
)
def test_a_letter_to_the_photographer_leads_to_a_page_and_never_through_a_link(
    cast: Cast, kind: str, page: str
) -> None:
    letter = to_photographer(cast, kind, f"invite-{cast.subject.pk}" if page == "people" else "")
    body = posting.message(letter, "https://x.example/i/TOKEN").body
    assert "TOKEN" not in body
    assert f"/studio/{cast.sitting.slug}/{page}\n" in body
    assert not InviteLink.objects.exists()


@pytest.mark.parametrize(
    ("about", "named"),
    [
        ("invite-{mine}", True),
        ("invite-{mine}-2027-01-01", True),
        ("invite-{theirs}", False),
        ("until-2027-01-01", False),
        ("", False),
    ],
)
def test_whose_doing_it_is_about_is_read_from_this_sitting_only(cast: Cast, about: str, named: bool) -> None:
    theirs = make_cast("there").subject
    letter = to_photographer(cast, "asked", about.format(mine=cast.subject.pk, theirs=theirs.pk))
    assert posting._whose(letter) == (cast.subject if named else None)
    assert posting._whose(listed(cast, about=f"invite-{cast.subject.pk}")) is None


def test_a_letter_of_an_earlier_day_of_removal_is_not_sent(cast: Cast) -> None:
    cast.sitting.keep_until = timezone.now().date()
    cast.sitting.save()
    letter = to_photographer(cast, "removal", "until-2001-01-01")
    posting.send(letter.pk)
    assert not mail.outbox
    right = to_photographer(cast, "removal", f"until-{cast.sitting.keep_until.isoformat()}")
    posting.send(right.pk)
    posting.send(right.pk)
    assert [one.to for one in mail.outbox] == [["tamsin@northlight.example"]]


@pytest.mark.parametrize("twice", [False, True])
def test_a_letter_that_breaks_counts_as_unsent_and_one_that_went_never_goes_again(cast: Cast, twice: bool) -> None:
    letter = listed(cast)

    def broken() -> Any:
        raise ArithmeticError

    with pytest.raises(ArithmeticError):
        composing.send_once(letter, broken, rather_twice=twice)
    letter.refresh_from_db()
    assert letter.sent_at is None
    for _time in range(2):
        composing.send_once(letter, lambda: posting.message(letter, "x"), rather_twice=twice)
    assert len(mail.outbox) == 1


def test_killed_between_the_two_it_is_lost_once_or_rather_doubled(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a killed worker leaves: neither 'unsent again' nor anything after it is reached."""
    letter, went = listed(cast), []

    class Killed(BaseException):
        pass

    class Message:
        def send(self) -> None:
            went.append(Letter.objects.get().sent_at is not None)
            raise Killed

    for twice in (False, True):
        Letter.objects.update(sent_at=None)
        with pytest.raises(Killed):
            composing.send_once(letter, Message, rather_twice=twice)  # type: ignore[arg-type]
    assert went == [True, False]  # marked first; or sent first
    letter.refresh_from_db()
    assert letter.sent_at is None


def test_only_what_is_unsent_and_wanted_is_rung_for_again(cast: Cast) -> None:
    waits, shut, last = listed(cast), letters.notify(cast.sitting, "proofs", [cast.recipient])[0], listed(cast, "ended")
    own = to_photographer(cast, "through")
    went = listed(cast, "closed")
    Letter.objects.filter(pk=went.pk).update(sent_at=timezone.now())
    shut_out(cast.recipient)
    Job.objects.update(state="failed")
    posting.send_due()
    rung = set(Job.objects.filter(state="waiting").values_list("thing", flat=True))
    assert rung == {waits.pk, last.pk, own.pk}
    assert shut.pk not in rung


def test_a_letter_sent_to_who_was_shut_out_meanwhile_makes_no_link(cast: Cast) -> None:
    letter = listed(cast)
    ended = listed(cast, "ended")
    shut_out(cast.subject)
    posting.send(letter.pk)
    assert not mail.outbox
    posting.send(ended.pk)
    assert "/i/" not in mail.outbox[0].body
    assert not InviteLink.objects.exists()
    assert Letter.objects.get(pk=ended.pk).text == posting.written(mail.outbox[0])


# --- how letters leave, and how they are put together ---


@pytest.mark.parametrize(("way", "out"), [("smtp", True), ("folder", False), ("console", False)])
def test_only_a_mail_server_takes_letters_out(settings: Any, way: str, out: bool) -> None:
    settings.MAIL = way
    assert ways.goes_out() is out


@pytest.mark.parametrize(
    ("name", "from_line"),
    [
        ("Northlight Rooms", "Northlight Rooms <mail@portal.example>"),
        ("Veld, Orr\nBcc: x@y.example", '"Veld, Orr Bcc: x@y.example" <mail@portal.example>'),
        (" ", "The site <mail@portal.example>"),
    ],
)
def test_the_sender_is_the_studio_by_its_name_in_one_line(settings: Any, name: str, from_line: str) -> None:
    settings.DEFAULT_FROM_EMAIL = "The site <mail@portal.example>"
    assert composing.sender(Studio(name=name)) == from_line


@pytest.mark.parametrize(
    ("body", "parts"),
    [
        ("", []),
        ("\n\n \n", []),
        ("One\n  two  \n\n\n\nThree\n", ["One\ntwo", "Three"]),
        ("One\n   \nTwo", ["One", "Two"]),
    ],
)
def test_paragraphs_stand_between_empty_lines(body: str, parts: list[str]) -> None:
    assert composing.paragraphs(body) == parts


def test_the_page_of_a_letter_draws_out_the_days_and_the_text_carries_no_sign_of_it() -> None:
    written = ["Dear Ansa,", "https://x.example", composing.HEED + " By Friday.", composing.HEED, "Northlight Rooms"]
    assert composing.drawn(written, "https://x.example") == [
        ("text", "Dear Ansa,"),
        ("link", "https://x.example"),
        ("heed", "By Friday."),
        ("from", "Northlight Rooms"),
    ]


def test_the_days_by_which_something_is_wanted_stand_out_in_the_page_of_a_letter(cast: Cast) -> None:
    cast.sitting.allowance, cast.sitting.deadline = 4, date(2026, 12, 6)
    letter = composing.compose(
        "proofs", "a@b.example", "en", "https://x.example", sitting=cast.sitting, person=cast.subject
    )
    page = str(letter.alternatives[0][0])
    assert composing.HEED not in letter.body + page
    heeded = page.partition("border-inline-start: 4px")[2].partition("</p>")[0]
    assert "Please mark your picks by 6 December 2026." in heeded
    assert "Please mark your picks by 6 December 2026." in letter.body
    assert "<img" not in page  # nothing is fetched that would tell who opened it


def test_the_link_alone_becomes_a_button_and_its_address_is_shown(cast: Cast) -> None:
    made = composing.compose("desk", "a@b.example", "", "https://x.example/in/T", minutes=30)
    page = made.alternatives[0][0]
    assert made.reply_to == [cast.studio.email]
    assert page.count('href="https://x.example/in/T"') == 1
    assert page.count("https://x.example/in/T") >= 2
    assert made.extra_headers == {"Auto-Submitted": "auto-generated", "Content-Language": "en"}
    assert 'dir="ltr"' in page
