"""A second opinion and a retouch, each the whole way by keyboard on phones: asked for, said, read; terms, originals,
a version sent in, let out, sent back with words for whoever retouches. axe on each page."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import FilePayload, Page, TimeoutError, expect

from galleries import storage
from galleries.models import Frame, SecondOpinion, Version
from galleries.steps import jobs
from galleries.steps.agreeing import agree
from galleries.steps.picking import pick
from tests.browser.conftest import PHONE, Come, sideways
from tests.browser.studio_stage import WCAG
from tests.cast import Cast
from tests.web.invitee.sheets import filled, picture

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def fits(page: Page, name: str) -> None:
    assert not sideways(page), (name, sideways(page))
    report = Axe().run(page, options={"runOnly": WCAG})
    assert report.violations_count == 0, (name, report.generate_report())
    if folder := os.environ.get("TESTS_LOOK"):
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def by_tab(page: Page, place: str = "", **named: Any) -> None:
    """Tab until the focus is on what has this role and name: nothing is reached by a pointer."""
    wanted = page.locator(place) if place else page.get_by_role(**named)
    for _ in range(80):
        page.keyboard.press("Tab")
        if wanted.evaluate("one => one === document.activeElement"):
            return
    raise AssertionError(f"the keyboard never came to {place or named}")


def press(page: Page, name: str) -> None:
    by_tab(page, role="button", name=name)
    page.keyboard.press("Enter")


def chosen_by_enter(page: Page, file: FilePayload) -> None:
    """Enter on a bare file input opens the browser's own chooser. No script of ours stands between; once in some
    twenty runs on a full machine the browser never told of the chooser, so Enter is pressed a second time then."""
    for last in (False, True):
        try:
            with page.expect_file_chooser(timeout=30_000 if last else 8_000) as chooser:
                page.keyboard.press("Enter")
        except TimeoutError:
            if last:
                raise
        else:
            return chooser.value.set_files([file])


def test_an_opinion_and_a_retouch_by_keyboard(cast: Cast, come: Come) -> None:
    frames = filled(cast, 1, 3)
    for frame in frames[:2]:
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    subject = come(cast.subject, **PHONE).open(f"/s/{cast.sitting.slug}/opinions")
    an_opinion(cast, come, subject, frames)
    data = picture(600, 900)
    for frame in frames[:2]:
        storage.put(storage.private(), frame.key, data)
    Frame.objects.update(bytes=len(data), width=600, height=900)
    agree.close(cast.sitting, [frame.pk for frame in frames[:2]], cast.as_owner)
    a_retouch(cast, come, subject)


def an_opinion(cast: Cast, come: Come, subject: Page, frames: list[Frame]) -> None:
    by_tab(subject, role="textbox", name="First name")
    subject.keyboard.type("Mar")
    fits(subject, "opinion-asked")
    press(subject, "Make the link")
    link = subject.get_by_role("textbox", name="Link").input_value()
    asked = come(None, **PHONE).open(urlsplit(link).path)
    press(asked, "Look at the pictures")
    expect(asked.get_by_role("heading", level=1)).to_contain_text("Mar")
    expect(asked.locator(".asked img")).to_have_count(2)
    by_tab(asked, role="checkbox", name=f"This one {frames[1].label}")
    asked.keyboard.press("Space")
    by_tab(asked, role="textbox", name="A sentence, if you like")
    asked.keyboard.type("In this one I know you.")
    fits(asked, "opinion-given")
    press(asked, "Send my opinion")
    expect(asked.get_by_role("button", name="Send it anew")).to_be_visible()
    assert SecondOpinion.objects.get().sentence == "In this one I know you."
    subject.goto(subject.url)
    expect(subject.get_by_role("region", name="Mar")).to_contain_text("In this one I know you.")
    expect(subject.locator(".small-film li")).to_have_text([frames[1].label])
    fits(subject, "opinion-read")
    press(subject, "End it now – Mar")
    expect(subject.get_by_role("region", name="Mar")).to_contain_text("ended")
    assert asked.request.get(asked.url).status == 404


def a_retouch(cast: Cast, come: Come, subject: Page) -> None:
    home = f"/s/{cast.sitting.slug}"
    device = come(cast.retoucher(accepted=False), **PHONE)
    page = device.open(f"{home}/retouch")
    page.on("filechooser", lambda _: None)  # choosers are caught from here on, long before the key that opens one
    expect(page.locator("img")).to_have_count(0)
    fits(page, "retouch-terms")
    press(page, "I accept")
    by_tab(page, role="link", name="Fetch all 2 files")
    with page.expect_download() as fetch:
        page.keyboard.press("Enter")
    assert fetch.value.suggested_filename.endswith("-retouch.zip")
    by_tab(page, role="button", name="Choose files")
    version = picture(600, 900, 124)
    chosen_by_enter(page, {"name": "KAL_0001_v1.jpg", "mimeType": "image/jpeg", "buffer": version})
    by_tab(page, role="link", name="Show the finals as they are now")
    edges = page.locator("#files .state").evaluate(
        "(one) => [one, one.closest('ol')].map((part) => part.getBoundingClientRect().right)"
    )
    assert edges[0] <= edges[1], "what became of a file is cut off"
    jobs.run_waiting(cast.sitting, kinds=["version"])
    page.keyboard.press("Enter")
    expect(page.locator(".work")).to_contain_text("your version 1 waits for the studio's look")
    fits(page, "retouch-sent-in")
    # Beside what is wanted too a picture's place is kept before it comes, and is no larger than the window.
    beside = device.tab()
    beside.set_viewport_size({"width": 1024, "height": 800})
    beside.route("**/retouch/picture/**", lambda _: None)
    beside.goto(page.url, wait_until="domcontentloaded")
    first = beside.locator(".work figure img").first
    expect(first).to_have_js_property("naturalWidth", 0)
    kept = first.bounding_box()
    assert kept
    assert 400 < kept["height"] < 680
    assert kept["width"] > 200
    assert not sideways(beside)
    beside.close()

    assert Version.objects.get().sent_at is None
    studio = come(cast.owner, **PHONE).open(f"/studio/{cast.sitting.slug}/finals/send")
    fits(studio, "retouch-looked-at")
    press(studio, "Send with one letter")
    expect(studio.get_by_text("No retouch waits to be sent.").or_(studio.locator(".messages"))).to_be_visible()
    subject.goto(f"{device.address}{home}/final/{Version.objects.get().final_id}")
    by_tab(subject, ".send-back summary")
    subject.keyboard.press("Enter")
    by_tab(subject, role="textbox", name="What should be different in 0001?")
    subject.keyboard.type("Leave the scar, please.")
    fits(subject, "retouch-sent-back")
    press(subject, "Send it back with this note")
    expect(subject.get_by_text("Sent back with your note.")).to_be_visible()
    page.reload()
    expect(page.locator(".work")).to_contain_text("Leave the scar, please.")
    fits(page, "retouch-again")
