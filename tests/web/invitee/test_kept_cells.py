"""What is kept of a sheet between requests changes nothing of what anybody is shown, whoever asked before them."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from galleries.access import Visitor
from galleries.models import Frame, Invite, Look, Mark, Proof, Sitting
from galleries.steps.people import invite as invites
from galleries.steps.picking import pick
from galleries.web.invitee import marks_of_all, markup, page, sheet, sheet_rows, strips, words
from galleries.web.invitee.showing import OwnMark, Shown
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
