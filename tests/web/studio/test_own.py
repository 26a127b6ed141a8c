"""The studio's own page: kept by whoever runs the studio, read by its other photographers, seen by nobody else."""

from __future__ import annotations

import smtplib
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.mail.backends.locmem import EmailBackend
from django.test import Client
from django.urls import reverse

from galleries import storage
from galleries.imaging.comparing.amounts import USUAL, Changes
from galleries.models import DeliverySize, JournalLine, Sitting, Studio, StudioRole, Version
from galleries.steps import derived
from galleries.steps.delivering import certificate, licences, sizes
from galleries.steps.planning import sitting_plan
from tests.cast import Cast

pytestmark = pytest.mark.django_db
DATA = {
    "name": "Quay Street", "photographer": "Tamsin Orr", "email": "desk@quay.example", "telephone": "",
    "web": "quay.example", "statement_of_rights": "", "letters_from": 9, "letters_until": 18,
}  # fmt: skip
POSTS = ("data", "stamp", "logo", "clauses", "signing", "cautions", "beginnings", "mail")


def shown(client: Client) -> str:
    return client.get(reverse("studio-own")).content.decode()


def test_the_data_are_kept_with_one_line(client: Client) -> None:
    assert client.post(reverse("studio-own-data"), DATA).status_code == 302
    now = Studio.current()
    assert (now.name, now.web, now.letters_from) == ("Quay Street", "https://quay.example", 9)
    (line,) = JournalLine.objects.all()
    assert (line.verb, line.detail["fields"]) == (
        "studio changed",
        ["name", "photographer", "email", "web", "letters_from", "letters_until"],
    )
    client.post(reverse("studio-own-data"), DATA)
    assert JournalLine.objects.count() == 1, "nothing changed, nothing written"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"name": "  "}, "name"),
        ({"email": "nobody"}, "valid email"),
        ({"letters_until": 25}, "0 to 24"),
        ({"web": "javascript:alert(1)"}, "URL"),
    ],
)
def test_what_cannot_be_kept_stays_in_the_form(client: Client, change: dict[str, object], says: str) -> None:
    answer = client.post(reverse("studio-own-data"), {**DATA, "telephone": "0301 55", **change})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "0301 55" in page
    assert says in page
    assert "data-kept-form" in page
    assert Studio.current().name == "Northlight Rooms"


def test_finals_are_signed_unless_the_studio_says_no(client: Client, tmp_path: Path, settings: object) -> None:
    settings.SITE_DIR = tmp_path  # type: ignore[attr-defined]
    assert Studio.current().sign_finals
    assert "made with the first delivery" in shown(client)
    assert client.get(reverse("certificate")).status_code == 404
    one = certificate.in_force()
    page = shown(client)
    assert "call the signer unknown" in page.replace("\n", " ").replace("  ", "")
    assert reverse("certificate") in page
    assert client.post(reverse("studio-own-signing"), {}).status_code == 302
    assert not Studio.current().sign_finals
    assert JournalLine.objects.get().detail["fields"] == ["sign_finals"]
    client.post(reverse("studio-own-signing"), {"sign_finals": "on"})
    assert Studio.current().sign_finals
    assert certificate.current() == one


def test_the_certificate_is_everybodys_and_its_key_nobodys(client: Client, tmp_path: Path, settings: object) -> None:
    settings.SITE_DIR = tmp_path  # type: ignore[attr-defined]
    one = certificate.in_force()
    for anybody in (client, Client()):
        answer = anybody.get(reverse("certificate"))
        assert answer.content.decode() == one.chain
        assert b"PRIVATE" not in answer.content
        assert answer.headers["Content-Disposition"] == 'attachment; filename="certificate.pem"'
        for name in (
            f"{one.fingerprint}.key",
            f"signing/{one.fingerprint}.key",
            "certificate.key",
            "certificate.pem.key",
        ):
            assert anybody.get(f"/{name}").status_code == 404


