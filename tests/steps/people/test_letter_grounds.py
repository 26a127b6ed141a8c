"""A letter in readers that drop its body and its style sheet, or recolour what lies on no ground of its own."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest

from galleries.steps.people.composing import compose

VOID = {"meta", "br", "img", "link", "hr"}


class Grounds(HTMLParser):
    """Texts of the body that have not their own ink or ground, styles of elements inside the body alone being kept."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.styles: list[str] = []
        self.bare: list[str] = []
        self.texts = 0
        self.feed(page.partition("<body")[2].partition(">")[2].partition("</body")[0])

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.styles.append(";" + (dict(attrs).get("style") or "").replace(" ", ""))

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            self.styles.pop()

    def handle_data(self, text: str) -> None:
        if not text.strip():
            return
        self.texts += 1
        for wanted in (";color:", ";background:", ";font:"):
            if not any(wanted in style for style in self.styles):
                self.bare.append(f"{wanted} {text.strip()[:40]}")


@pytest.mark.django_db
@pytest.mark.parametrize("language", ["en", "de", "es"])
def test_each_text_of_a_letter_has_ink_ground_and_type_of_its_own(language: str) -> None:
    message = compose("test", "ansa@veld.example", language, "https://portal.example/i/abc")
    page = message.alternatives[0][0]
    grounds = Grounds(page)
    assert grounds.texts > 3
    assert grounds.bare == []
    # and the button keeps an edge where its ground and the letter's become one
    assert "border: 1px solid #8a8a8a" in page.partition("https://portal.example")[0]
