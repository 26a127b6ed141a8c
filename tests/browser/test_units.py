"""Unit tests of the scripts' pure modules, in the real browser: one window for all, one test for each file of `units`.

A file of `units` exports its cases by name; a case fails by throwing, and the test names it. No server and no database:
the page's address is answered from the working tree.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route

pytestmark = pytest.mark.browser

UNITS = Path(__file__).parent / "units"
STATIC = Path(__file__).parents[2] / "galleries" / "static"
HELPERS = {"checks.js"}
HOUSE = "https://units.test"  # reserved for tests (RFC 6761); answered below, never asked for
RUN = """async (address) => {
    const { default: cases } = await import(address);
    const late = () => new Promise((_, fail) => setTimeout(fail, 20000, new Error("it never ended")));
    const failed = [];
    for (const [name, act] of Object.entries(cases)) {
        try {
            await Promise.race([act(), late()]);
        } catch (error) {
            failed.push(`${name}: ${error.message}`);
        }
    }
    return { names: Object.keys(cases), failed };
}"""


def answer(route: Route) -> None:
    path = route.request.url.removeprefix(HOUSE).partition("?")[0]
    if path == "/":
        return route.fulfill(content_type="text/html", body="<!DOCTYPE html><html lang='en'><title>Units</title>")
    root = STATIC if path.startswith("/static/") else UNITS
    file = root / path.removeprefix("/static/").removeprefix("/units/")
    if not file.is_file():
        return route.fulfill(status=404, body=f"There is no {file}.")
    return route.fulfill(path=file, content_type="text/javascript")


@pytest.fixture(scope="module")
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 800, "height": 600})
    context.route("**/*", answer)
    yield context.new_page()
    context.close()


@pytest.mark.parametrize("unit", sorted(path.name for path in UNITS.glob("*.js") if path.name not in HELPERS))
def test_every_case_holds(page: Page, unit: str) -> None:
    page.goto(f"{HOUSE}/")  # anew: nothing that another file replaced stays replaced
    ran = page.evaluate(RUN, f"/units/{unit}")
    assert ran["names"], f"{unit} has no case"
    assert not ran["failed"], f"{unit}: {len(ran['failed'])} of {len(ran['names'])} cases\n" + "\n".join(ran["failed"])
