"""The picks at the size of a casting list, on a phone and by keyboard: look, enlarge, mark, come back."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from galleries.models import Mark, Sitting
from galleries.steps.agreeing import agree
from galleries.steps.picking import pick
from galleries.steps.sorting import looks
from tests.browser.conftest import PHONE, Come, sideways
from tests.browser.test_marking import ready
from tests.cast import Cast
from tests.servers import wait_for
from tests.web.invitee.sheets import filled

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_on_a_phone_the_picks_are_met_small_and_one_is_enlarged_and_marked(cast: Cast, come: Come) -> None:
    frames = filled(cast, 2, 4)
    for frame in frames[:2]:
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    page = ready(come(cast.subject, **PHONE).open(f"/s/{cast.sitting.slug}/sheet"))
    page.get_by_role("button", name="Your picks").tap()
    page.get_by_role("dialog", name="Your picks").get_by_role("link", name="As casting sees it").tap()
    ready(page)
    small = page.locator(f'.casting-list [data-frame="{frames[0].pk}"]')
    for width in (60, 120, 160, 90):
        page.get_by_role("radio", name=str(width), exact=True).check()
        box = small.bounding_box()
        assert box is not None
        assert (box["width"], round(box["height"])) == (width, round(width * 1.25)), width
    assert not sideways(page), sideways(page)
    everybody = page.locator(".casting-list li:visible")
    expect(everybody).to_have_count(2 + 6 + 24)
    page.get_by_text("Crop and company").tap()
    page.get_by_role("radio", name="frames of this sitting").check()
    expect(everybody).to_have_count(2 + 6)
    page.get_by_role("radio", name="dark page").check()
    expect(page.locator(".casting-list")).to_have_css("background-color", "rgb(26, 26, 26)")
    small.tap()
    large = page.get_by_role("dialog", name="One frame, large")
    expect(large.locator("#large-no")).to_have_text("0001")
    large.get_by_role("button", name="Alternate").tap()
    expect(large.get_by_role("status").first).to_contain_text("0001 is an alternate.")
    large.get_by_role("button", name="Back").tap()
    expect(small).to_have_accessible_name("frame 0001, look 1, alternate for you")
    page.get_by_role("link", name="Back to the sheet").tap()
    ready(page)
    assert Mark.objects.get(invite=cast.subject, frame=frames[0]).kind == "alternate"


def test_by_keyboard_alone(cast: Cast, come: Come) -> None:
    frames = filled(cast, 1, 3)
    pick.set_mark(cast.as_representation, frames[0].pk, kind="pick")
    page = ready(come(cast.representation).open(f"/s/{cast.sitting.slug}/as-casting"))
    page.get_by_role("radio", name="90", exact=True).focus()
    page.keyboard.press("ArrowRight")
    expect(page.get_by_role("radio", name="120")).to_be_checked()
    box = page.locator(".casting-list .mine").bounding_box()
    assert box is not None
    assert box["width"] == 120
    tile = page.locator(".casting-list .mine a")
    tile.focus()
    page.keyboard.press("Enter")
    large = page.get_by_role("dialog", name="One frame, large")
    expect(large).to_be_visible()
    page.keyboard.press("s")
    expect(large.get_by_role("button", name="Strike")).to_have_attribute("aria-pressed", "true")
    page.keyboard.press("Escape")
    expect(large).to_be_hidden()
    expect(tile).to_be_focused()
    # Taken, before the list is closed while the page stands open.
    struck = Mark.objects.filter(invite=cast.representation, frame=frames[0], kind="strike")
    wait_for(struck.exists, "the strike did not arrive", 20)
    Sitting.objects.update(stage="finishing")
    page.keyboard.press("Enter")
    page.keyboard.press("p")
    expect(large.locator("#notices")).to_contain_text("0001 Pick")
    page.keyboard.press("Escape")
    expect(page.locator("#tray #notices")).to_be_visible()


def test_what_the_studio_does_meanwhile_is_told_here_too(cast: Cast, come: Come) -> None:
    frames = filled(cast, 1, 4)
    for frame in frames[:2]:
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    device = come(cast.subject, **PHONE)
    page = ready(device.open(f"/s/{cast.sitting.slug}/as-casting"))
    page.locator(f'.carries [data-frame="{frames[0].pk}"]').focus()
    looks.set_hidden(cast.sitting, [frames[0].pk], True, cast.as_owner)
    expect(page.locator("#notices")).to_have_text("0001 was taken off the sheet by the studio.")
    expect(page.locator(f'[data-frame="{frames[0].pk}"]:visible')).to_have_count(0)
    expect(page.locator(f'.carries [data-frame="{frames[1].pk}"]')).to_be_focused()
    agree.close(cast.sitting, [frames[1].pk], cast.as_representation)
    expect(page.locator("#notices")).to_contain_text("The list was closed meanwhile.")
    page.locator(f'.casting-list [data-frame="{frames[1].pk}"]').tap()
    page.get_by_role("button", name="Strike 0002").or_(page.locator("#large [data-act=strike]")).first.tap()
    expect(page.locator("#said")).to_have_text("The list is closed, so marks can no longer change.")
    assert Mark.objects.get(frame=frames[1]).kind == "pick"
    device.troubles = [one for one in device.troubles if "404" not in one]  # the picture that was asked for as it went
