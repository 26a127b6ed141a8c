"""The description that goes into files whose photographer wrote none."""

from __future__ import annotations

import pytest
from django.utils.translation import override

from galleries.models import Final, Frame, Look, Sitting
from galleries.steps.finishing import description

JUMPER, CANVAS = "navy jumper,  fine knit.", "warm canvas"


def final(look: Look | None, text: str = "") -> Final:
    return Final(sitting=Sitting(subject_given="Ansa", subject_surname="Veld"), frame=Frame(look=look), alt_text=text)


@pytest.mark.parametrize(
    ("look", "words"),
    [
        (None, "Portrait of Ansa Veld."),
        (Look(title="Linen"), "Portrait of Ansa Veld. Look: Linen."),
        (Look(title="Linen", wardrobe=JUMPER), "Portrait of Ansa Veld. Wardrobe: navy jumper, fine knit."),
        (Look(title="Linen", backdrop=CANVAS), "Portrait of Ansa Veld. Backdrop: warm canvas."),
        (
            Look(title="Linen", wardrobe=JUMPER, backdrop=CANVAS, treatment=Look.Treatment.MONOCHROME),
            "Portrait of Ansa Veld. Black and white. Wardrobe: navy jumper, fine knit. Backdrop: warm canvas.",
        ),
    ],
)
def test_it_says_what_is_known_and_nothing_of_the_face(look: Look | None, words: str) -> None:
    assert description.proposed(final(look)) == words


def test_the_photographers_words_come_first() -> None:
    assert description.written(final(None, "She laughs.")) == "She laughs."
    assert description.written(final(None)) == "Portrait of Ansa Veld."


def test_it_is_as_long_as_the_standard_recommends_and_ends_with_a_word() -> None:
    text = description.proposed(final(Look(title="x", wardrobe="jumper " * 28, backdrop="canvas " * 28)))
    assert len(text) <= 250
    assert text.endswith(("canvas…", "jumper…"))
    exact = "Portrait of Ansa Veld. Wardrobe: ."
    assert len(description.proposed(final(Look(title="x", wardrobe="w" * (250 - len(exact)))))) == 250


def test_it_speaks_the_photographers_language() -> None:
    with override("de"):
        assert description.proposed(final(None)) == "Porträt von Ansa Veld."
    with override("es"):
        assert description.proposed(final(None)) == "Retrato de Ansa Veld."
