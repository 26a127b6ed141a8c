"""What people read holds nothing of the machine: every page on rows that exist, in all three languages.

Sought in the text that is seen, by form: double stops, a row of dashes in place of a word, words in square brackets,
pieces of checksums, dates by ISO 8601 (fields take them; nobody reads them there).
"""

from __future__ import annotations

import html
import re
from datetime import date

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from galleries.models import Approval, JournalLine, Verb
from galleries.steps.delivering import sizes
from tests.cast import LANGUAGE, body_of
from tests.web.test_costs import OF_ONE_THING, PAPERS
from tests.web.test_matrix import INVITEE_PAGES, STUDIO_PAGES, Place, address, opens

pytestmark = pytest.mark.django_db
FORMS = {
    "a double stop": re.compile(r"(?<![.…])\.\.(?!\.)|…\.|[!?:;,]\s?\.(?!\w)|\.\s\.(?!\w)"),
    "dashes for a word": re.compile(r"-{4,}"),
    "square brackets": re.compile(r"\[\s*\w[^\]\n]*\]"),
    "a piece of a checksum": re.compile(r"\b(?=[0-9a-f]*[0-9])(?=[0-9a-f]*[a-f])[0-9a-f]{8,}\b|\b([a-f])\1{7,}\b"),
    "a date by ISO 8601": re.compile(r"\b\d{4}-\d\d-\d\d\b"),
    "a name of the program": re.compile(r"\b(?:humanEdits|algorithmicallyEnhanced|compositeWith\w+|[a-z]+_[a-z_]+)\b"),
}
UNSEEN = re.compile(r"<(script|style|template|head)\b[^>]*>.*?</\1>|<!--.*?-->", re.DOTALL)
INLINE = re.compile(r"</?(?:span|b|i|em|strong|a|small|time)\b[^>]*>")
# Addresses and paths are the site's own, with folders' names of its machine and links' tokens.
ADDRESS = re.compile(r"https?://\S+|(?<!\w)/\S+")
NO_PAGES = (OF_ONE_THING | PAPERS) - {"archive", "own-copy-archive", "studio-letter"}  # pictures, files; drawn papers


def seen(page: str) -> str:
    """The words of a page, as nearly as they stand for a reader; what a field holds is not among them."""
    text = UNSEEN.sub("\n", page)
    text = ADDRESS.sub("", html.unescape(re.sub(r"<[^>]+>", "\n", INLINE.sub("", text))))
    lines = (" ".join(line.split()) for line in text.split("\n"))
    return "\n".join(line for line in lines if line)


def machine_words(text: str) -> list[str]:
    return [
        f"{name}: {text[max(0, hit.start() - 30) : hit.end() + 20]!r}"
        for name, form in FORMS.items()
        for hit in form.finditer(text)
    ]


@pytest.mark.parametrize(
    "said",
    ["It ended..", "Sent …. Next", "Role\n---------\nsubject", "common practice [trade]", "approved 8f0caf286b by her",
     "until 2026-11-26.", "humanEdits → humanEdits", "Jules: ."],
)  # fmt: skip
def test_each_form_is_recognised(said: str) -> None:
    assert machine_words(said)


@pytest.mark.parametrize(
    "said", ["It ends …", "one. Two", "8 × 10 in. (203 mm)", "26 Nov 2026", "the file DAM_0450.JPG", "e.g. this, etc."]
)
def test_plain_words_pass(said: str) -> None:
    assert not machine_words(said)


@pytest.fixture
def place() -> Place:
    sizes.load()
    place = Place("ansa-veld")
    sitting, cast = place.cast.sitting, place.cast
    version = sitting.finals.get().versions.get()
    Approval.objects.create(
        version=version, invite=cast.subject, decision="approved", sha256=version.sha256, who=cast.subject.name
    )
    JournalLine.write(sitting, "owner", Verb.RETOUCH_DECLARED, "final 0001", "humanEdits", "humanEdits")
    JournalLine.write(sitting, "owner", Verb.KEPT_UNTIL, sitting.title, "", date(2027, 3, 4).isoformat())
    sitting.deliveries.update(expires_at=timezone.now())  # past: the pages say until when it could be fetched
    sitting.own_copies.update(expires_at=timezone.now())
    return place


def test_no_page_says_a_word_of_the_machine(place: Place) -> None:
    sitting, found, pages = place.cast.sitting, [], 0
    studio, subject = (place.cast.client_of(person) for person in (place.cast.owner, place.cast.subject))
    readers = dict.fromkeys([*STUDIO_PAGES, "studio", "studio-sizes"], studio)
    readers |= {name: subject for name in INVITEE_PAGES if opens(name, "subject", "r")}
    for name, client in readers.items():
        if name in NO_PAGES or "get" not in (STUDIO_PAGES.get(name) or INVITEE_PAGES.get(name, ("get",))[0]):
            continue
        at = reverse(name) if name in {"studio", "studio-sizes"} else address(name, sitting.slug, place.things)
        for language, _words in settings.LANGUAGES:
            client.cookies[LANGUAGE] = language
            answer = client.get(at)
            if not answer.headers.get("Content-Type", "").startswith("text/html") or answer.status_code == 302:
                continue
            pages += 1
            found += [f"{language} {at}: {said}" for said in machine_words(seen(body_of(answer).decode()))]
    assert not found, "\n".join(found)
    assert pages > 80
