"""Crops: proposed, corrected by hand, taken over, shown before export."""

from __future__ import annotations

import io

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from galleries.errors import BadInput, Refused
from galleries.imaging.framing.geometry import Rect
from galleries.models import Crop, DeliverySize, Final, Frame, JournalLine, Look
from galleries.steps.delivering import cut, sizes
from tests import painted, retouches
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast()


@pytest.fixture
def final(cast: Cast) -> Final:
    """A final of a frame with a face at a known place, without bytes: 4000 × 6000."""
    sizes.load()
    reading = {"width": 4000, "height": 6000, "read_scale": 0.5, "face_reason": "One face.", "face": FACE}
    frame = cast.frame(1, look=cast.look(), reading=reading)
    cast.sitting.stage = "finishing"
    cast.sitting.save()
    return Final.objects.create(
        sitting=cast.sitting, frame=frame, round=cast.sitting.rounds.get(), state=Final.State.AS_IT_IS
    )


FACE = {
    "box": [1500, 1700, 1000, 1300],
    "right_eye": [1780, 2200],
    "left_eye": [2220, 2200],
    "right_openness": 0.3,
    "left_openness": 0.3,
    "iris_radius_right": 40,
    "iris_radius_left": 40,
    "roll_deg": 0.0,
    "crown_y": 1400,
    "crown_uncertainty": 60,
    "crown_measured": True,
    "chin": [2000, 3000],
    "forehead": [2000, 1750],
    "mouth": [2000, 2700],
    "yaw_hint": 0.0,
    "score": 0.9,
}


def size(slug: str) -> DeliverySize:
    return DeliverySize.objects.get(slug=slug)


def test_every_size_gets_a_crop_of_its_exact_shape_inside_the_frame(final: Final) -> None:
    every = list(DeliverySize.objects.all())
    for crop, wanted in zip(cut.propose(final, every), every, strict=True):
        rect, ratio = cut.rect_of(crop), cut.ratio_of(wanted)
        assert rect.inside(4000, 6000)
        assert ratio.matches(rect) if ratio else rect == Rect(0, 0, 4000, 6000)
        assert crop.reasons
        assert not crop.by_hand
    before = JournalLine.objects.count()
    cut.propose(final, every)
    assert JournalLine.objects.count() == before  # looking again writes nothing
    assert Crop.objects.count() == len(every)


def test_a_correction_is_kept_and_taken_over_by_the_same_shape(cast: Cast, final: Final) -> None:
    wanted = [size("print-8x10"), size("casting-4x5"), size("print-5x7"), size("full")]
    ten, casting, five, _full = cut.propose(final, wanted)
    cut.adjust(ten, cast.as_owner, 600, 900, 2400, 3000, 2.0)
    changed = cut.adopt(ten, cast.as_owner, wanted)
    assert [crop.size.slug for crop in changed] == ["casting-4x5"]
    casting.refresh_from_db()
    assert (casting.x, casting.width, casting.tilt, casting.by_hand) == (600, 2400, 2.0, True)
    again = cut.propose(final, wanted)
    assert cut.rect_of(again[0]) == Rect(600, 900, 2400, 3000)
    assert cut.rect_of(again[2]) == cut.rect_of(five)
    back = cut.back_to_proposal(ten, cast.as_owner)
    assert not back.by_hand
    assert back.reasons


def test_a_correction_is_taken_over_by_the_same_paper_with_bleed(cast: Cast, final: Final) -> None:
    wanted = [size("print-8x10"), size("print-8x10-bleed"), size("print-8x10-name"), size("print-5x7-bleed")]
    ten, bleeding, named, five = cut.propose(final, wanted)
    cut.adjust(ten, cast.as_owner, 600, 900, 2400, 3000)
    assert {crop.size.slug for crop in cut.adopt(ten, cast.as_owner, wanted)} == {"print-8x10-bleed", "print-8x10-name"}
    for crop in (bleeding, named, five):
        crop.refresh_from_db()
    assert cut.rect_of(bleeding) == Rect(562, 862, 2475, 3075)  # 37.5 px of bleed a side at one pixel for one
    assert cut.rect_of(named) == cut.rect_of(ten)
    assert not five.by_hand
    cut.adjust(bleeding, cast.as_owner, 500, 800, 1650, 2050)
    assert ten in cut.adopt(bleeding, cast.as_owner, wanted)
    ten.refresh_from_db()
    assert cut.rect_of(ten) == Rect(525, 825, 1600, 2000)


