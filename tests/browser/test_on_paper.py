"""Plan and licence, printed from the browser: ink on white, all of the text, nothing to press, no empty page."""

from __future__ import annotations

from io import BytesIO

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader

from galleries.models import Sitting
from galleries.steps.delivering import licences
from galleries.steps.planning import sitting_plan
from tests.browser.conftest import Come
from tests.cast import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
# What is pressed, and what only leads somewhere, is no part of a paper.
LIGHT = """() => [...document.querySelectorAll("main *, main, body, html")]
  .filter((one) => one.checkVisibility() && one.innerText)
  .flatMap((one) => {
    const { color, backgroundColor } = getComputedStyle(one), value = (rgb) => rgb.match(/[\\d.]+/g).map(Number);
    const [r, g, b] = value(color), [br, bg, bb, alpha = 1] = value(backgroundColor);
    return Math.max(r, g, b) > 128 || (alpha && Math.min(br, bg, bb) < 200) ? [one.outerHTML.slice(0, 80)] : [];
  })"""


def test_plan_and_licence_are_printed_whole_in_ink_on_white(cast: Cast, come: Come) -> None:
    look = cast.look()
    look.notes = "Hair tied back."
    look.save()
    Sitting.objects.update(stage="planning")
    page = come(cast.subject).open(f"/s/{cast.sitting.slug}/plan")
    for name, said, pressed in (
        ("plan", ["Hair tied back."], ["Say something", "Leave, and clear"]),
        (
            "delivery",
            ["The pictures and this licence may not be sold or licensed on."],
            ["I accept", "May I", "Leave,"],
        ),
    ):
        if name == "delivery":
            Sitting.objects.update(stage="finishing")
            licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
            page.goto(page.url.replace("/plan", "/delivery"))
        page.emulate_media(media="print")
        assert page.evaluate(LIGHT) == []
        paper = PdfReader(BytesIO(page.pdf(format="A4", print_background=True)))
        texts = [" ".join(one.extract_text().split()) for one in paper.pages]
        assert all(texts), f"an empty page of {name}"
        for one in said:
            assert one in " ".join(texts)
        for one in pressed:
            assert one not in " ".join(texts)
        assert len(texts) == (1 if name == "plan" else 2)
        page.emulate_media(media="screen")


def test_a_part_with_nothing_in_it_is_no_part_of_the_paper(cast: Cast, come: Come) -> None:
    Sitting.objects.update(stage="planning")
    page = come(cast.subject).open(f"/s/{cast.sitting.slug}/plan")
    expect(page.get_by_role("heading", name="About the whole sitting")).to_be_visible()
    page.emulate_media(media="print")
    assert "About the whole sitting" not in PdfReader(BytesIO(page.pdf())).pages[-1].extract_text()
    sitting_plan.comment(cast.as_subject, cast.sitting, "Hair up for the second look?")
    page.emulate_media(media="screen")
    page.reload()
    page.emulate_media(media="print")
    text = " ".join(PdfReader(BytesIO(page.pdf())).pages[-1].extract_text().split())
    assert "About the whole sitting" in text
    assert "Hair up for the second look?" in text
