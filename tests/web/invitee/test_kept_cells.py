"""What is kept of a sheet between requests changes nothing of what anybody is shown, whoever asked before them."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from datetime import date

import pytest
from django.conf import settings
from django.contrib.messages.storage.fallback import FallbackStorage
from django.db.models import F
from django.template.loader import get_template
from django.test import RequestFactory
from django.urls import reverse
from django.utils import timezone

from galleries.access import Visitor
from galleries.models import Frame, Invite, Look, Mark, Proof, Round, Sitting, Studio
from galleries.steps.agreeing import extras
from galleries.steps.people import invite as invites
from galleries.steps.picking import pick
from galleries.web.invitee import (
    layout,
    marks_of_all,
    markup,
    page,
    sheet,
    sheet_page,
    sheet_rows,
    strips,
    words,
)
from galleries.web.invitee.shown import OwnMark, Shown
from galleries.web.invitee.words import label_of, words_in
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import filled

pytestmark = pytest.mark.django_db
PEOPLE = ("subject", "representation", "assistant")
# Of one answer alone: the form's token, and the moment that the page is of.
OWN = re.compile(r'name="csrfmiddlewaretoken" value="\w+"|"now":"[^"]+"')


def forget() -> None:
    for kept in (markup._cell, markup._mark_words, strips._around, page.large_view, words.words_in, sheet._words_block):
        kept.cache_clear()
    sheet_rows._eyes.clear()
    marks_of_all._kept.clear()
    layout._kept.clear()
    sheet_page.kept.forget()


@pytest.fixture
def cast(monkeypatch: pytest.MonkeyPatch) -> Cast:
    monkeypatch.setattr(marks_of_all, "MOMENT", 0)
    cast = make_cast()
    Sitting.objects.update(subject_chooses_looks=True, suggestions_shown=True)
    Invite.objects.create(
        sitting=cast.sitting, role="assistant", name="Mira Sand", email="mira@sand.example",
        expires_at=cast.subject.expires_at,
    )  # fmt: skip
    one, two, three, *_rest = filled(cast)
    for who, frame, kind in (
        (cast.subject, one, "pick"),
        (cast.representation, one, "strike"),
        (cast.subject, two, ""),
    ):
        pick.set_mark(
            Visitor(invite=who), frame.pk, kind=kind, note="<b>Mine & hers</b>" if who == cast.subject else None
        )
    Frame.objects.filter(pk=three.pk).update(suggested=True)
    Frame.objects.update(reading_version=8)  # read, and nothing found: what is not read yet is not kept
    return cast


def shown(cast: Cast, who: str, language: str = "en") -> str:
    """The sheet of whoever has this role, or the answer's status."""
    client = cast.client_of(cast.sitting.invites.get(role=who))
    client.cookies[settings.LANGUAGE_COOKIE_NAME] = language
    answer = client.get(reverse("sheet", args=[cast.sitting.slug]))
    return OWN.sub("", answer.content.decode()) if answer.status_code == 200 else f"{answer.status_code}"


def frames_on(text: str) -> set[int]:
    return {int(pk) for pk in re.findall(r'<li class="frame" id="f(\d+)"', text)}


def first(cast: Cast) -> Frame:
    return cast.sitting.frames.order_by("pk")[0]


