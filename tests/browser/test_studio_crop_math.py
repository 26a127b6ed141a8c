"""The crop editor's arithmetic in the browser against the server's geometry: whatever a hand does, the server takes."""

from __future__ import annotations

import random
from typing import Any

import pytest
from django.templatetags.static import static
from django.urls import reverse

from galleries.imaging.framing.geometry import Ratio, Rect, turned_corners, turned_inside
from tests.browser.studio_stage import visiting
from tests.cast import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

RATIOS = [(4, 5), (1, 1), (16, 9), (9, 16), (5, 7), (620, 877), (33, 41)]
ACTS = ("moved", "sized", "resized", "clampTilt")
RUN = """async ([address, walks]) => {
    const math = await import(address);
    return walks.map(({ frame, crop, steps }) => {
        const seen = [];
        let now = crop;
        for (const [act, a, b, grip] of steps) {
            if (act === "moved") now = math.moved(now, a, b, frame);
            else if (act === "sized") now = math.sized(now, now.width + a, frame);
            else if (act === "resized") now = now.tilt ? now : math.resized(now, grip, a, b, frame);
            else now = math.clampTilt(now, a / 40, frame);
            seen.push({ act, ...now, corners: math.corners(now), inside: math.inside(now, frame) });
        }
        return seen;
    });
}"""


def walk(dice: random.Random) -> dict[str, Any]:
    """A frame, a crop in it and a dozen acts of a careless hand."""
    frame = {"width": dice.randint(400, 6000), "height": dice.randint(400, 6000)}
    width, height = dice.choice(RATIOS)
    ratio = Ratio(width, height)
    wide = min(frame["width"], ratio.width_for(frame["height"])) // dice.randint(1, 3)
    crop = {"x": 0, "y": 0, "width": wide, "height": ratio.height_for(wide), "tilt": 0, "ratio": [width, height]}
    if crop["height"] > frame["height"]:
        crop |= {"height": frame["height"], "width": ratio.width_for(frame["height"])}
    steps = [
        [dice.choice(ACTS), dice.randint(-900, 900), dice.randint(-900, 900), dice.choice(["nw", "ne", "sw", "se"])]
        for _step in range(12)
    ]
    return {"frame": frame, "crop": crop, "steps": steps}


def test_no_act_of_a_hand_makes_a_crop_that_the_server_refuses(come: Any, live_server: Any, cast: Cast) -> None:
    dice = random.Random(20260304)
    walks = [walk(dice) for _walk in range(150)]
    with visiting(come, cast) as page:
        page.goto(live_server.url + reverse("studio-sizes"))
        found = page.evaluate(RUN, [static("galleries/js/studio/crop-math.js"), walks])
    for one, states in zip(walks, found, strict=True):
        frame, ratio = one["frame"], Ratio(*one["crop"]["ratio"])
        for state in states:
            rect = Rect(state["x"], state["y"], state["width"], state["height"])
            assert ratio.matches(rect), (one, state)
            assert rect.inside(frame["width"], frame["height"]), (one, state)
            assert turned_inside(rect, state["tilt"], frame["width"], frame["height"], slack=1.0), (one, state)
            assert abs(state["tilt"]) <= 15
            for ours, theirs in zip(state["corners"], turned_corners(rect, state["tilt"]), strict=True):
                assert tuple(ours) == pytest.approx(theirs, abs=1e-6)
