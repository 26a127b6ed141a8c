"""A second opinion: the chosen frames, stamped, by a link; words for the subject, the agent where let, never for the
studio; over at the next request; and every way in as somebody else."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from galleries.access import Act, Visitor, may
from galleries.errors import BadInput, Missing, Refused
from galleries.models import Invite, JournalLine, SecondOpinion, Sitting
from galleries.steps.agreeing import agree
from galleries.steps.keeping import archive_file
from galleries.steps.people import caps
from galleries.steps.picking import opinions, pick
from tests.cast import Cast, body_of, make_cast
from tests.web.invitee.sheets import filled

pytestmark = pytest.mark.django_db
WORDS = "the jumper one, you look like yourself"


@pytest.fixture
def cast() -> Cast:
    """Six frames in two looks; the subject picks the first two."""
    cast = make_cast()
    for frame in filled(cast, 2, 3)[:2]:
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    return cast


def page_of(cast: Cast) -> str:
    return reverse("opinions", args=[cast.sitting.slug])


def asked(cast: Cast, **more: bool) -> tuple[SecondOpinion, Client]:
    """The picks shown to Lioba, who has come in by the link."""
    frames = [one.pk for one in opinions.picks_of(cast.as_subject, cast.sitting)]
    opinion, link = opinions.ask(cast.sitting, cast.as_subject, "Lioba", frames, **more)
    return opinion, come_in(link)


def come_in(link: str) -> Client:
    client = Client()
    path = "/" + link.split("/", 3)[3]
    assert "Lioba" not in client.get(path).content.decode(), "nothing is told before the press"
    assert client.head(path).content == b""
    assert client.post(path).status_code == 302
    return client


def pictures(opinion: SecondOpinion, cast: Cast) -> list[str]:
    return [reverse("opinion-picture", args=[opinion.pk, frame.pk]) for frame in cast.sitting.frames.order_by("number")]


def test_the_whole_way_from_asking_to_reading(cast: Cast) -> None:
    subject = cast.client_of(cast.subject)
    form = subject.get(page_of(cast)).content.decode()
    assert "my 2 picks" in form
    answer = subject.post(page_of(cast), {"do": "ask", "name": "Lioba", "which": "picks"}).content.decode()
    link = answer.split('value="http', 1)[1].split('"', 1)[0]
    friend = come_in("http" + link)
    opinion = SecondOpinion.objects.get()
    where = reverse("second-opinion", args=[opinion.pk])
    page = friend.get(where).content.decode()
    assert page.count("<img") == 2
    assert "Which would you take, Lioba?" in page
    first = opinion.shown.first().frame
    friend.post(where, {"this": [first.pk], "sentence": WORDS})
    read = subject.get(page_of(cast)).content.decode()
    assert WORDS in read
    assert first.label in read
    friend.post(where, {"sentence": "on second thought, none"})
    assert WORDS not in subject.get(page_of(cast)).content.decode(), "said again it takes the place of what was said"
    assert not opinion.shown.filter(this_one=True).exists()


def test_only_the_chosen_frames_and_only_stamped(cast: Cast) -> None:
    opinion, friend = asked(cast)
    statuses = [friend.get(address).status_code for address in pictures(opinion, cast)]
    assert statuses == [200, 200, 404, 404, 404, 404]
    frame = cast.sitting.frames.get(number=1)
    shown = body_of(friend.get(pictures(opinion, cast)[0]))
    proof = frame.proofs.get()
    assert shown, proof
    for name, args in (
        ("original", [frame.pk]), ("view-picture", [frame.pk]), ("proof-picture", [frame.pk, "large", proof.pk]),
        ("proof-picture", [frame.pk, "small", proof.pk]),
    ):  # fmt: skip
        assert friend.get(reverse(name, args=args)).status_code == 404, name
    slug = cast.sitting.slug
    for name in ("sitting", "plan", "sheet", "marks", "changes", "compare", "lists", "finals", "delivery", "opinions"):
        assert friend.get(reverse(name, args=[slug])).status_code == 404, name
    page = friend.get(reverse("second-opinion", args=[opinion.pk])).content.decode()
    assert "ansa@veld.example" not in page
    assert cast.sitting.title not in page


def test_a_look_is_shown_and_what_is_hidden_later_is_not(cast: Cast) -> None:
    look = cast.sitting.looks.last()
    cast.client_of(cast.subject).post(page_of(cast), {"do": "ask", "name": "Lioba", "which": look.pk})
    opinion = SecondOpinion.objects.get()
    assert {row.frame.look_id for row in opinion.shown.all()} == {look.pk}
    by = Visitor(opinion=opinion)
    frame = opinion.shown.first().frame
    assert may(by, Act.GIVE_OPINION, frame)
    type(frame).objects.filter(pk=frame.pk).update(hidden=True)
    assert not may(by, Act.GIVE_OPINION, frame)
    assert len(opinions.shown_in(opinion, by)) == opinion.shown.count() - 1
    with pytest.raises(BadInput):
        opinions.say(opinion, by, [frame.pk], "")


def test_the_studio_learns_that_it_was_asked_and_nothing_else(cast: Cast) -> None:
    opinion, _friend = asked(cast)
    opinions.say(opinion, Visitor(opinion=opinion), [], WORDS)
    line = JournalLine.objects.get(verb="second opinion asked for")
    assert (line.who, line.thing, line.detail) == ("Ansa Veld (subject)", "2 frames", {})
    assert JournalLine.objects.filter(sitting=cast.sitting).latest("pk") == line, "that it was answered is no line"
    studio = cast.client_of(cast.owner)
    for name in ("studio-journal", "studio-people", "studio-lists", "studio-desk", "studio-letters"):
        page = studio.get(reverse(name, args=[cast.sitting.slug])).content.decode()
        assert "Lioba" not in page, name
        assert WORDS not in page, name
    assert studio.get(page_of(cast)).status_code == 403
    for act in (Act.ASK_OPINION, Act.KEEP_OPINION, Act.SEE_OPINIONS, Act.GIVE_OPINION):
        assert not may(cast.as_owner, act, opinion)
        assert not may(Visitor(program=True), act, opinion)
    assert WORDS not in str(archive_file.rows_of(cast.sitting))
    assert "Lioba" not in str(archive_file.rows_of(cast.sitting))


def test_the_agent_reads_only_what_the_subject_lets_them(cast: Cast) -> None:
    opinion, _friend = asked(cast)
    opinions.say(opinion, Visitor(opinion=opinion), [], WORDS)
    agent, subject = cast.client_of(cast.representation), cast.client_of(cast.subject)
    assert WORDS not in agent.get(page_of(cast)).content.decode()
    form = {"do": "agent", "opinion": opinion.pk, "allowed": "yes"}
    assert agent.post(page_of(cast), form).status_code == 404
    subject.post(page_of(cast), form)
    assert WORDS in agent.get(page_of(cast)).content.decode()
    for do in ("end", "remove"):
        assert agent.post(page_of(cast), {"do": do, "opinion": opinion.pk}).status_code == 404
    subject.post(page_of(cast), {**form, "allowed": "no"})
    assert WORDS not in agent.get(page_of(cast)).content.decode()


@pytest.mark.parametrize("why", ["ended", "removed", "closed", "revoked", "minor", "expired"])
def test_it_is_over_at_the_next_request(cast: Cast, why: str) -> None:
    opinion, friend = asked(cast)
    where, picture = reverse("second-opinion", args=[opinion.pk]), pictures(opinion, cast)[0]
    assert friend.get(picture).status_code == 200
    if why in {"ended", "removed"}:
        do = {"ended": "end", "removed": "remove"}[why]
        assert cast.client_of(cast.subject).post(page_of(cast), {"do": do, "opinion": opinion.pk}).status_code == 302
    elif why == "closed":
        agree.close(cast.sitting, [cast.sitting.frames.get(number=1).pk], cast.as_owner)
        agree.reopen(cast.sitting, cast.as_owner, "one more")  # it stays over when the list is open again
    elif why == "minor":
        Sitting.objects.update(subject_is_minor=True)
    else:
        past = timezone.now() - timedelta(seconds=1)
        field = {"revoked": "revoked_at", "expired": "expires_at"}[why]
        Invite.objects.filter(pk=cast.subject.pk).update(**{field: past})
    for answer in (friend.get(where), friend.get(picture), friend.post(where, {"sentence": WORDS})):
        assert answer.status_code in {403, 404}, why
    assert not SecondOpinion.objects.filter(sentence=WORDS).exists()


def test_a_minor_asks_only_with_the_consent_on_record_and_is_told_to_ask_together(cast: Cast) -> None:
    Sitting.objects.update(subject_is_minor=True)
    assert cast.client_of(cast.subject).get(page_of(cast)).status_code == 403
    Sitting.objects.update(guardian_name="Runa Veld", guardian_consent_on=timezone.now().date())
    assert "parent or guardian" in cast.client_of(cast.subject).get(page_of(cast)).content.decode()


def test_nobody_else_asks_reads_or_comes_in(cast: Cast) -> None:
    opinion, _friend = asked(cast)
    where, elsewhere = reverse("second-opinion", args=[opinion.pk]), make_cast("elsewhere")
    _other, stranger = asked_elsewhere(elsewhere)
    for client in (
        Client(), stranger, *map(cast.client_of, (cast.subject, cast.representation, cast.recipient, cast.owner)),
        cast.client_of(cast.retoucher()), elsewhere.client_of(elsewhere.subject),
    ):  # fmt: skip
        for address in (where, pictures(opinion, cast)[0]):
            assert client.get(address).status_code == 404
        assert client.post(where, {"sentence": "x"}).status_code == 404
    for by in (cast.as_owner, cast.as_representation, cast.as_recipient, elsewhere.as_subject, Visitor()):
        with pytest.raises((Refused, Missing)):
            opinions.ask(cast.sitting, by, "Lioba", [cast.sitting.frames.first().pk])
        with pytest.raises((Refused, Missing)):
            opinions.say(opinion, by, [], "x")
    second = Invite.objects.create(
        sitting=cast.sitting, role="subject", name="Twin Veld", email="t@veld.example",
        expires_at=timezone.now() + timedelta(days=9),
    )  # fmt: skip
    assert "Lioba" not in cast.client_of(second).get(page_of(cast)).content.decode(), "of one subject, not of the other"


def asked_elsewhere(cast: Cast) -> tuple[SecondOpinion, Client]:
    frame = filled(cast, 1, 1)[0]
    opinion, link = opinions.ask(cast.sitting, cast.as_subject, "Uma", [frame.pk])
    return opinion, come_in(link)


def test_a_link_opens_in_three_browsers_and_guesses_are_counted(cast: Cast) -> None:
    frames = [one.pk for one in opinions.picks_of(cast.as_subject, cast.sitting)]
    _opinion, link = opinions.ask(cast.sitting, cast.as_subject, "Lioba", frames)
    for _browser in range(3):
        come_in(link)
    assert Client().post("/" + link.split("/", 3)[3]).status_code == 404
    assert Client().post(reverse("open-opinion", args=["x" * 32])).status_code == 404


def test_how_often_and_what_may_be_asked(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    frame, other = cast.sitting.frames.first(), filled(make_cast("other"), 1, 1)[0]
    for name in ("", "Lioba (studio)", "www.elsewhere.example", "x" * 41):
        with pytest.raises(BadInput):
            opinions.ask(cast.sitting, cast.as_subject, name, [frame.pk])
    for frames in ([], [other.pk], [frame.pk, other.pk]):
        with pytest.raises(BadInput):
            opinions.ask(cast.sitting, cast.as_subject, "Lioba", frames)
    monkeypatch.setattr(opinions, "MOST_FRAMES", 1)
    with pytest.raises(BadInput):
        opinions.ask(cast.sitting, cast.as_subject, "Lioba", [one.pk for one in cast.sitting.frames.all()])
    monkeypatch.setattr(caps, "OPINIONS_OPEN", 1)
    opinion, _link = opinions.ask(cast.sitting, cast.as_subject, "Lioba", [frame.pk])
    with pytest.raises(Refused):
        opinions.ask(cast.sitting, cast.as_subject, "Uma", [frame.pk])
    opinions.end(opinion, cast.as_subject)
    opinions.ask(cast.sitting, cast.as_subject, "Uma", [frame.pk])
    with pytest.raises(BadInput):
        opinions.say(SecondOpinion.objects.last(), Visitor(opinion=SecondOpinion.objects.last()), [], "x" * 501)


def test_a_link_that_is_over_leads_to_whoever_sent_it_and_not_to_the_studio_s_links(client: Client) -> None:
    for address in ("/i/no-such-token/opinion", "/opinion/999"):
        answer = client.post(address)
        assert answer.status_code == 404
        page = answer.content.decode()
        assert "Ask whoever sent it to you" in page
        assert "Send me my link again" not in page


def test_a_list_that_was_closed_while_a_page_stood_open_is_said_on_that_page(cast: Cast) -> None:
    subject, agent, frame = (
        cast.client_of(cast.subject),
        cast.client_of(cast.representation),
        cast.sitting.frames.first(),
    )
    assert frame is not None
    agree.close(cast.sitting, [frame.pk], cast.as_owner)
    late = subject.post(page_of(cast), {"do": "ask", "name": "Lioba", "which": "picks"})
    assert late.status_code == 409
    text = body_of(late).decode()
    assert "second opinions are asked for while picks are open" in text
    assert "Second opinion</h1>" in text
    late = agent.post(reverse("lists", args=[cast.sitting.slug]), {"frame": [frame.pk]})
    assert late.status_code == 409
    text = body_of(late).decode()
    assert "The list was closed meanwhile; it stands below." in text
    assert "The list was closed by" in text
