"""A letter belongs to its verb: no page lists one, but the one that is asked for a letter by itself."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from django.urls import reverse

from galleries.models import Invite, Letter, Sitting
from galleries.steps.people import letters
from tests.cast import Cast, make_cast

WEB = Path(__file__).resolve().parents[2] / "galleries" / "web"
# 'Send the letter again' is all that its verb does.
ASKED_FOR = {
    *(("studio/people.py", "send_letter"), ("studio/letters.py", "letter_again"), ("by_invite.py", "send_again")),
}
# The import, and the read of to whom a letter goes that failed; the page that shows what became of each.
ONLY_READS = {
    *(("metrics.py", name) for name in ("", "_Site")),  # counts them
    *(("studio/work.py", ""), ("studio/work.py", "_names")),
    *(("studio/letters.py", name) for name in ("", "Row", "_letter", "_page", "_rows", "_row", "_state", "_sent")),
}
NAMES = {
    *("notify", "notify_photographer", "invite_by_letter", "send_again", "posting", "Letter", "EmailMessage"),
    "send_mail",
}


def told_by_pages() -> set[tuple[str, str]]:
    """(module, function) of every page that touches letters by itself."""
    seen = set()
    for path in sorted(WEB.rglob("*.py")):
        for node in ast.parse(path.read_text("utf-8")).body:
            where = getattr(node, "name", "")
            for part in ast.walk(node):
                name = part.attr if isinstance(part, ast.Attribute) else getattr(part, "id", "")
                names = {alias.name for alias in part.names} if isinstance(part, ast.ImportFrom) else {name}
                if names & NAMES:
                    seen.add((str(path.relative_to(WEB)), where))
    return seen


def test_no_page_lists_a_letter() -> None:
    assert told_by_pages() == ASKED_FOR | ONLY_READS


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def to(kind: str) -> list[str]:
    return sorted(Letter.objects.filter(kind=kind).values_list("to", flat=True))


@pytest.mark.django_db
def test_the_closing_is_told_to_the_same_people_whoever_closes() -> None:
    told = []
    for n, who in enumerate(("representation", "owner")):
        cast = make_cast(f"sitting-{n}")
        Invite.objects.create(
            sitting=cast.sitting, role="assistant", name="Ines", email="ines@maro.example",
            expires_at=cast.subject.expires_at,
        )  # fmt: skip
        frame, client = cast.frame(1), cast.client_of(getattr(cast, who))
        page = "lists" if who == "representation" else "studio-close"
        answer = client.post(reverse(page, args=[cast.sitting.slug]), {"frame": [frame.pk], "sure": "1"})
        assert answer.status_code == 302
        told.append(sorted(Letter.objects.filter(sitting=cast.sitting).values_list("kind", "about", "to")))
    assert told[0] == told[1]
    assert [to for _kind, _about, to in told[0]] == [
        "ansa@veld.example",
        "ines@maro.example",
        "ruben@achterberg.example",
        "tamsin@northlight.example",
    ]


@pytest.mark.django_db
@pytest.mark.parametrize("verb", ["close", "publish", "through", "invite", "pass on"])
def test_a_verb_that_cannot_list_its_letter_does_not_happen(
    cast: Cast, verb: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As if the process were killed between the verb and its letter."""
    frame, slug = cast.frame(1), cast.sitting.slug
    if verb == "publish":
        Sitting.objects.update(stage="planning")
    Invite.objects.update(may_pass_on=True)
    before = (Sitting.objects.get().stage, cast.sitting.invites.count(), cast.sitting.journal.count())

    def killed(*_args: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(letters, "_list", killed)
    person = {"name": "Ines", "email": "ines@maro.example"}
    who, page, said = {
        "close": (cast.representation, "lists", {"frame": [frame.pk], "sure": "1"}),
        "publish": (cast.owner, "studio-publish", {"letter": "1"}),
        "through": (cast.subject, "done", {}),
        "invite": (cast.owner, "studio-invite", {**person, "role": "assistant", "letter": "1"}),
        "pass on": (cast.representation, "pass-on", person),
    }[verb]
    with pytest.raises(KeyboardInterrupt):
        cast.client_of(who).post(reverse(page, args=[slug]), said)
    assert (Sitting.objects.get().stage, cast.sitting.invites.count(), cast.sitting.journal.count()) == before
    assert Invite.objects.filter(picks_done_at=None).count() == before[1]