@pytest.mark.parametrize(
    ("rect", "tilt", "says"),
    [
        ((0, 0, 2400, 2999), 0, "the height is 3000"),
        ((0, 0, 0, 0), 0, "no area"),
        ((1700, 0, 2400, 3000), 0, "leaves the picture"),
        ((-1, 0, 2400, 3000), 0, "leaves the picture"),
        ((800, 1500, 2400, 3000), 16, "the most"),
        ((0, 0, 2400, 3000), 3, "corner leaves"),
    ],
)
def test_what_cannot_be_cut_is_refused_with_a_sentence(
    cast: Cast, final: Final, rect: tuple, tilt: float, says: str
) -> None:
    (crop,) = cut.propose(final, [size("print-8x10")])
    before = cut.rect_of(crop)
    with pytest.raises(BadInput, match=says):
        cut.adjust(crop, cast.as_owner, *rect, tilt)
    crop.refresh_from_db()
    assert cut.rect_of(crop) == before
    (full,) = cut.propose(final, [size("full")])
    with pytest.raises(BadInput, match="whole frame"):
        cut.adjust(full, cast.as_owner, 0, 0, 100, 100)
    with pytest.raises(Refused):
        cut.adjust(crop, cast.as_subject, 0, 0, 2400, 3000)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    x=st.integers(-50, 4000), y=st.integers(-50, 6000), steps=st.integers(0, 1100), tilt=st.floats(-20, 20),
    odd=st.integers(-2, 2),
)  # fmt: skip
def test_a_crop_is_accepted_exactly_when_it_can_be_cut(
    cast: Cast, final: Final, x: int, y: int, steps: int, tilt: float, odd: int
) -> None:
    """The export's own check is the judge."""
    from galleries.imaging.errors import BadCrop
    from galleries.imaging.framing.cut_order import CutOrder, check_order

    (crop,) = cut.propose(final, [size("print-8x10")])
    width, height = 4 * steps, 5 * steps + odd
    try:
        cut.adjust(crop, cast.as_owner, x, y, width, height, tilt)
    except BadInput:
        if odd == 0 and abs(tilt) <= cut.MOST_TILT and steps:
            with pytest.raises(BadCrop):
                check_order(CutOrder(sizes.spec(crop.size), Rect(x, y, width, height), tilt), 4000, 6000)
    else:
        check_order(CutOrder(sizes.spec(crop.size), cut.rect_of(crop), crop.tilt), 4000, 6000)


def test_warnings_speak_of_what_is_lost(cast: Cast, final: Final) -> None:
    (crop,) = cut.propose(final, [size("print-8x10")])
    cut.adjust(crop, cast.as_owner, 1600, 1900, 800, 1000)
    said = " ".join(cut.warnings(crop))
    for word in ("chin is cut", "crown is cut", "100 ppi", "enlarged 3.00 times"):
        assert word in said, said
    (strip,) = cut.propose(final, [size("print-8x10-name")])
    cut.adjust(strip, cast.as_owner, 800, 700, 1920, 2400)
    assert "The name strip covers the chin." in cut.warnings(strip)
    cut.adjust(strip, cast.as_owner, 800, 900, 2400, 3000)
    assert "The name strip covers the chin." not in cut.warnings(strip)


def test_a_name_that_no_font_has_is_told_before_export(cast: Cast, final: Final) -> None:
    (strip,) = cut.propose(final, [size("print-8x10-name")])
    cast.sitting.name_for_strip = "𓀀𓀁"
    cast.sitting.save()
    strip.final.sitting.refresh_from_db()
    assert any("No font" in line for line in cut.warnings(strip))


def test_a_picture_of_another_size_makes_the_crop_stale_and_carries_it_over(cast: Cast, final: Final) -> None:
    by_hand, programs = cut.propose(final, [size("print-8x10"), size("print-5x7")])
    cut.adjust(by_hand, cast.as_owner, 800, 1000, 2400, 3000)
    smaller = {**final.frame.reading, "width": 2000, "height": 3000, "face": None}
    Frame.objects.filter(pk=final.frame_id).update(width=2000, height=3000, sha256="f" * 64, reading=smaller)
    final = Final.objects.get(pk=final.pk)
    by_hand = Crop.objects.get(pk=by_hand.pk)
    assert cut.is_stale(by_hand)
    assert any("another size" in line for line in cut.warnings(by_hand))
    carried, fresh = cut.propose(final, [size("print-8x10"), size("print-5x7")])
    assert cut.rect_of(carried) == Rect(400, 500, 1200, 1500)
    assert carried.by_hand
    assert "Carried over" in carried.why[0]
    assert "No face" in fresh.why[0]
    assert fresh.pk == programs.pk


def test_previews_show_the_shape_small(cast: Cast) -> None:
    sizes.load()
    final, second = painted.finals_of(cast)
    wanted = [size("web-square"), size("print-8x10-name"), size("full")]
    for crop, shape in zip(cut.propose(final, wanted), (1.0, 0.8, None), strict=True):
        picture = Image.open(io.BytesIO(cut.preview(crop)))
        assert max(picture.size) <= 600
        rect = cut.rect_of(crop)
        assert picture.width / picture.height == pytest.approx(shape or rect.width / rect.height, abs=0.01)
    sheet = Image.open(io.BytesIO(cut.preview_sheet(cast.sitting, wanted, cast.as_owner)))
    assert sheet.width > 3 * 280
    assert sheet.height > 2 * 280
    with pytest.raises(Refused):
        cut.preview_sheet(cast.sitting, wanted, cast.as_subject)
    with pytest.raises(BadInput):
        cut.preview_sheet(cast.sitting, [], cast.as_owner)
    assert not second.crops.exists()  # a sheet is looked at, nothing is kept


def test_black_and_white_looks_are_shown_neutral(cast: Cast) -> None:
    sizes.load()
    final = painted.finals_of(cast)[0]
    Look.objects.filter(pk=final.frame.look_id).update(treatment=Look.Treatment.MONOCHROME)
    (crop,) = cut.propose(Final.objects.get(pk=final.pk), [size("web-square")])
    rgb = retouches.opened(cut.preview(crop)).astype(int)
    assert abs(rgb[..., 0] - rgb[..., 2]).max() <= 2
