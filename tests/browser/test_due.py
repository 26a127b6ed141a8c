"""From the overview to what is due and a reminder, on a phone and by keyboard, in three languages."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from galleries.models import Letter, Sitting
from tests.browser.conftest import PHONE
from tests.browser.test_extras import fits
from tests.cast import LANGUAGE, Cast, make_cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_what_is_due_and_a_reminder(come: Any, live_server: Any, cast: Cast) -> None:
    beside, soon = make_cast("beside"), timezone.now().date() + timedelta(days=2)
    Sitting.objects.filter(pk=cast.sitting.pk).update(deadline=date(2026, 1, 2))
    Sitting.objects.filter(pk=beside.sitting.pk).update(
        photographer=cast.owner, deadline=soon, keep_until=soon, title="Jules Marrowby, new headshots for the autumn"
    )
    page = come(cast.owner, **PHONE).page
    page.goto(live_server.url + reverse("studio"))
    page.get_by_role("link", name="What is due").press("Enter")
    expect(page.get_by_role("heading", name="Past")).to_be_visible()
    fits(page, "due-en")
    page.get_by_role("button", name="Remind: Ansa Veld and Ruben Achterberg, Ansa Veld, spring").press("Enter")
    expect(page.locator(".messages")).to_contain_text("Ansa Veld and Ruben Achterberg")
    assert Letter.objects.filter(kind="reminder", sitting=cast.sitting).count() == 2
    for language in ("de", "es"):
        page.context.add_cookies([{"name": LANGUAGE, "value": language, "url": live_server.url}])
        page.goto(live_server.url + reverse("studio-due"))
        fits(page, f"due-{language}")
    page.set_viewport_size({"width": 1280, "height": 800})
    fits(page, "due-wide")
    page.locator(".due").last.get_by_role("link").first.press("Enter")
    expect(page).to_have_url(live_server.url + reverse("studio-lists", args=[beside.sitting.slug]))
