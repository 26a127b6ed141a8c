"""The eyes at 100 % of a raw file whose own picture is smaller than its sensor: developed once, by the worker."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from galleries import storage
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.opening.decode import open_picture
from galleries.models import Frame, Job
from galleries.steps import derived, jobs
from galleries.steps.ingesting import ingest
from galleries.steps.sorting import loupe
from galleries.told import Told
from galleries.web.studio import desk_data
from tests.cast import Cast, make_cast
from tests.imaging.core_pictures import saved
from tests.imaging.negatives import Negative, block, dng, scene

RED, GREEN = (188, 63, 63), (63, 188, 63)  # by IEC 61966-2-1, see tests/imaging/opening/test_raw.py


@pytest.mark.parametrize(
    ("shown", "size", "sensor", "wanted"),
    [
        ("file", (2048, 1366), (0, 0), False),
        ("sensor", (600, 400), (600, 400), True),
        ("embedded", (2048, 1366), (6000, 4000), True),
        ("embedded", (6000, 4000), (6024, 4022), False),  # what a camera leaves out at the edge
        ("embedded", (5700, 3800), (6000, 4000), False),
        ("embedded", (5699, 3799), (6000, 4000), True),
    ],
)
def test_the_sensor_is_asked_where_the_picture_shown_is_smaller(
    shown: str, size: tuple[int, int], sensor: tuple[int, int], *, wanted: bool
) -> None:
    frame = Frame(shown=shown, width=size[0], height=size[1], sensor_width=sensor[0], sensor_height=sensor[1])
    assert loupe.from_sensor(frame) == wanted


@pytest.mark.django_db
class TestOnDemand:
    @pytest.fixture
    def cast(self) -> Cast:
        return make_cast()

    @pytest.fixture
    def frame(self, cast: Cast, tmp_path: Path) -> Frame:
        """A camera's picture of 2,048 pixels beside a sensor of 2,200."""
        preview = saved(block(2048, 1366), quality=88)
        path = tmp_path / "KAL_0700.DNG"
        path.write_bytes(dng(Negative(scene(2200, 1468), preview=preview, preview_size=(2048, 1366))))
        frame = ingest.add_frame(cast.sitting, path, path.name, cast.as_owner).frame
        assert frame is not None
        frame.reading = FrameReading(2048, 1366, 1.0, None, Told("")).as_dict()
        frame.save()
        return frame

    def asked(self, client: Client, frame: Frame, *, head: bool = False) -> tuple[int, str, bytes]:
        address = reverse("studio-eyes", args=[frame.sitting.slug, frame.pk])
        answer = (client.head if head else client.get)(address)
        return answer.status_code, answer.headers["Cache-Control"], answer.content

    def test_a_smaller_picture_comes_at_once_and_the_sharp_one_is_developed_once(
        self, cast: Cast, frame: Frame, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        client = cast.client_of(cast.owner)
        (row,) = (row for row in desk_data.everything(cast.sitting)["frames"] if row["id"] == frame.pk)
        assert row["sensor"]
        status, cache, small = self.asked(client, frame)
        assert (status, cache) == (202, "private, no-store")
        height, width = open_picture(small).pixels.shape[:2]
        assert abs(width - 1400 * 2048 / 2200) <= 1
        assert abs(height - 900 * 2048 / 2200) <= 1
        assert self.asked(client, frame, head=True)[::2] == (202, b"")
        assert Job.objects.filter(kind="develop", thing=frame.pk).count() == 1
        assert jobs.run_waiting(cast.sitting, ["develop"]) == 1
        status, cache, sharp = self.asked(client, frame)
        assert (status, "immutable" in cache) == (200, True)
        pixels = open_picture(sharp).pixels
        assert pixels.shape == (900, 1400, 3)
        for x, colour in ((300, RED), (1100, GREEN)):
            assert max(abs(int(v) - w) for v, w in zip(pixels[300, x], colour, strict=True)) <= 6
        monkeypatch.setattr(loupe.door, "cut_sensor", None)  # it is never developed again
        loupe.develop(frame.pk)
        assert self.asked(client, frame, head=True)[0] == 200
        kept = derived.place(cast.sitting, "loupe", frame.sha256)
        kept.store.delete(kept.key)  # as when the caches are cleared
        assert self.asked(client, frame, head=True)[0] == 202
        assert Job.objects.get(kind="develop", thing=frame.pk).state == Job.State.WAITING

    def test_what_cannot_be_developed_is_told_and_keeps_its_smaller_picture(self, cast: Cast, frame: Frame) -> None:
        client = cast.client_of(cast.owner)
        small = self.asked(client, frame)[2]
        storage.private().delete(frame.key)
        storage.put(storage.private(), frame.key, b"II*\0" + bytes(40))
        jobs.run_waiting(cast.sitting, ["develop"])
        assert self.asked(client, frame, head=True)[0] == 422
        assert self.asked(client, frame)[::2] == (200, small)

    def test_a_frame_that_is_gone_or_got_its_picture_is_left(self, frame: Frame) -> None:
        Frame.objects.filter(pk=frame.pk).update(shown="file")
        loupe.develop(frame.pk)
        loupe.develop(frame.pk + 1000)
        kept = derived.place(frame.sitting, "loupe", frame.sha256)
        assert not kept.store.exists(kept.key)
