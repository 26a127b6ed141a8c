"""Prints in the lab's own profile. Outside profiles: Debian's colord-data (SwappedRedAndGreen tells whether a profile
is honoured at all; its pixels have red and green exchanged)."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from galleries import storage
from galleries.errors import BadInput, Refused
from galleries.imaging.colour import convert, profiles
from galleries.imaging.output import softproof
from galleries.models import DeliverySize
from galleries.steps import jobs
from galleries.steps.delivering import cut, lab_profile, licences, orders, sizes
from galleries.steps.finishing import approvals
from galleries.steps.keeping import inventory
from tests import outside, painted, retouches
from tests.cast import Cast, make_cast
from tests.telling import sentence_of


def narrow_profile(name: str = "Dull paper") -> bytes:
    """An RGB profile whose primaries lie half-way between sRGB's and white: strong colours are out of its reach."""
    white = (0.3127, 0.3290)
    primaries = tuple(
        tuple((c + w) / 2 for c, w in zip(corner, white, strict=True))
        for corner in ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
    )
    colorants, curve = profiles._colorants(primaries, white), profiles._curve(0)
    return profiles._assemble(
        b"RGB ",
        [
            (b"desc", profiles._description(name)),
            (b"cprt", profiles._text("none")),
            (b"wtpt", profiles._s15(profiles._xyz(white))),
            *((tag, profiles._s15(colorants[:, i])) for i, tag in enumerate((b"rXYZ", b"gXYZ", b"bXYZ"))),
            *((tag, curve) for tag in (b"rTRC", b"gTRC", b"bTRC")),
        ],
    )


@pytest.fixture
def cast(db: None) -> Cast:
    made = make_cast()
    sizes.load()
    DeliverySize.objects.filter(slug="print-4x6").update(width=400, height=600, ppi=100, safe=8, min_ppi=0)
    for final in painted.finals_of(made, 1):
        approvals.deliver_as_it_is(final, made.as_owner)
    return made


def _deliver(cast: Cast) -> dict[str, bytes]:
    licence = licences.current(cast.sitting) or licences.compose(
        cast.sitting, licences.draft(cast.sitting), cast.as_owner
    )
    wanted = [DeliverySize.objects.get(slug=slug) for slug in ("print-4x6", "web-square")]
    asked = orders.prepare(cast.sitting, wanted, licence, cast.as_owner)
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    return {file.size_slug: storage.get(storage.private(), file.key) for file in asked.files.all()}


def test_prints_are_made_in_the_labs_profile_and_nothing_else_is(cast: Cast) -> None:
    before = _deliver(cast)
    icc = outside.profile("colord/SwappedRedAndGreen.icc")
    assert lab_profile.give(cast.sitting, cast.as_owner, icc) == cast.sitting.print_profile_name
    after = _deliver(cast)
    assert after["web-square"] == before["web-square"]
    with Image.open(io.BytesIO(after["print-4x6"])) as picture:
        assert picture.info["icc_profile"] == icc
    plain, swapped = (retouches.opened(files["print-4x6"]).astype(int) for files in (before, after))
    assert np.abs(plain[..., [1, 0, 2]] - swapped).mean() < 2  # code values exchanged, the colours stay
    assert np.abs(plain - swapped).mean() > 5
    assert inventory.compare(cast.sitting).good
    lab_profile.take_back(cast.sitting, cast.as_owner)
    assert _deliver(cast)["print-4x6"] == before["print-4x6"]
    assert inventory.compare(cast.sitting).good


def test_a_view_on_paper_and_a_warning(cast: Cast) -> None:
    (crop,) = cut.propose(cast.sitting.finals.get(), [DeliverySize.objects.get(slug="print-4x6")])
    with pytest.raises(BadInput, match="No lab profile"):
        lab_profile.view(crop)
    lab_profile.give(cast.sitting, cast.as_owner, narrow_profile())
    crop.final.sitting.refresh_from_db()
    picture, _warning = lab_profile.view(crop)
    assert retouches.opened(picture).shape == retouches.opened(cut.preview(crop)).shape
    with pytest.raises(Refused):
        lab_profile.give(cast.sitting, cast.as_subject, narrow_profile())


def test_strong_colours_are_out_of_reach_and_quiet_ones_are_not() -> None:
    strong = np.zeros((10, 10, 3), np.uint8)
    strong[:, :2] = (230, 20, 30)
    strong[:, 2:] = (140, 128, 120)
    seen = softproof.on_paper(strong, narrow_profile())
    assert seen.outside == pytest.approx(0.2, abs=0.001)
    assert sentence_of(seen.warning) == "20 % of the picture has colours that this paper cannot show."
    red = seen.rgb[0, 0].astype(int)
    assert red[0] - red[1] < 150  # the red comes out dull
    assert np.abs(seen.rgb[:, 2:].astype(int) - strong[:, 2:]).max() <= 2
    same = softproof.on_paper(strong, convert.srgb_profile())
    assert same.outside == 0
    assert same.warning is None
    assert np.abs(same.rgb.astype(int) - strong).max() <= 1


@pytest.mark.parametrize(
    ("icc", "says"),
    [
        (b"", "no colour profile"),
        (b"\xff\xd8" * 200, "no colour profile"),
        (profiles.build("Gray"), "GRAY files"),
        (narrow_profile()[:200], "damaged|lacks"),
    ],
)
def test_what_is_no_rgb_profile_is_refused(cast: Cast, icc: bytes, says: str) -> None:
    with pytest.raises(BadInput, match=says):
        lab_profile.give(cast.sitting, cast.as_owner, icc)
    cast.sitting.refresh_from_db()
    assert cast.sitting.print_profile_key == ""
