"""People are let in, get their letter or link, and are shut out again."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from galleries.models import Invite, InviteLink, Letter
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


def at(cast: Cast, name: str, *more: int) -> str:
    return reverse(name, args=[cast.sitting.slug, *more])


def test_somebody_is_invited_with_a_letter_or_without(cast: Cast, client: Client) -> None:
    form = {"role": "assistant", "name": "Bo Lindqvist-Ray", "email": "bo@lindqvist.example", "letter": "on"}
    assert client.post(at(cast, "studio-invite"), form).status_code == 302
    assert Letter.objects.get(kind="invitation").to == "bo@lindqvist.example"
    form = {"role": "recipient", "name": "Third person", "email": "third@elsewhere.example"}
    client.post(at(cast, "studio-invite"), form)
    assert Letter.objects.count() == 1
    assert "Third person" in client.get(at(cast, "studio-people")).content.decode()


@pytest.mark.parametrize(
    ("form", "status"),
    [
        ({"role": "subject", "name": "", "email": "a@b.example"}, 400),
        ({"role": "king", "name": "A", "email": "a@b.example"}, 400),
        ({"role": "subject", "name": "A", "email": "no address"}, 400),
        ({"role": "subject", "name": "Ansa again", "email": "ansa@veld.example"}, 409),
    ],
)
def test_what_cannot_be_invited_is_told_in_a_sentence(
    cast: Cast, client: Client, form: dict[str, str], status: int
) -> None:
    count = Invite.objects.count()
    assert client.post(at(cast, "studio-invite"), form).status_code == status
    assert Invite.objects.count() == count


def test_nobody_is_invited_to_a_minors_sitting_without_consent(cast: Cast, client: Client) -> None:
    cast.sitting.subject_is_minor = True
    cast.sitting.save()
    form = {"role": "assistant", "name": "Bo", "email": "bo@lindqvist.example"}
    assert client.post(at(cast, "studio-invite"), form).status_code == 403
    page = client.get(at(cast, "studio-people")).content.decode()
    assert "record who consented" in page
    assert "id_email" not in page


def test_a_link_is_shown_once_and_opens_the_sitting(cast: Cast, client: Client) -> None:
    answer = client.post(at(cast, "studio-invite-link", cast.subject.pk))
    assert answer.headers["Cache-Control"] == "private, no-store"
    found = re.search(r"/i/([\w-]{32,})", answer.content.decode())
    assert found is not None
    token = found.group(1)
    assert token not in client.get(at(cast, "studio-people")).content.decode()
    assert token not in str(list(InviteLink.objects.values()))
    assert Client().post(f"/i/{token}").status_code == 302
    client.post(at(cast, "studio-invite-revoke", cast.subject.pk))
    assert Client().get(f"/i/{token}").status_code == 404


def test_the_letter_can_be_sent_again_while_the_invite_holds(cast: Cast, client: Client) -> None:
    for _time in range(2):
        assert client.post(at(cast, "studio-invite-letter", cast.subject.pk)).status_code == 302
    assert Letter.objects.filter(kind="invitation", to=cast.subject.email).count() == 2
    client.post(at(cast, "studio-invite-revoke", cast.subject.pk))
    assert client.post(at(cast, "studio-invite-letter", cast.subject.pk)).status_code == 400
    assert client.post(at(cast, "studio-invite-link", cast.subject.pk)).status_code == 400


def test_an_invite_is_prolonged_within_reason(cast: Cast, client: Client) -> None:
    Invite.objects.filter(pk=cast.subject.pk).update(expires_at=timezone.now() - timedelta(days=1))
    client.post(at(cast, "studio-invite-prolong", cast.subject.pk), {"days": "10"})
    cast.subject.refresh_from_db()
    assert cast.subject.holds()
    for days in ("0", "9999", "soon", ""):
        assert client.post(at(cast, "studio-invite-prolong", cast.subject.pk), {"days": days}).status_code == 400


def test_passing_on_is_allowed_and_stopped(cast: Cast, client: Client) -> None:
    where = at(cast, "studio-invite-pass-on", cast.representation.pk)
    client.post(where, {"allowed": "1"})
    cast.representation.refresh_from_db()
    assert cast.representation.may_pass_on
    client.post(where, {"allowed": "0"})
    cast.representation.refresh_from_db()
    assert not cast.representation.may_pass_on


def test_an_invite_of_another_sitting_is_not_found(cast: Cast, client: Client) -> None:
    other = make_cast("other-sitting")
    for name in ("letter", "link", "revoke", "pass-on"):
        assert client.post(at(cast, f"studio-invite-{name}", other.subject.pk)).status_code == 404
    assert client.post(at(cast, "studio-invite-prolong", other.subject.pk), {"days": "3"}).status_code == 404
    other.subject.refresh_from_db()
    assert other.subject.revoked_at is None


def test_the_page_says_which_pictures_can_be_traced(cast: Cast, client: Client) -> None:
    page = " ".join(client.get(at(cast, "studio-people")).content.decode().split())
    assert "The small pictures of the sheet and the proofs of retouched finals carry the stamp alone" in page


def test_colleagues_work_on_a_sitting_and_nobody_shuts_themselves_out(cast: Cast) -> None:
    where, page = (reverse(name, args=[cast.sitting.slug]) for name in ("studio-team", "studio-people"))
    owner, colleague = cast.client_of(cast.owner), cast.client_of(cast.colleague)
    for client, status in ((colleague, 404), (cast.client_of(cast.subject), 302)):
        assert client.post(where, {"colleague": cast.colleague.pk}).status_code == status
    assert owner.post(where, {"colleague": [cast.owner.pk]}).status_code == 400, "the photographer is there already"
    assert owner.post(where, {"colleague": [cast.colleague.pk]}).status_code == 302
    assert colleague.get(page).status_code == 200
    line = cast.sitting.journal.order_by("-pk")[0]
    assert (line.verb, line.detail["added"]) == ("team changed", [cast.colleague.pk])
    assert colleague.post(where, {}).status_code == 409
    assert owner.post(where, {}).status_code == 302
    assert colleague.get(page).status_code == 404