def test_an_empty_site_gets_its_studio(client: Client) -> None:
    Studio.objects.all().delete()
    assert client.post(reverse("studio-own-data"), DATA).status_code == 302
    assert Studio.objects.get().name == "Quay Street"


def test_a_stamp_is_a_text_and_a_strength(client: Client) -> None:
    good = {"stamp_with": "text", "stamp_text": "Quay", "stamp_strength": "strong"}
    assert client.post(reverse("studio-own-stamp"), good).status_code == 302
    now = Studio.current()
    assert (now.stamp_text, now.stamp_strength) == ("Quay", "strong")
    bad = client.post(
        reverse("studio-own-stamp"), {"stamp_with": "text", "stamp_text": "Kept here", "stamp_strength": "none"}
    )
    assert bad.status_code == 400
    assert "Kept here" in bad.content.decode()
    assert client.get(reverse("studio-own-stamp-progress")).json()["of"] == 0


def test_a_logo_stands_at_the_head_and_in_the_stamp_until_it_is_taken_off(
    client: Client, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    no_logo = {"stamp_with": "logo", "stamp_text": "", "stamp_strength": "usual"}
    assert client.post(reverse("studio-own-stamp"), no_logo).status_code == 400, "there is none yet"
    monkeypatch.setattr("galleries.steps.people.studio.door.make_logo", lambda source, limits: b"PNG of " + source)
    too_large = SimpleUploadedFile("logo.png", b"x" * (2_000_000 + 1))
    assert client.post(reverse("studio-own-logo"), {"logo": too_large}).status_code == 400
    assert client.post(reverse("studio-own-logo")).status_code == 400, "no file at all"
    plain = derived.stamp_recipe()
    assert client.post(reverse("studio-own-logo"), {"logo": SimpleUploadedFile("l.png", b"one")}).status_code == 302
    assert derived.stamp_recipe() == plain, "the stamp is the text still"
    first, key = Studio.current().logo_digest, Studio.current().logo_key
    assert client.post(reverse("studio-own-stamp"), no_logo).status_code == 302
    with_first = derived.stamp_recipe()
    assert derived.stamp_text_of(Studio.current(), "").logo == b"PNG of one"
    assert with_first != plain
    address = reverse("logo", args=[first])
    shown_to_all = Client().get(address)
    assert (b"".join(shown_to_all), shown_to_all["Content-Type"]) == (b"PNG of one", "image/png")
    assert address in Client().get(reverse("sign-in")).content.decode()
    client.post(reverse("studio-own-logo"), {"logo": SimpleUploadedFile("l.png", b"two")})
    assert derived.stamp_recipe() not in {plain, with_first}
    assert Client().get(address).status_code == 404
    assert not storage.private().exists(key)
    client.post(reverse("studio-own-logo"), {"do": "drop"})
    assert (Studio.current().logo_key, derived.stamp_recipe()) == ("", plain)


def test_the_sample_is_drawn_by_the_contained_child_as_the_form_stands(
    client: Client, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[Any] = []
    monkeypatch.setattr(
        "galleries.steps.people.studio.door.stamp_sample", lambda text: drawn.append(text) or b"a sample"
    )
    at = reverse("studio-own-stamp-sample")
    assert client.get(at, {"stamp_text": "Quay", "stamp_strength": "strong"}).content == b"a sample"
    assert (drawn[0].studio, drawn[0].strength) == ("Quay", 1.3)
    assert Studio.current().stamp_text == "", "a look keeps nothing"
    for bad in ({"stamp_text": "x" * 49}, {"stamp_strength": "none"}, {"stamp_with": "fire"}):
        assert client.get(at, bad).status_code == 400
    assert cast.client_of(cast.colleague).get(at).status_code == 403
    assert Client().get(at).status_code == 302
    assert len(drawn) == 1


def test_own_clauses_go_into_licences_written_from_now_on(client: Client, cast: Cast) -> None:
    given = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    text = "No prints for sale.\r\n\r\n  A credit   is kind. "
    assert client.post(reverse("studio-own-clauses"), {"clauses": text}).status_code == 302
    now = Studio.current()
    assert (now.clauses, now.clauses_number) == ("No prints for sale.\nA credit is kind.", 1)
    given.refresh_from_db()
    assert "No prints" not in given.text
    second = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    assert "own terms, number 1:\nNo prints for sale.\nA credit is kind." in second.text
    assert licences.terms_of(second).clauses == ("No prints for sale.", "A credit is kind.")
    client.post(reverse("studio-own-clauses"), {"clauses": text})
    assert Studio.current().clauses_number == 1, "nothing changed"
    client.post(reverse("studio-own-clauses"), {"clauses": ""})
    third = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    assert "own terms" not in third.text
    second.refresh_from_db()
    assert "No prints" in second.text


def test_new_sittings_begin_with_what_is_usual_here(client: Client, cast: Cast) -> None:
    sizes.load()
    usual = sizes.offered()[:2]
    form = {"allowance": 8, "usual": [size.pk for size in usual]}
    assert client.post(reverse("studio-own-beginnings"), form).status_code == 302
    assert set(DeliverySize.objects.filter(chosen_first=True)) == set(usual)
    assert 'value="8"' in client.get(reverse("new-sitting")).content.decode()
    assert Sitting.objects.get().allowance == 3, "one that is there stays as it is"
    bad = client.post(reverse("studio-own-beginnings"), {"allowance": -4, "usual": [usual[0].pk]})
    assert bad.status_code == 400
    assert 'value="-4"' in bad.content.decode()


def test_from_which_change_a_retouch_is_cautioned_is_the_studios_to_say(client: Client, cast: Cast) -> None:
    read = Changes({"eyes": 4.0, "nose": -6.0}, {"eyes": (0.3, 0.4, 0.4, 0.1)}).as_dict()
    final = cast.final()
    version = Version.objects.create(final=final, number=1, sha256="1" * 64, key="k", name="r.jpg", bytes=1, width=1,
                                     height=1, changes=read, geometry_caution="")  # fmt: skip
    form = {f"caution_{kind}": usual for kind, usual in USUAL.items()}
    assert client.post(reverse("studio-own-cautions"), {**form, "caution_nose": "5.5"}).status_code == 302
    assert Studio.current().cautioned_from == {**USUAL, "nose": 5.5}
    version.refresh_from_db()
    assert version.caution.startswith("Against the frame the eyes are 4 % larger and the nose is 6 % narrower.")
    assert version.changed_places() == [(0.3, 0.4, 0.4, 0.1)]
    never = {**form, "caution_nose": 100, "caution_eyes": 100}
    assert client.post(reverse("studio-own-cautions"), never).status_code == 302
    version.refresh_from_db()
    assert (version.caution, version.changed_places()) == ("", [])
    for bad in ("0", "-1", "101", "much", ""):
        answer = client.post(reverse("studio-own-cautions"), {**form, "caution_skin": bad})
        assert answer.status_code == 400, bad
    assert Studio.current().caution_skin == USUAL["skin"]


def test_the_mail_servers_answer_stands_in_the_page(
    client: Client, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    settings.MAIL = "smtp"
    assert client.post(reverse("studio-own-mail")).status_code == 302
    assert "took the letter" in shown(client)

    def refuse(_self: EmailBackend, _messages: object) -> int:
        raise smtplib.SMTPAuthenticationError(535, b"5.7.8 try <b>again</b>")

    monkeypatch.setattr(EmailBackend, "send_messages", refuse)
    answer = client.post(reverse("studio-own-mail"))
    assert answer.status_code == 409
    assert "535 5.7.8 try &lt;b&gt;again" in answer.content.decode()


def test_the_address_people_use_is_said_with_a_warning_where_only_this_machine_has_it(
    client: Client, settings: Any
) -> None:
    settings.BASE_URL = "http://localhost:8010"
    assert "on this machine only" in shown(client)
    settings.BASE_URL = "https://proofs.northlight.example"
    page = shown(client)
    assert "https://proofs.northlight.example" in page
    assert "on this machine only" not in page


def test_colleagues_are_invited_given_a_role_and_shut_out_here(client: Client, cast: Cast) -> None:
    bad = client.post(reverse("studio-colleague-invite"), {"name": "Ida B", "email": "x", "role": "photographer"})
    assert bad.status_code == 400
    assert 'value="Ida B"' in bad.content.decode()
    taken = {"name": "Ida B", "email": cast.colleague.email, "role": "photographer"}
    assert client.post(reverse("studio-colleague-invite"), taken).status_code == 409
    good = {"name": "Ida B", "email": "ida@b.example", "role": "head"}
    assert client.post(reverse("studio-colleague-invite"), good).status_code == 302
    ida = User.objects.get(email="ida@b.example")
    at = reverse("studio-colleague", args=[ida.pk])
    assert "/in/" in client.post(at, {"do": "link"}).content.decode()
    client.post(at, {"do": "role", "role": "photographer"})
    assert StudioRole.objects.get(account=ida).role == "photographer"
    assert client.post(at, {"do": "end"}).status_code == 302
    assert not User.objects.get(pk=ida.pk).is_active
    client.post(at, {"do": "back"})
    assert User.objects.get(pk=ida.pk).is_active
    assert client.post(at, {"do": "dance"}).status_code == 400
    own = client.post(reverse("studio-colleague", args=[cast.owner.pk]), {"do": "end"})
    assert own.status_code == 409
    assert "your own account" in own.content.decode()
    assert client.post(reverse("studio-colleague", args=[99999]), {"do": "end"}).status_code == 404


def test_another_photographer_reads_the_page_and_changes_nothing(cast: Cast) -> None:
    sizes.load()
    size = sizes.offered()[0]
    client, before = cast.client_of(cast.colleague), Studio.objects.values().get()
    page = shown(client)
    assert "Tamsin" in page
    assert cast.owner.email not in page.replace(Studio.current().email, "")
    assert "<form" not in page[page.index("<main") : page.index("</main")]
    form = {**DATA, "stamp_with": "text", "stamp_strength": "quiet", "allowance": 9}
    form |= {f"caution_{kind}": 50 for kind in USUAL}
    posts = [(reverse(f"studio-own-{name}"), form) for name in POSTS]
    posts += [
        (reverse("studio-colleague-invite"), {"name": "A", "email": "a@a.example", "role": "head"}),
        *((reverse("studio-colleague", args=[cast.owner.pk]), {"do": do}) for do in ("end", "link", "back")),
        (reverse("studio-colleague", args=[cast.colleague.pk]), {"do": "role", "role": "head"}),
        (reverse("studio-size", args=[size.pk]), {}),
        (reverse("studio-size-new"), {}),
        (reverse("studio-size-copy", args=[size.pk]), {"title": "Mine"}),
        (reverse("studio-size-retire", args=[size.pk]), {}),
    ]
    for at, form in posts:
        assert client.post(at, form).status_code == 403, at
    assert client.get(reverse("studio-size", args=[size.pk])).status_code == 403
    assert "<form" not in client.get(reverse("studio-sizes")).content.decode().split("<main")[1].split("</main")[0]
    assert Studio.objects.values().get() == before
    assert not JournalLine.objects.exists()
    assert User.objects.filter(is_active=True).count() == 3


def test_nobody_else_sees_it(cast: Cast) -> None:
    for client in (Client(), cast.client_of(cast.subject), cast.client_of(cast.representation)):
        assert client.get(reverse("studio-own")).status_code == 302
        assert client.post(reverse("studio-own-data"), DATA).status_code == 302
    assert Studio.current().name == "Northlight Rooms"


def test_upkeep_is_named_to_the_operator_alone(cast: Cast, client: Client) -> None:
    assert "/upkeep/" not in shown(client)
    cast.owner.is_staff = True
    cast.owner.save()
    assert "For the operator of this site only" in shown(client)


def test_no_new_sitting_takes_the_pages_address(cast: Cast) -> None:
    assert sitting_plan.create_sitting(cast.owner, title="Own").slug == "own-2"
