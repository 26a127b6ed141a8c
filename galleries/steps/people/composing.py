"""A letter put together: the same words as plain text and as a quiet page, from the studio by its name."""

from __future__ import annotations

from collections.abc import Callable
from email.utils import formataddr, parseaddr
from typing import Any

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string
from django.utils import timezone, translation

from galleries.access import one_line
from galleries.models import AccountLetter, Letter, Studio

# Written as {{ heed }} before the paragraph of a template that names a day: the page draws it out, the text drops it.
# A private use character (Unicode, 23.5), which nobody types and no paragraph loses by being stripped.
HEED = "\ue000"


def compose(kind: str, to: str, language: str, link: str, **context: Any) -> EmailMultiAlternatives:
    """The letter `letters/<kind>.txt` to one address, not sent yet.

    The template's first line is the subject. The HTML beside it is made of the same paragraphs (see `drawn`).
    """
    studio = Studio.current()
    with translation.override(language or settings.LANGUAGE_CODE):
        written = render_to_string(
            f"galleries/letters/{kind}.txt", {"studio": studio, "link": link, "heed": HEED, **context}
        )
        subject, _line, body = written.strip().partition("\n")
        parts = drawn(paragraphs(body), link)
        page = render_to_string(
            "galleries/letters/letter.html",
            {
                "subject": subject.strip(),
                "parts": parts,
                "studio": studio,
                "language": translation.get_language(),
                "direction": "rtl" if translation.get_language_bidi() else "ltr",
            },
        )
    letter = EmailMultiAlternatives(
        one_line(subject),
        "\n\n".join(text for _kind, text in parts) + "\n",
        sender(studio),
        [to],
        reply_to=[studio.email],
        # RFC 3834: no machine that answers letters by itself answers this one.
        headers={"Auto-Submitted": "auto-generated", "Content-Language": language or settings.LANGUAGE_CODE},
    )
    letter.attach_alternative(page, "text/html")
    return letter


def drawn(written: list[str], link: str) -> list[tuple[str, str]]:
    """Each paragraph with what the page makes of it: link, heed (a day is named), from (who writes) or text.

    The one that is the link alone becomes a button with the address below it, so that nobody has to trust a button.
    """
    last = len(written) - 1

    def kind(place: int, part: str) -> str:
        if part == link:
            return "link"
        if part.startswith(HEED):
            return "heed"
        return "from" if place == last else "text"

    parts = [(kind(place, part), part.removeprefix(HEED).strip()) for place, part in enumerate(written)]
    return [(kind, text) for kind, text in parts if text]


def sender(studio: Studio) -> str:
    """The studio's name before the address that the site sends from (RFC 5322, 3.4)."""
    name, address = parseaddr(settings.DEFAULT_FROM_EMAIL)
    return formataddr((one_line(studio.name) or name, address))


def paragraphs(body: str) -> list[str]:
    """The text between empty lines, each without spaces at the ends of its lines."""
    lines = "\n".join(line.strip() for line in body.splitlines())
    return [part.strip() for part in lines.split("\n\n") if part.strip()]


def send_once(
    letter: Letter | AccountLetter, compose_it: Callable[[], EmailMultiAlternatives], *, rather_twice: bool = False
) -> None:
    """Send it, unless it was sent; what cannot be sent counts as unsent again.

    Marked first: a worker killed between the two loses one letter; the other way round, with `rather_twice`, somebody
    gets it twice, for letters on which something hangs that cannot be taken back.
    """
    if rather_twice:
        rows = type(letter).objects.filter(pk=letter.pk)
        if rows.unsent().exists():
            compose_it().send()
            rows.unsent().update(sent_at=timezone.now())
        return
    once(letter, lambda: compose_it().send())


def once(letter: Letter | AccountLetter, do: Callable[[], object]) -> None:
    """Mark it sent and do what that means, unless it was done; when that fails it counts as unsent again."""
    rows = type(letter).objects.filter(pk=letter.pk)
    if not rows.unsent().update(sent_at=timezone.now()):
        return
    try:
        do()
    except Exception:
        rows.update(sent_at=None)
        raise
