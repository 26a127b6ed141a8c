"""A look in the order of the range: on a phone's sheet by thumb, at the desk by keyboard."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from galleries import storage
from galleries.steps import derived
from tests.browser.conftest import PHONE, Come, sideways
from tests.browser.test_marking import ready
from tests.cast import Cast
from tests.web.invitee.sheets import picture
from tests.web.test_range import three

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_look_is_put_in_order_on_a_phone_and_at_the_desk(cast: Cast, come: Come) -> None:
    one, old, grave = three(cast)
    for frame in (one, old, grave):  # the desk's own picture, as the worker leaves it
        place = derived.view_place(cast.sitting, frame.sha256, derived.DESK_SIDE)
        storage.put(place.store, place.key, picture(240, 360))
    page = ready(come(cast.subject, **PHONE).open(f"/s/{cast.sitting.slug}/sheet"))
    page.get_by_role("button", name="Show …").tap()
    page.get_by_label("Order of each look:").select_option("serious to smiling")
    page.wait_for_url("**order=smile")
    ready(page)
    wanted = [f"f{frame.pk}" for frame in (grave, one, old)]
    expect(page.locator(".film .frame")).to_have_count(3)
    assert page.locator(".film .frame").evaluate_all("all => all.map((one) => one.id)") == wanted
    assert not sideways(page), sideways(page)
    desk = come(cast.owner).open(reverse("studio-desk", args=[cast.sitting.slug]))
    cells = desk.locator("#looks .frame")
    expect(cells).to_have_count(3)
    desk.get_by_label("Order of each look:").focus()
    desk.keyboard.press("ArrowDown")
    expect(desk.locator("#said")).to_contain_text("it may err")
    ids = [str(frame.pk) for frame in (grave, one, old)]
    expect(cells.first).to_have_attribute("data-id", ids[0])
    assert cells.evaluate_all("all => all.map((one) => one.dataset.id)") == ids