CHANGES: dict[str, Callable[[Cast], object]] = {
    "as it is": lambda cast: None,
    "another mark": lambda cast: pick.set_mark(cast.as_subject, first(cast).pk, kind="alternate"),
    "another title": lambda cast: Look.objects.update(title="Denim <jacket>"),
    "another name": lambda cast: Invite.objects.filter(role="subject").update(name="Ansa V. <b>"),
    "stamped anew": lambda cast: Proof.objects.create(
        frame=first(cast), recipe="p-new", large_key="n.jpg", large_width=300, large_height=200, small_key="n.jpg",
        small_width=90, small_height=60,
    ),
    "read anew": lambda cast: Frame.objects.update(
        reading_version=9, reading={"width": 100, "height": 100, "face": {"right_eye": [10, 20], "left_eye": [30, 20]}}
    ),
    "moved": lambda cast: Frame.objects.filter(pk=first(cast).pk).update(look=cast.sitting.looks.last()),
    "made smaller": lambda cast: Frame.objects.filter(pk=first(cast).pk).update(width=2000, height=3000),
    "numbered anew": lambda cast: Frame.objects.filter(pk=first(cast).pk).update(number=77),
    "one of a run": lambda cast: Frame.objects.update(run=3),
    "taken later": lambda cast: (
        Frame.objects.update(look=first(cast).look),
        Frame.objects.filter(pk=first(cast).pk).update(captured_at=timezone.now()),
    ),
    "suggested": lambda cast: Frame.objects.update(suggested=True),
    "no suggestions shown": lambda cast: Sitting.objects.update(suggestions_shown=False),
    "a frame without a proof": lambda cast: cast.frame(90, None),
    "looks in another order": lambda cast: Look.objects.update(position=10 - F("position")),
    "another title of the sitting": lambda cast: Sitting.objects.update(title="Ansa & <more>"),
    "another day": lambda cast: Sitting.objects.update(deadline=date(2027, 2, 3)),
    "another allowance": lambda cast: Sitting.objects.update(allowance=9),
    "strikes hide": lambda cast: Sitting.objects.update(strikes_hide=True),
    "looks are the studio's": lambda cast: Sitting.objects.update(subject_chooses_looks=False),
    "another studio": lambda cast: Studio.objects.update(name="Halle & Veld", email="new@halle.example"),
    "a logo": lambda cast: Studio.objects.update(logo_key="logos/abc.svg"),
    "through": lambda cast: Invite.objects.update(picks_done_at=timezone.now()),
    "may pass it on": lambda cast: Invite.objects.filter(role="representation").update(may_pass_on=True),
    "a price": lambda cast: extras.set_usual(
        cast.as_owner, unit=2500, currency="EUR", tax_rate=None, tax_included=True, payer="subject",
        waits_for_paid=False,
    ),
    "objected to": lambda cast: Round.objects.update(objected_by="Ansa Veld", reason="Not <that> one."),
    "list closed": lambda cast: Sitting.objects.update(stage=Sitting.Stage.FINISHING),
}  # fmt: skip
# From whom the first frame goes, and who loses the whole sheet.
TAKEN: dict[str, tuple[Callable[[Cast], object], set[str], set[str]]] = {
    "hidden": (lambda cast: Frame.objects.filter(pk=first(cast).pk).update(hidden=True), set(PEOPLE), set()),
    "look hidden": (lambda cast: Look.objects.filter(frames=first(cast)).update(hidden=True), set(PEOPLE), set()),
    "kept": (
        lambda cast: Frame.objects.filter(pk=first(cast).pk).update(kept_by_subject=True), set(PEOPLE[1:]), set(),
    ),
    "look kept": (
        lambda cast: Look.objects.filter(frames=first(cast)).update(kept_from_representation=True),
        set(PEOPLE[1:]), set(),
    ),
    "struck": (
        lambda cast: (
            Sitting.objects.update(strikes_hide=True),
            Mark.objects.filter(invite=cast.subject).update(kind="strike", acted_at=timezone.now()),
        ),
        set(PEOPLE[1:]), set(),
    ),
    "revoked": (lambda cast: invites.revoke(cast.representation, cast.as_owner), set(), {"representation"}),
    "planning": (lambda cast: Sitting.objects.update(stage=Sitting.Stage.PLANNING), set(), set(PEOPLE)),
}  # fmt: skip


