"""A signed final in the real browser: the same pixels as the unsigned one, in every kind that browsers show."""

from __future__ import annotations

import base64

import pytest
from playwright.sync_api import Browser

from tests.imaging.credentials.test_credentials import signed, unsigned

pytestmark = pytest.mark.browser

DRAWN = """async (addresses) => {
    const digests = [];
    for (const address of addresses) {
        const picture = new Image();
        picture.src = address;
        await picture.decode();
        const canvas = new OffscreenCanvas(picture.naturalWidth, picture.naturalHeight);
        const pen = canvas.getContext("2d");
        pen.drawImage(picture, 0, 0);
        const { data } = pen.getImageData(0, 0, canvas.width, canvas.height);
        let sum = 0;
        for (let at = 0; at < data.length; at += 1) sum = (sum * 31 + data[at]) % 4294967291;
        digests.push([canvas.width, canvas.height, sum]);
    }
    return digests;
}"""


def test_the_browser_draws_the_same_picture(browser: Browser) -> None:
    kinds = {"JPEG": "jpeg", "progressive JPEG": "jpeg", "PNG": "png"}
    page = browser.new_page()
    page.set_content("<title>Signed</title>")
    for kind, name in kinds.items():
        addresses = [f"data:image/{name};base64,{base64.b64encode(make(kind)).decode()}" for make in (unsigned, signed)]
        before, after = page.evaluate(DRAWN, addresses)
        assert before[:2] == [480, 600]
        assert before[2] > 0
        assert before == after, kind
    page.close()
