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
