"""A passkey from its making to the door, with Chromium's own virtual device (CDP, domain WebAuthn)."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import expect

from galleries.models import Passkey
from tests.browser.studio_stage import visiting
from tests.browser.test_studio_pages import check
from tests.cast import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
SECRET = "a long enough secret"
DEVICE = {
    **{"protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True},
    **{"isUserVerified": True, "automaticPresenceSimulation": True},
}


def test_a_passkey_is_made_and_opens(come: Any, live_server: Any, cast: Cast, settings: Any) -> None:
    settings.BASE_URL = live_server.url
    cast.owner.set_password(SECRET)
    cast.owner.save()
    with visiting(come, cast, trouble="400") as page:
        session = page.context.new_cdp_session(page)
        session.send("WebAuthn.enable")
        device = session.send("WebAuthn.addVirtualAuthenticator", {"options": DEVICE})["authenticatorId"]
        page.goto(f"{live_server.url}/account/second-factor")
        check(page)
        form = page.locator("form[data-passkey]")
        form.get_by_label("Name").fill("Desk computer")
        form.get_by_label("Present password").fill("guess")
        form.get_by_role("button").click()
        expect(form.get_by_role("alert")).to_contain_text("not your present password")
        form.get_by_label("Present password").fill(SECRET)
        form.get_by_role("button").click()
        expect(page.get_by_role("heading", name="Your recovery codes")).to_be_visible()
        check(page)
        (held,) = session.send("WebAuthn.getCredentials", {"authenticatorId": device})["credentials"]
        assert held["rpId"] == "localhost"
        page.get_by_role("button", name="Leave").click()

        page.goto(f"{live_server.url}/sign-in?next=/account")
        page.get_by_label("Name").fill(cast.owner.username)
        page.get_by_label("Password").fill(SECRET)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/sign-in/second")
        check(page)
        page.get_by_role("button", name="Use a passkey").click()
        page.wait_for_url("**/account")
        assert Passkey.objects.get().sign_count == held["signCount"] + 1

        # A device that is a copy counts from where it was: refused, and a code still opens.
        page.get_by_role("button", name="Leave").click()
        session.send("WebAuthn.clearCredentials", {"authenticatorId": device})
        session.send("WebAuthn.addCredential", {"authenticatorId": device, "credential": held})
        page.goto(f"{live_server.url}/sign-in")
        page.get_by_label("Name").fill(cast.owner.username)
        page.get_by_label("Password").fill(SECRET)
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("button", name="Use a passkey").click()
        expect(page.get_by_role("alert").filter(has_text="copied")).to_be_visible()
