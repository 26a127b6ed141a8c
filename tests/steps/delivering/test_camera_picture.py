"""A raw final is cut from the camera's own picture only by the photographer's explicit word, and that is written beside
the file. Digital source type: IPTC's vocabulary (`digitalCapture`); ppi: pixels of the crop by inches of the trim."""

from __future__ import annotations

import io
import zipfile

import pytest
from django.urls import reverse

from galleries import storage
from galleries.errors import Conflict, Refused
from galleries.imaging import rights
from galleries.models import Delivery, DeliverySize, Final, Frame, JournalLine, Letter
from galleries.steps import jobs
from galleries.steps.delivering import licences, orders, sizes
from galleries.steps.finishing import approvals, batch
from tests import painted
from tests.cast import Cast, make_cast
from tests.imaging.negatives import with_preview

pytestmark = pytest.mark.django_db
S = Final.State


@pytest.fixture
def cast() -> Cast:
    return make_cast(stage="finishing")


def final_of(cast: Cast, number: int = 1, shown: str = "embedded") -> Final:
    raw = {"shown": shown, "sensor_width": 6000, "sensor_height": 4000, "name": f"KAL_{number:04d}.DNG"}
    return cast.final(number, S.AGREED, **raw)


def test_without_the_word_nothing_changes_and_by_the_word_it_can_be_undone(cast: Cast) -> None:
    final = final_of(cast)
    with pytest.raises(Refused):
        approvals.deliver_as_it_is(final, cast.as_subject, from_camera_picture=True)
    with pytest.raises(Conflict, match="camera's picture"):
        approvals.deliver_as_it_is(final, cast.as_owner)
    with pytest.raises(Conflict, match="0001"):
        batch.deliver_as_it_is(cast.sitting, [final.pk], cast.as_owner)
    assert Final.objects.values_list("state", "from_camera_picture").get() == (S.AGREED, False)
    approvals.deliver_as_it_is(final, cast.as_owner, from_camera_picture=True)
    assert (final.state, final.from_camera_picture) == (S.AS_IT_IS, True)
    line = JournalLine.objects.get(verb="from the camera's picture")
    assert (line.detail["file"], line.detail["pixels"]) == ("KAL_0001.DNG", [4000, 6000])
    approvals.take_back(final, cast.as_owner)
    assert (final.state, final.from_camera_picture) == (S.AGREED, False)
    assert not Letter.objects.exists()  # nobody invited is asked or told


def test_what_was_developed_here_is_no_picture_of_the_cameras(cast: Cast) -> None:
    final = final_of(cast, shown="sensor")
    with pytest.raises(Refused, match="no picture of the camera's"):
        approvals.deliver_as_it_is(final, cast.as_owner, from_camera_picture=True)


def test_the_word_means_nothing_for_a_frame_that_is_no_raw_file(cast: Cast) -> None:
    final = cast.final(2, S.AGREED)
    approvals.deliver_as_it_is(final, cast.as_owner, from_camera_picture=True)
    assert not final.from_camera_picture
    assert JournalLine.objects.filter(verb="delivered as it is").exists()


def test_the_page_asks_first_and_says_what_is_written(cast: Cast) -> None:
    final, client = final_of(cast), cast.client_of(cast.owner)
    address = reverse("studio-as-it-is", args=[cast.sitting.slug, final.pk])
    assert address in client.get(reverse("studio-final", args=[cast.sitting.slug, final.pk])).content.decode()
    asked = client.get(address).content.decode()
    assert "KAL_0001.DNG" in asked
    assert "Nobody invited is asked" in asked
    assert client.post(address).status_code == 409
    assert client.post(address, {"from_camera_picture": "1"}).status_code == 302
    assert Final.objects.get(pk=final.pk).from_camera_picture
    page = client.get(reverse("studio-final", args=[cast.sitting.slug, final.pk])).content.decode()
    assert "cut from the camera's picture" in page.replace("&#x27;", "'")
    assert client.post(address, {"do": "back"}).status_code == 302
    assert not Final.objects.get(pk=final.pk).from_camera_picture
    other = final_of(cast, 2, shown="sensor")
    page = client.get(reverse("studio-final", args=[cast.sitting.slug, other.pk])).content.decode()
    assert reverse("studio-as-it-is", args=[cast.sitting.slug, other.pk]) not in page


def test_the_files_say_it_with_source_type_and_resolution(cast: Cast) -> None:
    sizes.load()
    frame = painted.add_file(cast.sitting, "KAL_0502.DNG", with_preview(), cast.as_owner).frame
    assert frame is not None
    Frame.objects.filter(pk=frame.pk).update(look=cast.look())
    final = Final.objects.create(sitting=cast.sitting, frame=frame, round=cast.sitting.rounds.get(), state=S.AGREED)
    small = {"width": 480, "height": 600, "ppi": 60, "bleed": 7.5, "border": 0, "safe": 8, "min_ppi": 0}
    DeliverySize.objects.filter(slug="print-8x10").update(**small)
    wanted = list(DeliverySize.objects.filter(slug__in=["print-8x10", "web-square"]).order_by("slug"))
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    Final.objects.filter(pk=final.pk).update(state=S.AS_IT_IS)  # as a release before this one may have left it
    with pytest.raises(Refused, match="raw file"):
        orders.prepare(cast.sitting, wanted, licence, cast.as_owner)
    Final.objects.filter(pk=final.pk).update(state=S.AGREED)
    final.refresh_from_db()
    approvals.deliver_as_it_is(final, cast.as_owner, from_camera_picture=True)
    delivery = orders.prepare(cast.sitting, wanted, licence, cast.as_owner)
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    delivery = Delivery.objects.get(pk=delivery.pk)
    printed, web = delivery.files.order_by("size_slug")
    size = DeliverySize.objects.get(slug="print-8x10")
    crop = final.crops.get(size=size)
    (said,) = [one for one in printed.warnings if one["code"] == "delivery.camera_picture_ppi"]
    inches = (size.width + 2 * float(size.bleed)) / size.ppi
    assert said["data"]["effective_ppi"] == pytest.approx(crop.width / inches, abs=1)
    assert [one["code"] for one in web.warnings if one["code"].startswith("delivery.")] == ["delivery.camera_picture"]
    read = rights.read_rights(storage.get(storage.private(), web.key))
    assert read.record.digital_source_type == said["data"]["source"] == "digitalCapture"
    with zipfile.ZipFile(io.BytesIO(storage.get(storage.private(), delivery.archive_key))) as archive:
        name = next(name for name in archive.namelist() if name.endswith("manifest.txt"))
        papers = archive.read(name).decode()
    assert papers.count("Cut from the camera's own picture inside the raw file KAL_0502.DNG, 2048 × 1366 pixels") == 2
    assert f"at {said['data']['effective_ppi']} ppi" in papers
