"""The second factor: set up, asked for at every way in, used once each, taken off; and nobody gets round it."""

from __future__ import annotations

import re
from datetime import timedelta
from io import StringIO
from typing import Any

import cv2
import numpy as np
import pyotp
import pytest
from django.contrib.auth.models import User
from django.core import mail
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from galleries.access import Visitor
from galleries.models import CodeApp, JournalLine, RecoveryCode
from galleries.steps import jobs
from galleries.steps.people import account as accounts
from galleries.steps.people import codes, second_factor
from galleries.steps.people import invite as invites
from galleries.web import coming_in
from galleries.web.studio.second_factor import drawn
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
SECRET = "a long enough secret"
PAGES = ("begin", "confirm", "codes", "remove", "leave")
RECOVERY = re.compile(r"<li>((?:[a-z2-9]{6}-){3}[a-z2-9]{6})</li>")


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    cast.owner.set_password(SECRET)
    cast.owner.save()
    return cast


def set_up(account: User) -> tuple[str, list[str]]:
    """As the verbs do it: the app's secret, with no code of it used up, and the recovery codes."""
    by = Visitor(user=account)
    second_factor.begin(account, by, password=SECRET, code="")
    key = second_factor.key_of(account, "Northlight Rooms")
    assert key is not None
    made = second_factor.confirm(account, by, code=pyotp.TOTP(key.secret).now(), here="")
    CodeApp.objects.update(last_step=0)
    return key.secret, made


def halfway(account: User, onward: str = "") -> Client:
    """A browser that has shown the password."""
    client = Client()
    answer = client.post("/sign-in", {"name": account.username, "password": SECRET, "next": onward})
    assert answer["Location"] == "/sign-in/second"
    return client


def is_in(client: Client) -> bool:
    return bool(client.get("/account").status_code == 200)


def test_set_up_with_the_picture_and_come_in_with_it(cast: Cast) -> None:
    client, elsewhere = cast.client_of(cast.owner), cast.client_of(cast.owner)
    assert client.post("/account/second-factor/begin", {"password": "guess"}).status_code == 400
    assert not CodeApp.objects.exists()
    assert client.post("/account/second-factor/begin", {"password": SECRET}).status_code == 302
    page = client.get("/account/second-factor")
    assert "no-store" in page["Cache-Control"]
    key = second_factor.key_of(cast.owner, "Northlight Rooms")
    assert key is not None
    assert key.secret in page.content.decode().replace(" ", "")
    assert not second_factor.stands(cast.owner)  # until a code of it was seen
    assert client.post("/account/second-factor/confirm", {"code": "000000"}).status_code == 400

    shown = client.post("/account/second-factor/confirm", {"code": pyotp.TOTP(key.secret).now()}).content.decode()
    made = RECOVERY.findall(shown)
    assert len(made) == codes.RECOVERY_CODES == 10
    kept = {*RecoveryCode.objects.values_list("code_hash", flat=True)}
    assert len(kept) == 10
    assert not kept & {*made}
    assert key.secret not in CodeApp.objects.get().secret
    assert is_in(client)
    assert not is_in(elsewhere)
    later = client.get("/account/second-factor").content.decode()
    assert not RECOVERY.findall(later)
    assert key.secret not in later.replace(" ", "")
    assert "10 codes are left" in later

    assert client.post("/account/second-factor/confirm", {"code": pyotp.TOTP(key.secret).now()}).status_code == 400
    jobs.run_waiting()
    (letter,) = mail.outbox
    assert letter.to == ["tamsin@northlight.example"]
    (line,) = JournalLine.objects.filter(verb="second factor set")
    assert line.detail == {"account": cast.owner.pk}


def test_the_picture_is_read_by_a_program_that_knows_nothing_of_us() -> None:
    """OpenCV's reader of QR codes; the address as apps expect it (Key URI format: issuer, label, secret)."""
    address = codes.address_for_app("JBSWY3DPEHPK3PXP" * 2, "tamsin", "Northlight Rooms")
    picture = drawn(address)
    side = picture["side"]
    assert isinstance(side, int)
    pixels = np.full((side, side), 255, np.uint8)
    for x, y in re.findall(r"M(\d+) (\d+)h1v1h-1z", str(picture["path"])):
        pixels[int(y), int(x)] = 0
    read, *_rest = cv2.QRCodeDetector().detectAndDecode(np.kron(pixels, np.ones((6, 6), np.uint8)))
    assert read == address
    parsed = pyotp.parse_uri(address)
    assert (parsed.issuer, parsed.name, parsed.secret) == ("Northlight Rooms", "tamsin", "JBSWY3DPEHPK3PXP" * 2)


