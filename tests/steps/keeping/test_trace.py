"""A stray copy tells which invite it was served to."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from galleries import storage
from galleries.errors import BadInput
from galleries.models import Proof, Sitting
from galleries.steps import jobs
from galleries.steps.ingesting import ingest
from galleries.steps.keeping import trace
from tests.cast import body_of, make_cast
from tests.pictures import put_card

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast(tmp_path):
    cast = make_cast()
    put_card(tmp_path / "card", 3, long_side=2400)
    list(ingest.add_folder(cast.sitting, tmp_path / "card", cast.as_owner))
    jobs.run_waiting(cast.sitting, ["proof"])
    return cast


def served(client, proof, kind="large") -> bytes:
    response = client.get(f"/files/proof/{proof.frame_id}/{kind}/{proof.pk}.jpg")
    assert response.status_code == 200
    return body_of(response)


def resaved(data: bytes, tmp_path):
    """A phone's screenshot sent on: half the size, quality 60."""
    picture = Image.open(io.BytesIO(data))
    path = tmp_path / "copy.jpg"
    picture.resize((picture.width // 2, picture.height // 2), Image.Resampling.LANCZOS).save(path, quality=60)
    return path


def test_each_invite_gets_a_copy_of_its_own_and_the_photographer_the_base(cast, tmp_path):
    proof = Proof.objects.first()
    base = storage.get(storage.proofs(), proof.large_key)
    copies = [served(cast.client_of(who), proof) for who in (cast.subject, cast.representation)]
    assert served(cast.client_of(cast.owner), proof) == base
    assert len({base, *copies}) == 3
    assert served(cast.client_of(cast.subject), proof) == copies[0]
    for who, data in zip((cast.subject, cast.representation), copies, strict=True):
        for target in (None, cast.sitting):
            found = trace.find(resaved(data, tmp_path), target)
            assert (found.frame, found.invites) == (proof.frame, (who,)), found.sentence
            assert found.confidence > 0.9999
    assert not trace.find(resaved(base, tmp_path)).invites


def test_the_middle_size_carries_a_tracer_too(cast, tmp_path):
    proof, who = Proof.objects.first(), cast.representation
    data, base = served(cast.client_of(who), proof, "middle"), storage.get(storage.proofs(), proof.middle_key)
    assert data != base
    assert served(cast.client_of(cast.owner), proof, "middle") == base
    path = tmp_path / "sent-on.jpg"
    Image.open(io.BytesIO(data)).save(path, quality=70)
    traced = trace.find(path)
    assert (traced.frame, traced.invites) == (proof.frame, (who,)), traced.sentence


def test_a_copy_served_under_the_key_before_is_still_traced(cast, tmp_path):
    """A sitting that shared its key with another has one of its own now."""
    proof, who = Proof.objects.first(), cast.representation
    old = storage.get(storage.proofs(), trace.traced_copy(proof, who))
    Sitting.objects.update(tracer_key="ab" * 32, tracer_key_before=proof.frame.sitting.tracer_key)
    proof = Proof.objects.get(pk=proof.pk)
    new = storage.get(storage.proofs(), trace.traced_copy(proof, who))
    assert new != old
    for data in (old, new):
        assert trace.find(resaved(data, tmp_path)).invites == (who,)


def test_what_is_no_copy_is_not_found(cast, tmp_path):
    path = tmp_path / "other.png"
    Image.radial_gradient("L").resize((1200, 900)).convert("RGB").save(path)
    found = trace.find(path)
    assert (found.frame, found.invites) == (None, ())
    assert "Not found" in found.sentence
    (tmp_path / "words.jpg").write_text("nothing to see")
    with pytest.raises(BadInput, match=r"words\.jpg"):
        trace.find(tmp_path / "words.jpg")
