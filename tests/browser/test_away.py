"""Without a network, for somebody who never opened the sheet: the house's words on every page, and nothing stays.

The pages before a sitting (a link's, an agent's desk) too: of them words are kept, and nothing of anybody."""

from __future__ import annotations

import re

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from galleries.steps.picking import pick
from tests.browser.conftest import PHONE, Come
from tests.browser.test_marking import ready
from tests.cast import Cast
from tests.web.invitee.sheets import filled

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def kept(page: Page) -> Page:
    expect(page.locator("html")).to_have_attribute("data-kept", re.compile(r"\d+"))
    expect(page.locator("html")).to_have_attribute("data-words", "kept")
    return page


def test_a_page_that_is_not_the_sheet_says_what_the_network_is_wanted_for(cast: Cast, come: Come) -> None:
    filled(cast)
    inside = f"/s/{cast.sitting.slug}"
    device = come(cast.subject, **PHONE)
    page = kept(device.open(f"{inside}/about-me"))
    heading = page.locator("h1").inner_text()
    device.context.set_offline(True)
    for path in ("about-me", "finals", "sheet", ""):
        device.open(f"{inside}/{path}")
        expect(page.get_by_role("heading", name="This page needs the network")).to_be_visible()
        expect(page.get_by_text("It opens as soon as the network is back.")).to_be_visible()
    assert page.evaluate("getComputedStyle(document.body).fontFamily") != "Times New Roman"  # in the house's dress
    device.open(f"{inside}/about-me")
    device.context.set_offline(False)
    page.get_by_role("link", name="Try again").tap()
    expect(page.locator("h1")).to_have_text(heading)

    kept(device.open(f"{inside}/plan"))
    page.get_by_text("Say something").last.tap()
    page.get_by_label("Comment").last.fill("Could we do the green jumper first?")
    device.context.set_offline(True)
    page.get_by_role("button", name="Say it").last.tap()
    expect(page.get_by_role("alert")).to_contain_text("There is no network, so this was not sent.")
    expect(page.get_by_label("Comment").last).to_have_value("Could we do the green jumper first?")
    page.evaluate("Object.defineProperty(navigator, 'onLine', { get: () => true })")  # a network that leads nowhere
    page.get_by_role("button", name="Leave, and clear this device").tap()
    expect(page.get_by_role("heading", name="This was not sent")).to_be_visible()
    device.open(f"{inside}/plan")
    expect(page.locator("h1")).to_contain_text("The plan for")  # it was opened, so it is kept
    device.context.set_offline(False)

    type(cast.subject).objects.filter(pk=cast.subject.pk).update(revoked_at=timezone.now())
    device.open(f"{inside}/about-me")
    expect(page.get_by_role("link", name="Send me my link again")).to_be_visible()
    left = page.evaluate(
        "async () => (await (await caches.open('sheet')).keys()).map(({ url }) => new URL(url).pathname)"
    )
    assert [one for one in left if not one.startswith("/static/")] == []
    device.troubles = [one for one in device.troubles if "404" not in one]


def test_desk_and_links_say_so_too_and_keep_nothing_of_anybody(cast: Cast, come: Come) -> None:
    filled(cast)
    device = come(cast.representation, **PHONE)
    page = device.open("/desk")
    heading = page.locator("h1").inner_text()
    expect(page.locator("html")).to_have_attribute("data-words", "kept")
    device.context.set_offline(True)
    for path in ("desk", "i/a-link-of-somebody"):
        device.open(f"/{path}")
        expect(page.get_by_role("heading", name="This page needs the network")).to_be_visible()
        assert page.evaluate("getComputedStyle(document.body).fontFamily") != "Times New Roman"
    device.open("/desk")
    device.context.set_offline(False)
    page.get_by_role("link", name="Try again").tap()
    expect(page.locator("h1")).to_have_text(heading)
    expect(page.locator("html")).to_have_attribute("data-words", "kept")
    kept_words = page.evaluate(
        """async () => {
          const cache = await caches.open("words");
          const rows = (await cache.keys()).map(async (key) => [
            new URL(key.url).pathname, await (await cache.match(key)).text()]);
          return [await caches.keys(), await Promise.all(rows)];
        }"""
    )
    assert kept_words[0] == ["words"]
    own = [text for path, text in kept_words[1] if not path.startswith("/static/")]
    assert len(own) == 2
    person = cast.representation
    for name in (person.name, person.email, cast.sitting.slug, cast.sitting.title, cast.sitting.subject_name, "/s/"):
        assert not any(name in text for text in own), name
    device.context.set_offline(True)
    page.get_by_role("button", name="Leave").tap()
    expect(page.get_by_role("alert")).to_contain_text("There is no network, so this was not sent.")
    page.evaluate("Object.defineProperty(navigator, 'onLine', { get: () => true })")  # a network that leads nowhere
    page.get_by_role("button", name="Leave").tap()
    expect(page.get_by_role("heading", name="This was not sent")).to_be_visible()
    device.context.set_offline(False)
    device.open("/desk")
    page.get_by_role("button", name="Leave").tap()
    expect(page.get_by_role("button", name="Leave")).to_have_count(0)
    left = page.evaluate("caches.keys()")
    assert left == [], left


def test_leaving_without_a_network_stays_on_the_page_and_says_so(cast: Cast, come: Come) -> None:
    """At once, before anything is kept on the device: from the sheet, a page of its own, and an agent's desk."""
    filled(cast)
    for path in (f"s/{cast.sitting.slug}/sheet", f"s/{cast.sitting.slug}/lists", "desk"):
        device = come(cast.representation, **PHONE, service_workers="block")
        page = device.open(f"/{path}")
        if "sheet" in path:
            ready(page)
        page.wait_for_load_state("networkidle")
        device.context.set_offline(True)
        page.get_by_role("button", name="Leave").first.tap()
        expect(page.get_by_role("alert")).to_contain_text("There is no network, so this was not sent. It stays here")
        assert page.url.endswith(path)
        device.context.set_offline(False)
        expect(page.get_by_role("alert")).to_have_count(0)


def test_a_picture_that_never_came_leaves_its_place_with_words_in_it(cast: Cast, come: Come) -> None:
    frames = filled(cast, 2, 8)
    for frame in frames:
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    device = come(cast.representation, **PHONE)
    page = kept(device.open(f"/s/{cast.sitting.slug}/lists"))
    # Asked for when they come near the window, as a browser does with `loading=lazy`; by then the network is gone.
    lost = "[...document.images].filter((one) => one.complete && !one.naturalWidth && one.checkVisibility()).length"
    last = page.locator(".pair").last
    device.context.set_offline(True)
    last.scroll_into_view_if_needed()
    expect(last.locator(".no-picture")).to_have_text("Comes when the network is back.")
    assert page.evaluate(lost) == 0, "the browser's own broken sign is seen"
    box, words = last.locator(".no-picture").bounding_box(), last.locator(".no-picture span").bounding_box()
    assert box is not None
    assert words is not None
    assert abs(box["width"] / box["height"] - 2 / 3) < 0.02, "the place is as large as the picture"
    assert words["y"] > box["y"]
    device.context.set_offline(False)
    expect(last.locator(".no-picture")).to_have_count(0)
    expect(last.locator("img")).to_be_visible()
    assert last.locator("img").evaluate("(one) => one.naturalWidth") > 0
