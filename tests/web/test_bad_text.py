"""What no database, letter or paper can keep is refused with a sentence."""

from __future__ import annotations

import pytest

from galleries.models import PlanComment
from tests.cast import make_cast

pytestmark = pytest.mark.django_db


def test_a_zero_byte_in_a_form_is_refused_with_a_sentence() -> None:
    cast = make_cast()
    frame = cast.frame(1)
    client, home = cast.client_of(cast.subject), f"/s/{cast.sitting.slug}"
    for path, form in (
        ("plan", {"text": "hair\0up"}),
        ("marks", {"mark": f"{frame.pk}:pick\0"}),
        (f"frame/{frame.pk}", {"text": "so\0so"}),
    ):
        answer = client.post(f"{home}/{path}", form)
        assert answer.status_code == 400
        assert "zero byte" in answer.content.decode()
    assert not PlanComment.objects.exists()
    assert not frame.remarks.exists()
    assert client.post(f"{home}/plan", {"text": "hair up"}).status_code == 302


@pytest.mark.parametrize("number", ["9" * 25, "9" * 5000, "٣" * 30])
def test_a_number_beyond_any_row_is_not_found(number: str) -> None:
    cast = make_cast()
    frame = cast.frame(1)
    home = f"/s/{cast.sitting.slug}"
    subject, agent = cast.client_of(cast.subject), cast.client_of(cast.representation)
    assert subject.post(f"{home}/marks", {"mark": f"{number}:pick"}).status_code == 404
    assert subject.post(f"{home}/plan", {"text": "hair up", "look": number}).status_code == 404
    assert agent.post(f"{home}/lists", {"frame": number, "sure": "1"}).status_code == 400
    assert subject.get(f"{home}/compare?frames={number}").status_code == 400
    type(cast.sitting).objects.update(subject_chooses_looks=True)
    assert subject.post(f"{home}/look-say", {"look": number}).status_code == 404
    type(cast.sitting).objects.update(stage="finishing")
    final = cast.sitting.finals.create(frame=frame, round=cast.sitting.rounds.get(), state="shown")
    asked = subject.post(f"{home}/final/{final.pk}", {"do": "approve", "version": number})
    assert asked.status_code == 404
