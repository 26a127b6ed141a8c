"""Debian's Chromium, driven headless; one browser for the whole run, one context per person and device."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from galleries.models import Invite
from tests.cast import SESSION, Cast, make_cast

expect.set_options(timeout=20_000)  # a busy machine is no failure
CHROMIUM = os.environ.get("TESTS_CHROMIUM", "/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--js-flags=--expose-gc",
]
# Chromium draws the list under a window's address bar as two web pages, in a process of their own for each window: 0.6
# of the 0.8 s of CPU that opening an empty window took. Nobody types an address here. Of several lists of features the
# last holds alone, so Playwright's own stands here again.
PLAYWRIGHTS = (
    "AvoidUnnecessaryBeforeUnloadCheckSync,DestroyProfileOnBrowserClose,HttpsUpgrades,HttpsFirstBalancedModeAutoEnable,"
    "LensOverlay,MediaRouter,PaintHolding,ThirdPartyStoragePartitioning,AvoidCorsURLLoaderRestartOnRedirect,"
    "TcpPortRandomizationWin,OptimizationHints,NetworkTimeServiceQuerying,AimEnabled,PreconnectToSearch,"
    "msForceBrowserSignIn,msEdgeUpdateLaunchServicesPreferredVersion"
)
ADDRESS_BAR = "WebUIOmniboxPopup,WebUIOmniboxAimPopup"
LEAN = [*ARGUMENTS, f"--disable-features={PLAYWRIGHTS},{ADDRESS_BAR}"]
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}
DESK = {"viewport": {"width": 1280, "height": 900}}


def sideways(page: Page) -> list[str]:
    """What sticks out of the window so that the page scrolls sideways; [] when it fits.

    Not innerWidth: on a phone that grows with what sticks out (CSSOM View: it is the layout viewport's, zoomed out).
    """
    return page.evaluate(  # type: ignore[no-any-return]
        """() => {
          const root = document.documentElement, width = root.clientWidth;
          if (root.scrollWidth <= width) return [];
          const out = (one) => one.getBoundingClientRect().right > width;
          const wide = [...document.body.querySelectorAll("*")].filter(out);
          return [`${root.scrollWidth} px in ${width}`, ...wide.slice(-3).map((one) => one.outerHTML.slice(0, 110))];
        }"""
    )


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    assert Path(CHROMIUM).exists(), f"There is no Chromium at {CHROMIUM}: deploy/packages test, or TESTS_CHROMIUM."
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=LEAN)
        yield started
        started.close()


@pytest.fixture
def cast(transactional_db: None) -> Cast:
    return make_cast()


class Device:
    """A person's browser window. What goes wrong in its console fails the test."""

    def __init__(self, context: BrowserContext, address: str) -> None:
        self.context, self.address = context, address
        self.troubles: list[str] = []
        self.page = self.tab()

    def tab(self) -> Page:
        page = self.context.new_page()
        page.on("pageerror", lambda error: self.troubles.append(str(error)))
        page.on("console", lambda message: self._heard(message.type, message.text))
        page.set_default_timeout(30_000)  # against hanging; the machine may be busy
        return page

    def _heard(self, kind: str, text: str) -> None:
        # A lost network is part of some tests; everything else that is an error is ours.
        if kind == "error" and "ERR_INTERNET_DISCONNECTED" not in text and "ERR_FAILED" not in text:
            self.troubles.append(text)

    def open(self, path: str) -> Page:
        self.page.goto(self.address + path)
        return self.page


Come = Callable[..., Device]


@pytest.fixture
def come(browser: Browser, live_server: Any, cast: Cast) -> Iterator[Come]:
    """come(invite, **context): a device on which this person has already followed their link."""
    devices: list[Device] = []

    def make(person: Invite | None, **options: Any) -> Device:
        context = browser.new_context(**{"locale": "en-GB", **DESK, **options})
        if person is not None:
            cookie = cast.client_of(person).cookies[SESSION].value
            context.add_cookies([{"name": SESSION, "value": cookie, "url": live_server.url}])
        devices.append(Device(context, live_server.url))
        return devices[-1]

    yield make
    troubles = [trouble for device in devices for trouble in device.troubles]
    for device in devices:
        device.context.close()
    assert not troubles, troubles