@pytest.mark.parametrize("change", [*CHANGES, *TAKEN])
def test_nothing_of_anybody_is_shown_to_somebody_else_nor_what_was_before(cast: Cast, change: str) -> None:
    forget()
    before = {who: shown(cast, who) for who in PEOPLE}
    assert {is_subject for _uid, is_subject in layout._kept} == {False, True}
    kept_from, shut_out = TAKEN[change][1:] if change in TAKEN else (set[str](), set[str]())
    (TAKEN[change][0] if change in TAKEN else CHANGES[change])(cast)
    after = {who: shown(cast, who) for who in PEOPLE}
    pk = first(cast).pk
    for who in PEOPLE:
        forget()
        assert after[who] == shown(cast, who), who
        assert pk in frames_on(before[who])
        assert (pk in frames_on(after[who])) == (who not in kept_from | shut_out), who
        assert after[who].startswith("40") == (who in shut_out), who
    assert change == "as it is" or any(after[who] != before[who] for who in PEOPLE)


@pytest.mark.parametrize("who", PEOPLE)
def test_what_was_made_of_the_same_rows_is_made_once(cast: Cast, who: str, monkeypatch: pytest.MonkeyPatch) -> None:
    forget()
    first_time = shown(cast, who)
    for module, name in ((layout, "_laid_out"), (sheet_page.kept, "_context")):
        monkeypatch.setattr(module, name, lambda *_values: pytest.fail("made again"))
    assert shown(cast, who) == first_time


def test_a_frame_that_was_not_read_may_be_at_the_next_request(cast: Cast) -> None:
    forget()
    Frame.objects.update(reading_version=0)
    before = shown(cast, "subject")
    assert not layout._kept
    face = {"right_eye": [10, 20], "left_eye": [30, 20]}
    Frame.objects.filter(pk=first(cast).pk).update(reading={"width": 100, "height": 100, "face": face})
    assert shown(cast, "subject") != before