def test_password_and_code_open_and_neither_does_alone(cast: Cast) -> None:
    secret, _made = set_up(cast.owner)
    client = halfway(cast.owner, "/studio/sizes")
    assert not is_in(client)
    assert client.get("/studio/").status_code == 302
    assert client.get(f"/studio/{cast.sitting.slug}/").status_code == 302
    assert "_auth_user_id" not in client.session
    wrong = client.post("/sign-in/second", {"code": "000000"})
    assert wrong.status_code == 400
    assert "does not open" in wrong.content.decode()
    before = client.session.session_key
    right = client.post("/sign-in/second", {"code": pyotp.TOTP(secret).now()})
    assert right["Location"] == "/studio/sizes"
    assert is_in(client)
    assert client.session.session_key != before
    assert coming_in.HALFWAY not in client.session
    # Whoever has not shown the password in this browser is not even asked for a code.
    for somebody in (Client(), cast.client_of(cast.subject), cast.client_of(cast.colleague)):
        for ask in (somebody.get, somebody.post):
            assert ask("/sign-in/second", {"code": pyotp.TOTP(secret).now()})["Location"] == "/sign-in"


def test_a_mailed_link_is_no_way_round(cast: Cast) -> None:
    secret, _made = set_up(cast.owner)
    client = Client()
    link = invites.sign_in_link(user=cast.owner)
    assert client.post("/" + link.split("/", 3)[3])["Location"] == "/sign-in/second"
    assert not is_in(client)
    assert client.post("/sign-in/second", {"code": pyotp.TOTP(secret).now()})["Location"] == "/studio/"
    assert is_in(client)


def test_a_code_opens_once(cast: Cast) -> None:
    secret, _made = set_up(cast.owner)
    at = timezone.now()
    code, earlier = (pyotp.TOTP(secret).at(at - timedelta(seconds=back)) for back in (0, 30))
    assert halfway(cast.owner).post("/sign-in/second", {"code": code}).status_code == 302
    thief = halfway(cast.owner)
    assert thief.post("/sign-in/second", {"code": code}).status_code == 400
    assert thief.post("/sign-in/second", {"code": earlier}).status_code == 400  # nor one of before
    assert not is_in(thief)


def test_a_recovery_code_opens_once_and_is_told(cast: Cast) -> None:
    _secret, made = set_up(cast.owner)
    mail.outbox.clear()
    client = halfway(cast.owner)
    assert client.post("/sign-in/second", {"code": made[3].upper().replace("-", " ")}).status_code == 302
    assert is_in(client)
    assert "9 recovery codes are left" in client.get("/account").content.decode()
    assert halfway(cast.owner).post("/sign-in/second", {"code": made[3]}).status_code == 400
    jobs.run_waiting()
    assert "recovery code" in mail.outbox[-1].subject
    assert made[3] not in mail.outbox[-1].body
    assert JournalLine.objects.filter(verb="recovery code used").count() == 1


