"""German and Spanish: the compiled catalogues are those of the sources, placeholders survive, and people read them."""

from __future__ import annotations

import re
import struct
from pathlib import Path

import pytest
from django.urls import reverse
from django.utils import translation

from galleries.models import Invite
from galleries.web.invitee.words import frame_words, label_of, sheet_words
from tests.cast import LANGUAGE, make_cast
from tests.web.invitee.sheets import filled

FOLDER = Path(__file__).resolve().parents[2] / "galleries" / "locale"
LANGUAGES = ["de", "es"]
QUOTED = re.compile(r'^"(.*)"$')
ESCAPES = {"\\n": "\n", '\\"': '"', "\\\\": "\\", "\\t": "\t"}


def unquoted(text: str) -> str:
    return re.sub(r'\\[n"\\t]', lambda found: ESCAPES[found.group()], text)


def source(language: str) -> dict[str, tuple[str, ...]]:
    """The .po file, read as the GNU gettext manual describes it: msgid (its context before an EOT, its
    plural after a NUL) -> translations."""
    entries: dict[str, tuple[str, ...]] = {}
    for block in (FOLDER / language / "LC_MESSAGES" / "django.po").read_text("utf-8").split("\n\n"):
        parts: dict[str, str] = {}
        name = ""
        for line in block.splitlines():
            if line.startswith("#"):
                continue
            keyword, _space, rest = line.partition(" ") if not line.startswith('"') else (name, "", line)
            name = keyword
            found = QUOTED.match(rest)
            assert found, f"{language}: {line}"
            parts[name] = parts.get(name, "") + unquoted(found.group(1))
        if "msgid" not in parts:
            continue
        context = parts["msgctxt"] + "\x04" if "msgctxt" in parts else ""
        key = context + parts["msgid"] + ("\0" + parts["msgid_plural"] if "msgid_plural" in parts else "")
        entries[key] = tuple(parts[name] for name in sorted(parts) if name.startswith("msgstr"))
    return entries


def compiled(language: str) -> dict[str, tuple[str, ...]]:
    """The .mo file, by the layout in the GNU gettext manual (The Format of GNU MO Files)."""
    data = (FOLDER / language / "LC_MESSAGES" / "django.mo").read_bytes()
    magic, _revision, count, originals, translations = struct.unpack("<5I", data[:20])
    assert magic == 0x950412DE
    entries = {}
    for i in range(count):
        length, at = struct.unpack_from("<2I", data, originals + 8 * i)
        to_length, to = struct.unpack_from("<2I", data, translations + 8 * i)
        entries[data[at : at + length].decode()] = tuple(data[to : to + to_length].decode().split("\0"))
    return entries


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_compiled_catalogue_is_that_of_the_source(language: str) -> None:
    wanted = {key: said for key, said in source(language).items() if all(said)}
    assert compiled(language) == wanted, (
        f"compile it again: msgfmt -o django.mo django.po in galleries/locale/{language}"
    )


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_placeholder_survives_translation(language: str) -> None:
    holder = re.compile(r"%\(\w+\)[sd]|\{\w+\}|%[sd]|<[^>]+>")
    for key, said in source(language).items():
        if not key or not all(said):
            continue
        want = sorted(holder.findall(key.split("\0")[-1]))
        for text in said[-1:]:
            assert sorted(holder.findall(text)) == want, (key, text)


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_somebody_invited_reads_is_all_translated(language: str) -> None:
    """Every sentence in the templates of the invitee's pages and letters, and every word their scripts speak."""
    known = {key.split("\0")[0] for key, said in compiled(language).items() if all(said)}
    folder = FOLDER.parent / "templates" / "galleries"
    wanted: set[str] = set()
    for path in [*folder.glob("*.html"), *folder.glob("invitee/*.html"), *folder.glob("letters/*.txt")]:
        text = path.read_text("utf-8")
        wanted |= {one[1:-1] for one in re.findall(r"{%\s*translate\s+(\"[^\"]+\"|'[^']+')", text)}
    missing = sorted(one for one in wanted if one.replace("%", "%%") not in known and one not in known)
    assert not missing, missing
    for words in (frame_words, sheet_words):
        with translation.override("en"):
            english = words()
        with translation.override(language):
            same = {name for name, said in words().items() if said == english[name]}
        assert same <= {"percent", "refused", "look"}, same


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("language", "heading", "label"),
    [
        ("de", "Noch nichts gew", "Aufnahme 0001, Look 1, noch ohne Markierung"),
        ("es", "Nada elegido a", "toma 0001, look 1, aún sin marca"),
    ],
)
def test_the_sheet_speaks_the_persons_language(language: str, heading: str, label: str) -> None:
    cast = make_cast()
    filled(cast)
    client = cast.client_of(cast.subject)
    client.cookies[LANGUAGE] = language
    page = client.get(reverse("sheet", args=[cast.sitting.slug])).content.decode()
    assert f'<html lang="{language}"' in page
    assert label in page
    assert heading in page  # among the words that the script speaks


@pytest.mark.django_db
def test_an_invite_brings_its_language_along() -> None:
    from galleries.steps.people import invite

    cast = make_cast()
    Invite.objects.filter(pk=cast.subject.pk).update(language="de")
    cast.subject.refresh_from_db()
    client = cast.client_of(None)
    client.post("/i/" + invite.new_link(cast.subject).rsplit("/", 1)[1])
    assert '<html lang="de"' in client.get(reverse("plan", args=[cast.sitting.slug])).content.decode()


def test_labels_read_well_in_german() -> None:
    with translation.override("de"):
        said = label_of(frame_words(), "0123", 2, "pick", [("representation", "pick", "Ruben")])
    assert said == "Aufnahme 0123, Look 2, von Ihnen gewählt, vorgemerkt von Ruben"


def test_every_use_of_a_licence_has_words_in_every_language() -> None:
    from django.utils import translation

    from galleries.papers.licence_fields import USES
    from galleries.web.use_words import USE_WORDS

    assert {key: str(words) for key, words in USE_WORDS.items()} == dict(USES)
    for language in ("de", "es"):
        with translation.override(language):
            assert all(str(USE_WORDS[key]) != words for key, words in USES.items())
