"""What the studio does while a page of somebody invited stands open: a press is answered, and nothing typed is lost."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from galleries import storage
from galleries.models import Acceptance, Delivery, Sitting, Version
from galleries.steps.delivering import offer
from galleries.steps.finishing import approvals
from tests.browser.conftest import DESK, PHONE, Come, Device, sideways
from tests.browser.test_everyone import everything
from tests.browser.test_marking import ready
from tests.cast import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WIDTHS = pytest.mark.parametrize("options", [PHONE, DESK], ids=["390", "1280"])


def refused(device: Device, status: int) -> None:
    """What the server refused is in the browser's console, and is meant to be."""
    device.troubles = [one for one in device.troubles if f"status of {status}" not in one]


@WIDTHS
def test_of_a_delivery_that_is_withdrawn_the_open_page_says_so(
    cast: Cast, come: Come, options: dict[str, object]
) -> None:
    everything(cast)
    Sitting.objects.update(stage="finishing")
    made = Delivery.objects.get()
    storage.put(storage.private(), "z", b"archive of the test" * 50)
    Acceptance.objects.create(licence=made.licence, invite=cast.subject, name="Ansa Veld")
    device = come(cast.subject, **options)
    page = ready(device.open(f"/s/{cast.sitting.slug}/delivery?may=other#may-i"))
    page.get_by_label("Where, how long, for whom?").fill("On a tram, in May")
    offer.withdraw(made, cast.as_owner)
    for name in ("Fetch everything", "Fetch veld-ansa"):
        link = page.get_by_role("link", name=name)
        link.click()
        told = link.locator("xpath=..").get_by_role("alert")  # beside what was pressed
        expect(told).to_contain_text("The studio has withdrawn this delivery. Ask the studio.")
        expect(page.get_by_role("alert")).to_have_count(1)
    assert not sideways(page), sideways(page)
    assert not made.receipts.exists(), "asking is no fetching"
    expect(page.get_by_label("Where, how long, for whom?")).to_have_value("On a tram, in May")
    told.get_by_role("link", name="Show this page as it is now").click()
    expect(page.get_by_text("The studio has withdrawn this delivery. Ask the studio.")).to_have_count(1)
    expect(page.get_by_role("link", name="Fetch")).to_have_count(0)
    offer.offer_again(Delivery.objects.get(), cast.as_owner)
    page.reload()
    ready(page)
    with page.expect_download() as fetched:
        page.get_by_role("link", name="Fetch everything").click()
    assert fetched.value.suggested_filename == "a.zip"
    expect(page.get_by_role("alert")).to_have_count(0)
    refused(device, 403)


@WIDTHS
def test_of_a_final_that_goes_out_as_it_is_the_open_page_says_so(
    cast: Cast, come: Come, options: dict[str, object]
) -> None:
    final = everything(cast)
    Sitting.objects.update(stage="finishing")
    device = come(cast.subject, **options)
    page = ready(device.open(f"/s/{cast.sitting.slug}/final/{final.pk}"))
    page.get_by_text("Send back").first.click()
    page.get_by_label("What should be different in").fill("Less shine on the nose, please")
    approvals.deliver_as_it_is(final, cast.as_owner)
    page.get_by_role("button", name="Send it back with this note").click()
    told = page.get_by_role("alert")
    expect(told).to_have_text("The photographer delivers this final without retouch; there is nothing to send back.")
    expect(told).to_be_in_viewport()
    assert told.evaluate("(one) => !one.closest('form')"), "it stands in no other form than the one that was sent"
    expect(page.locator("blockquote")).to_have_text("Less shine on the nose, please")
    expect(page.locator(".send-back")).to_have_count(0)
    expect(page.get_by_role("button", name="Approve")).to_have_count(0)
    assert not sideways(page), sideways(page)
    final.refresh_from_db()
    assert final.state == "as_it_is"
    assert Version.objects.count() == 1
    refused(device, 409)
