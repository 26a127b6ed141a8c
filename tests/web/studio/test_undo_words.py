"""What “Undo” would undo, in three languages."""

from __future__ import annotations

import pytest
from django.utils import translation

from galleries.models import Undoable, Verb
from galleries.steps.sorting.before import Before, GoneLook, Place
from galleries.web.studio import undo_words

ONE, TWO = (Place(1, 1, True),), (Place(1, 1, True), Place(2, None, False))


@pytest.mark.parametrize(
    ("verb", "was", "english", "german", "spanish"),
    [
        (Verb.FRAMES_MOVED, Before(places=ONE, into_title="Mantel"),
         "1 frame moved to “Mantel”", "1 Aufnahme nach „Mantel“ verschoben", "1 toma movida a «Mantel»"),
        (Verb.FRAMES_MOVED, Before(places=TWO, into_title="Mantel"),
         "2 frames moved to “Mantel”", "2 Aufnahmen nach „Mantel“ verschoben", "2 tomas movidas a «Mantel»"),
        (Verb.FRAMES_MOVED, Before(places=TWO),
         "2 frames taken out of their looks", "2 Aufnahmen aus ihren Looks genommen",
         "2 tomas sacadas de sus looks"),
        (Verb.FRAMES_HIDDEN, Before(hidden={1: False}),
         "1 frame hidden", "1 Aufnahme verborgen", "1 toma ocultada"),
        (Verb.FRAMES_SHOWN, Before(hidden={1: True, 2: True}),
         "2 frames shown again", "2 Aufnahmen wieder gezeigt", "2 tomas mostradas de nuevo"),
        (Verb.FRAMES_SUGGESTED, Before(suggested={1: False, 2: False}),
         "2 frames suggested", "2 Aufnahmen vorgeschlagen", "2 tomas sugeridas"),
        (Verb.FRAMES_NOT_SUGGESTED, Before(suggested={1: True}),
         "1 suggestion withdrawn", "1 Vorschlag zurückgezogen", "1 sugerencia retirada"),
        (Verb.LOOK_SPLIT, Before(places=TWO, begun=3, into_title="Mantel"),
         "“Mantel” split off, with 2 frames", "„Mantel“ mit 2 Aufnahmen abgeteilt",
         "«Mantel» separado, con 2 tomas"),
        (Verb.LOOKS_MERGED, Before(places=TWO, gone=GoneLook({"id": 1, "title": "Leinen"}), into_title="Mantel"),
         "“Leinen” merged into “Mantel”", "„Leinen“ mit „Mantel“ vereint", "«Leinen» unido a «Mantel»"),
    ],
)  # fmt: skip
def test_the_hint(verb: str, was: Before, english: str, german: str, spanish: str) -> None:
    act = Undoable(verb=verb, version=was.version, before=was.to_json())
    for language, words in (("en", english), ("de", german), ("es", spanish)):
        with translation.override(language):
            assert undo_words.hint(act) == words


def test_nothing_to_take_back_has_no_hint() -> None:
    assert undo_words.hint(None) == ""
