"""Letters twice as large on the smallest screen, upright and lying: nothing overlaps, is cut off or too small to press.

WCAG 2.2, 1.4.4 (text to 200 %), 1.4.10 (320 CSS pixels wide without scrolling sideways), 2.5.5 (targets of 44).
The longest language stands for the three: German.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserType, Page, expect

from galleries.models import Sitting
from tests.browser.conftest import CHROMIUM, LEAN, Come, Device
from tests.browser.test_everyone import everything
from tests.browser.test_marking import ready
from tests.cast import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
MEASURE = (Path(__file__).parent / "measure.js").read_text("utf-8").partition("\n")[2]
SMALLEST = {
    "viewport": {"width": 320, "height": 640}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2,
    "locale": "de-DE",
}  # fmt: skip


@pytest.fixture
def browser(browser: Browser) -> Iterator[Browser]:
    """As the person set it in the browser: 32 pixels in place of 16."""
    kind: BrowserType = browser.browser_type
    large = kind.launch(executable_path=CHROMIUM, args=[*LEAN, "--blink-settings=defaultFontSize=32"])
    yield large
    large.close()


def wrong(page: Page, what: str) -> list[str]:
    found: list[Any] = []
    for width, height in ((320, 640), (640, 320)):
        page.set_viewport_size({"width": width, "height": height})
        expect(page.locator("html")).to_have_js_property("clientWidth", width)
        page.wait_for_timeout(100)  # for the strips that come into sight
        found += [f"{what} {width}×{height}: {one}" for one in page.evaluate(MEASURE, 44)]
    return found


def test_nothing_overlaps_or_vanishes_with_large_letters(cast: Cast, come: Come) -> None:
    frame = everything(cast).frame
    subject, agent = come(cast.subject, **SMALLEST), come(cast.representation, **SMALLEST)
    sheet = f"/s/{cast.sitting.slug}/sheet"
    page = ready(subject.open(sheet))
    assert page.evaluate("getComputedStyle(document.documentElement).fontSize") == "32px"
    found = wrong(page, "sheet")
    page = ready(subject.open(sheet))
    page.locator("#your-picks").click()
    expect(page.locator("#picks-film li")).to_have_count(1)
    found += wrong(page, "your picks")
    page = ready(subject.open(f"{sheet}?large#frame-{frame.pk}"))
    expect(page.locator("#large")).to_have_attribute("open", "")
    found += wrong(page, "large view")
    found += wrong(ready(agent.open(sheet)), "the agent's sheet")
    found += wrong(agent.open(f"/s/{cast.sitting.slug}/lists"), "lists")
    found += wrong(agent.open(f"/s/{cast.sitting.slug}/plan"), "plan")
    assert not found, "\n".join(found)


# Words that stand in two lines, a bar where they break. Without hyphenation, whose dictionary not every browser has: a
# word that stands whole then needs none. Addresses may break anywhere.
BROKEN = r"""() => {
  document.body.style.hyphens = "manual";
  const broken = new Set(), one = document.createRange();
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walk.nextNode(); node; node = walk.nextNode()) {
    const inside = node.parentElement;
    if (inside.closest("option, select, script, style, noscript, .unseen, .skip, .name, a[href^='mailto:']")) continue;
    if (!inside.checkVisibility({ visibilityProperty: true })) continue;
    for (const { 0: word, index } of node.data.matchAll(/[\p{L}\p{N}]+/gu)) {
      const tops = [...word].map((_, at) => {
        one.setStart(node, index + at);
        one.setEnd(node, index + at + 1);
        return one.getBoundingClientRect().top;
      });
      const at = tops.findIndex((top) => top - tops[0] > 4);
      if (at > 0) broken.add(`${word.slice(0, at)}|${word.slice(at)} in <${inside.localName}>`);
    }
  }
  return [...broken];
}"""


@pytest.mark.parametrize("language", ["de-DE", "es-ES"])
def test_words_stand_whole_in_large_letters(cast: Cast, come: Come, language: str) -> None:
    """“Endbilde-r” is no word. (Common practice, no source: WCAG asks only that nothing is cut off.)"""
    final = everything(cast)
    type(cast.representation).objects.update(may_pass_on=True)
    small: dict[str, Any] = {**SMALLEST, "locale": language}
    subject, agent, nobody = come(cast.subject, **small), come(cast.representation, **small), come(None, **small)
    compare = f"compare?look={final.frame.look_id}"
    found: list[str] = []

    def look(device: Device, *paths: str, inside: str = f"/s/{cast.sitting.slug}/") -> None:
        for path in paths:
            page = device.open(inside + path)
            found.extend(f"{path}: {one}" for one in page.evaluate(BROKEN))

    look(agent, "sheet", "plan", "lists", compare, "as-casting", "pass-on")
    look(agent, "desk", inside="/")
    look(subject, "sheet", "opinions", "about-me")
    Sitting.objects.update(stage="finishing")
    look(subject, "finals", f"final/{final.pk}", "delivery?may=advertising", "kept-back", "plan")
    look(agent, "lists", "statement", "finals")
    look(nobody, "", "sign-in", "sign-in/link", f"in/{'x' * 32}", inside="/")
    nobody.troubles.clear()  # a link that opens nothing
    assert not found, "\n".join(found)


def test_the_measure_sees_what_is_wrong(browser: Browser) -> None:
    page = browser.new_page(viewport={"width": 320, "height": 640})
    page.set_content(
        "<p style='width:900px'>wide</p><div style='height:9px;overflow:hidden'>cut off</div>"
        "<div style='position:relative'><b style='position:absolute'>upon</b><i style='position:absolute'>upon it</i>"
        "</div><button style='width:9px'>x</button>"
    )
    said = " ".join(page.evaluate(MEASURE, 44))
    assert all(word in said for word in ("scrolls sideways", "clipped", "overlap", "small")), said
    page.set_content("<p style='width:200px;font-size:30px;overflow-wrap:break-word'>es nebeneinander an</p>")
    (broken,) = page.evaluate(BROKEN)
    assert broken.replace("|", "") == "nebeneinander in <p>"