def test_no_more_frames_are_kept_than_said(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    forget()
    many = Frame.objects.count()
    for most, kept in ((many - 1, set[bool]()), (many, {False}), (2 * many, {False, True})):
        monkeypatch.setattr(layout, "MOST_FRAMES", most)
        forget()
        for who in ("subject", "representation"):
            shown(cast, who)
        assert {is_subject for _uid, is_subject in layout._kept} == kept


def test_what_is_said_once_is_said_to_one_person_once(cast: Cast) -> None:
    forget()
    client, look = cast.client_of(cast.subject), cast.sitting.looks.get(frames=first(cast))
    client.post(reverse("look-say", args=[cast.sitting.slug]), {"look": look.pk})
    address = reverse("sheet", args=[cast.sitting.slug])
    said = [client.get(address).content.decode().count("is kept from the representation.") for _time in range(2)]
    assert said == [1, 0]
    assert "is kept from the representation." not in shown(cast, "subject")


def test_the_template_reads_no_value_that_the_page_is_not_kept_by() -> None:
    """Of what is no field, a template says nothing at all, and nobody would hear of it."""
    plain = {
        "studio": sheet_page.OfStudio, "sitting": sheet_page.OfSitting, "person": sheet_page.OfPerson,
        "closed_round": sheet_page.Closed, "objected": sheet_page.Objected,
    }  # fmt: skip
    fields = set[tuple[str, str]]()
    for name in ("base", "invitee/frame", "invitee/sheet", "invitee/_objected"):
        template = get_template(f"galleries/{name}.html").template  # type: ignore[attr-defined]
        fields |= set(re.findall(rf"\b({'|'.join(plain)})\.(\w+)", template.source))
    assert ("sitting", "title") in fields
    assert ("person", "is_through") in fields
    assert not {(of, name) for of, name in fields if name not in plain[of]._fields}


def test_nobodys_words_are_taken_for_a_place_that_is_filled_in(cast: Cast, rf: RequestFactory) -> None:
    request = rf.get("/s/x/sheet", {"order": "\0token\0<b>"})
    request.session = cast.client_of(cast.subject).session
    request._messages = FallbackStorage(request)  # type: ignore[attr-defined]
    values = sheet_page.OfSheet(
        studio=sheet_page.OfStudio("\0token\0 <i>", "", "", ""),
        sitting=sheet_page.OfSitting("slug", "Ansa", "proofing", None, False, None),
        person=None, tab_names=(), strips=(), may_mark=False, may_choose_looks=False, may_object=False, allowance=1,
        extra_words=(), closed_round=None, objected=None, kept_back=0, pending=0, order="", whole=False,
        whole_address="",
    )  # fmt: skip
    fresh = {"allowance_said": "\0path\0 <u>", "data_blocks": ""}
    text = sheet_page.kept.answer(request, values, fresh, {"sections": []}).content.decode()
    assert "\0token\0 &lt;i&gt;" in text
    assert "\0path\0 &lt;u&gt;" in text
    assert 'name="next" value="/s/x/sheet?order=%00token%00%3Cb%3E"' in text


def test_the_eyes_are_those_of_the_file_that_is_shown_now(cast: Cast) -> None:
    """A JPEG that joins its raw file takes its place in the frame, and is read by the same reader."""
    forget()
    frame, face = first(cast), {"right_eye": [10, 20], "left_eye": [30, 20]}
    rows = Frame.objects.filter(pk=frame.pk)

    def eyes() -> sheet_rows.Eyes | None:
        frames = sheet_rows.frames(cast.as_subject, cast.sitting)
        return sheet_rows.eyes_of(cast.sitting, frames)[frame.pk]

    rows.update(reading_version=9, reading={"width": 100, "height": 100, "face": face})
    before = eyes()
    lower = {name: [x, y + 40] for name, (x, y) in face.items()}
    rows.update(sha256="e" * 64, reading={"width": 100, "height": 100, "face": lower})
    assert before is not None
    assert eyes() == (before[0], before[1] + 0.4, before[2])


def test_a_note_stands_on_its_owners_sheet_alone_and_words_in_their_language(cast: Cast) -> None:
    forget()
    pages = {(who, language): shown(cast, who, language) for language in ("de", "en") for who in PEOPLE}
    other = make_cast("another")
    filled(other)
    strange = shown(other, "subject")
    assert strange.count("Ansa Veld") == shown(other, "subject").count("Ansa Veld")
    assert not frames_on(strange) & frames_on(pages["subject", "en"])
    for (who, language), text in pages.items():
        assert ("Mine \\u0026 hers" in text) == (who == "subject")
        assert ("data-noted" in text) == (who == "subject")
        assert (", picked by you" in text) == (who == "subject" and language == "en"), (who, language)
        assert (", no mark yet" in text) == (language == "en")
        assert 'name="mark"' not in text or who != "assistant"


def test_a_cell_says_what_the_scripts_say_of_it() -> None:
    said = words_in("en")
    for look, kind, theirs, noted, alike, suggested in itertools.product(
        (2, None), ("", "pick", "strike"), ([], [("subject", "pick", "A & B"), ("representation", "alternate", "C")]),
        (False, True), (0, 3), (False, True),
    ):  # fmt: skip
        item = markup.frame_item(
            _cell_of(look, kind, theirs, noted, alike, suggested), "en", "x", marking=True, place=9
        )
        label = label_of(said, "0007", look, kind, theirs, noted=noted, alike=alike, suggested=suggested)
        assert f'aria-label="{label.replace("&", "&amp;")}"><img' in item
        assert item.count('aria-pressed="true"') == bool(kind)


def _cell_of(
    look: int | None, kind: str, theirs: list[tuple[str, str, str]], noted: bool, alike: int, suggested: bool
) -> Shown:
    frame = sheet_rows.SheetFrame(7, 7, "A.JPG", look, 4000, 6000, None, 0, suggested, False, 1)
    mine = OwnMark(kind, 1, "So" if noted else "", False) if kind or noted else None
    others = [(Invite(role=role, name=name), given) for role, given, name in theirs]
    proof = sheet_rows.SheetProof(3, 800, 1200, 80, 120, "")
    return Shown(frame, proof, look, mine, others, alike=alike, suggested=suggested)
