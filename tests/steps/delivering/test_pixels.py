"""Too few pixels: by arithmetic (pixels / inches), for the crop that would be cut and at best for a picture."""

from __future__ import annotations

from unittest import mock

import pytest

from galleries.imaging.codes import Code
from galleries.imaging.framing.geometry import Rect
from galleries.models import DeliveredFile, Delivery, DeliverySize, Final
from galleries.steps.delivering import cut, package, pixels, sizes
from galleries.told import told

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def listed() -> None:
    sizes.load()


def size(slug: str) -> DeliverySize:
    return DeliverySize.objects.get(slug=slug)


@pytest.mark.parametrize(
    ("picture", "slug", "code", "value"),
    [
        ((800, 1200), "print-8x10", Code.FEW_PPI, 100),  # 800 px on 8 in: 100 ppi
        ((1919, 2400), "print-8x10", Code.FEW_PPI, 239),
        ((1920, 2400), "print-8x10", None, 0),  # 240 ppi is the least asked for
        ((4000, 6000), "print-8x10", None, 0),
        ((6000, 1000), "print-8x10", Code.FEW_PPI, 100),  # only the height counts: 1000 px on 10 in
        ((1000, 1000), "casting-square", Code.TO_ENLARGE, 1.08),  # 1080 px wanted
        ((1080, 1080), "casting-square", None, 0),
        ((10, 10), "full", None, 0),  # the whole frame is what it is
    ],
)
def test_at_best_the_largest_crop_of_the_shape_counts(
    picture: tuple[int, int], slug: str, code: Code | None, value: float
) -> None:
    found = pixels.of_picture(*picture, [size(slug)])
    assert [one.told.code for one in found] == ([code] if code else [])
    for one in found:
        assert one.size.slug == slug
        assert one.told.data["print_ppi" if code == Code.FEW_PPI else "enlarged_times"] == value


def test_the_crop_that_would_be_cut_counts_and_finals_with_enough_are_left_out() -> None:
    small, large = Final(pk=1), Final(pk=2)
    wanted = [size("print-8x10"), size("casting-square"), size("full")]
    widths = {1: 1200, 2: 2400}  # the picture may be large: what the crop leaves of it counts

    def shown(final: Final, several: list[DeliverySize]) -> list[object]:
        return [mock.Mock(size=one, final=final) for one in several]

    def rect_of(crop: mock.Mock) -> Rect:
        width = widths[crop.final.pk]
        return Rect(0, 0, width, width * 5 // 4 if crop.size.slug == "print-8x10" else width)

    with mock.patch.object(cut, "shown", shown), mock.patch.object(cut, "rect_of", rect_of):
        found = pixels.of_finals([small, large], wanted)
    assert list(found) == [small]
    (one,) = found[small]
    assert (one.size.slug, one.told.code, one.told.data["print_ppi"]) == ("print-8x10", Code.FEW_PPI, 150)


def test_the_manifest_says_it_of_the_file() -> None:
    numbers = sizes.numbers(size("print-8x10"))
    delivery = Delivery(sizes={"print-8x10": numbers})
    enlarged = told(
        Code.ENLARGED, enlarged_times=2.5, width_px=960, height_px=1200, out_width_px=2400, out_height_px=3000,
        effective_ppi=120, wanted_ppi=300,
    )  # fmt: skip
    kept = [enlarged.as_dict(), told(Code.CHIN_CUT).as_dict(), "as an older release kept it"]
    file = DeliveredFile(name="a.jpg", sha256="a" * 64, bytes=1, size_slug="print-8x10", warnings=kept)
    caution = package.entry_of(delivery, file).caution
    assert caution.startswith("Enlarged 2.50 times") or caution.startswith("Enlarged 2.5 times")
    assert "120 of 300 ppi" in caution
    assert "chin" not in caution
    file.warnings = []
    assert package.entry_of(delivery, file).caution == ""