def test_wrong_codes_are_counted_in_the_table_and_recovery_still_opens(
    cast: Cast, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    secret, made = set_up(cast.owner)
    monkeypatch.setattr(second_factor, "WRONG_AN_HOUR", 3)
    client = halfway(cast.owner)
    for _try in range(3):
        cache.clear()  # a queue that lost its counts is no way round
        assert client.post("/sign-in/second", {"code": "000000"}).status_code == 400
    shut = client.post("/sign-in/second", {"code": pyotp.TOTP(secret).now()})
    assert "Too many wrong codes" in shut.content.decode()
    assert not is_in(client)
    assert client.post("/sign-in/second", {"code": made[0]}).status_code == 302
    CodeApp.objects.update(wrong_since=timezone.now() - timedelta(minutes=61))
    assert halfway(cast.owner).post("/sign-in/second", {"code": pyotp.TOTP(secret).now()}).status_code == 302
    # And by the minute, as passwords are: per account from however many addresses, right ones too.
    settings.DOOR_TRIES = 2
    cache.clear()
    client = halfway(cast.owner)
    said = [
        client.post("/sign-in/second", {"code": code}, REMOTE_ADDR=f"192.0.2.{number}").status_code
        for number, code in enumerate(("000000", made[8] + "x", made[9]))
    ]
    assert said == [400, 400, 429]


def test_the_first_step_does_not_last(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    _secret, made = set_up(cast.owner)
    late, changed, shut_out = halfway(cast.owner), halfway(cast.owner), halfway(cast.owner)
    session = late.session
    session[coming_in.HALFWAY] = {**session[coming_in.HALFWAY], "until": 1}
    session.save()
    assert late.post("/sign-in/second", {"code": made[0]})["Location"] == "/sign-in"
    User.objects.filter(pk=cast.owner.pk).update(is_active=False)
    assert shut_out.post("/sign-in/second", {"code": made[0]})["Location"] == "/sign-in"
    User.objects.filter(pk=cast.owner.pk).update(is_active=True, password="!of another time")
    assert changed.post("/sign-in/second", {"code": made[0]})["Location"] == "/sign-in"
    assert RecoveryCode.objects.unused().count() == 10


def test_codes_of_another_account_open_nothing(cast: Cast) -> None:
    set_up(cast.owner)
    User.objects.filter(pk=cast.colleague.pk).update(password=cast.owner.password)
    cast.colleague.refresh_from_db()
    theirs, made = set_up(cast.colleague)
    client = halfway(cast.owner)
    for code in (pyotp.TOTP(theirs).now(), made[0]):
        assert client.post("/sign-in/second", {"code": code}).status_code == 400
    assert RecoveryCode.objects.unused().count() == 20


def test_strangers_come_to_no_page_of_it_and_change_nothing(cast: Cast) -> None:
    set_up(cast.owner)
    for somebody in (Client(), cast.client_of(cast.subject), halfway(cast.owner)):
        assert somebody.get("/account/second-factor")["Location"].startswith("/sign-in?next=")
        for page in PAGES:
            answer = somebody.post(reverse(f"second-factor-{page}"), {"password": SECRET})
            assert answer["Location"].startswith("/sign-in?next=")
    # A colleague's page is about the colleague alone.
    colleague = cast.client_of(cast.colleague)
    assert "asked for since" not in colleague.get("/account/second-factor").content.decode()
    colleague.post(reverse("second-factor-remove"), {"password": SECRET})
    assert second_factor.stands(cast.owner)


def test_an_unlocked_machine_changes_nothing_without_the_password(cast: Cast) -> None:
    set_up(cast.owner)
    client = cast.client_of(cast.owner)
    for page in ("codes", "remove"):
        assert client.post(reverse(f"second-factor-{page}"), {"password": "guess"}).status_code == 400
        assert client.post(reverse(f"second-factor-{page}"), {}).status_code == 400
    assert client.post(reverse("second-factor-begin"), {"password": SECRET}).status_code == 400  # there is one
    assert second_factor.standing(cast.owner).codes_left == 10


def test_new_recovery_codes_end_the_old(cast: Cast) -> None:
    _secret, old = set_up(cast.owner)
    client = cast.client_of(cast.owner)
    made = RECOVERY.findall(client.post(reverse("second-factor-codes"), {"password": SECRET}).content.decode())
    assert len({*made} - {*old}) == 10
    away = halfway(cast.owner)
    assert away.post("/sign-in/second", {"code": old[0]}).status_code == 400
    assert away.post("/sign-in/second", {"code": made[0]}).status_code == 302


def test_taken_off_it_is_asked_for_no_more_and_that_is_told(cast: Cast) -> None:
    set_up(cast.owner)
    client, elsewhere = cast.client_of(cast.owner), cast.client_of(cast.owner)
    assert client.post(reverse("second-factor-remove"), {"password": SECRET}).status_code == 302
    assert is_in(client)
    assert not is_in(elsewhere)
    assert not CodeApp.objects.exists()
    assert not RecoveryCode.objects.exists()
    jobs.run_waiting()
    assert "taken off" in mail.outbox[-1].subject
    anew = Client()
    assert anew.post("/sign-in", {"name": cast.owner.username, "password": SECRET})["Location"] == "/studio/"


def test_who_has_no_password_proves_it_by_a_code(cast: Cast) -> None:
    User.objects.filter(pk=cast.owner.pk).update(password="!")
    cast.owner.refresh_from_db()
    _secret, made = set_up(cast.owner)
    client = cast.client_of(cast.owner)
    page = client.get("/account/second-factor").content.decode()
    assert 'type="password"' not in page
    assert client.post(reverse("second-factor-remove"), {"code": "000000"}).status_code == 400
    assert client.post(reverse("second-factor-remove"), {}).status_code == 400
    assert second_factor.stands(cast.owner)
    assert client.post(reverse("second-factor-remove"), {"code": made[0]}).status_code == 302
    assert not second_factor.stands(cast.owner)


def test_a_setting_up_that_is_left_leaves_nothing(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    client.post(reverse("second-factor-begin"), {"password": SECRET})
    assert client.post(reverse("second-factor-leave")).status_code == 302
    assert not CodeApp.objects.exists()
    assert not JournalLine.objects.exists()
    assert client.post(reverse("second-factor-confirm"), {"code": "000000"}).status_code == 400


def test_the_operator_takes_it_off_for_who_lost_everything(cast: Cast) -> None:
    set_up(cast.owner)
    there = cast.client_of(cast.owner)
    said = StringIO()
    call_command("photographer", cast.owner.username, "--drop-second-factor", stdout=said)
    assert cast.owner.username in said.getvalue()
    assert not second_factor.stands(cast.owner)
    assert not is_in(there)
    assert JournalLine.objects.get(verb="second factor removed").who == "the operator"
    for name in ("nobody", cast.owner.username):
        with pytest.raises(CommandError):
            call_command("photographer", name, "--drop-second-factor")
    with pytest.raises(CommandError, match="--email"):
        call_command("photographer", "iza")


def test_with_another_key_of_the_site_recovery_codes_still_open(cast: Cast, settings: Any) -> None:
    secret, made = set_up(cast.owner)
    settings.SECRET_KEY = "another key of the site, long enough"
    client = halfway(cast.owner)
    answer = client.post("/sign-in/second", {"code": pyotp.TOTP(secret).now()})
    assert "key is another one" in answer.content.decode()
    assert client.post("/sign-in/second", {"code": made[0]}).status_code == 302


def test_where_everybody_has_to_nothing_else_opens_before(cast: Cast, settings: Any) -> None:
    client = cast.client_of(cast.owner)
    slug = cast.sitting.slug
    closed = ["/account", "/studio/", f"/studio/{slug}/", f"/s/{slug}/sheet", "/upkeep/", "/files/original/1"]
    settings.SECOND_FACTOR_REQUIRED = True
    for address in closed:
        assert client.get(address)["Location"] == "/account/second-factor", address
    assert client.post("/account/data", {})["Location"] == "/account/second-factor"
    assert "asks everybody" in client.get("/account/second-factor").content.decode()
    # Guests have none, and are asked for none.
    assert cast.client_of(cast.subject).get(f"/s/{slug}/sheet").status_code == 200
    assert Client().get("/sign-in").status_code == 200
    set_up(cast.owner)
    client = cast.client_of(cast.owner)  # the setting up ended the others
    assert client.get(f"/studio/{slug}/").status_code == 200


def test_the_upkeep_shows_no_secret(cast: Cast) -> None:
    set_up(cast.owner)
    accounts.allow_upkeep(cast.owner)
    client, app = cast.client_of(cast.owner), CodeApp.objects.get()
    page = client.get(reverse("admin:galleries_codeapp_change", args=[app.pk]))
    assert page.status_code == 200
    assert app.secret not in page.content.decode()
    code = RecoveryCode.objects.all()[0]
    page = client.get(reverse("admin:galleries_recoverycode_change", args=[code.pk]))
    assert code.code_hash not in page.content.decode()
