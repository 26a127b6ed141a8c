"""What is counted, what is kept of an address, and whose lines somebody reads."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session

from galleries.errors import BadInput, Refused
from galleries.models import Invite, JournalLine, UsageRequest
from galleries.steps.people import caps, sessions, sign_ins
from tests.cast import Cast, make_cast
from tests.steps.clock import MOMENT, Clock

tables = pytest.mark.django_db


@pytest.fixture
def cast(clock: Clock) -> Cast:
    return make_cast(stage="finishing")


@pytest.mark.parametrize(
    "name", ["Zoë Œuvrard", "J. R. Okafor", "Mary-Jane O'Neil", "Dr. Sorn", "St. John", "A.B. Veld"]
)
def test_a_persons_name_is_no_address(name: str) -> None:
    caps.plain_name(name)


@pytest.mark.parametrize(
    "name",
    ["a@b", "prize.example", "PRIZE.EXAMPLE", "Go: now", "and/or", "a\\b", "x <b", "x> y", "WWW.x", "größe.beispiel"],
)
def test_a_name_that_looks_like_an_address(name: str) -> None:
    with pytest.raises(BadInput, match="without any address"):
        caps.plain_name(name)


@pytest.mark.parametrize(
    ("address", "fits"), [("", False), ("a", True), ("a" * 254, True), ("a" * 255, False), ("a\0", False)]
)
def test_what_a_database_can_be_asked_for(address: str, fits: bool) -> None:
    assert caps.is_searchable(address) is fits


def ask(cast: Cast, invite: Invite | None, state: str = "asked") -> UsageRequest:
    return UsageRequest.objects.create(sitting=cast.sitting, invite=invite, who="w", use="poster", state=state)


@tables
def test_uses_are_counted_per_person_and_day(cast: Cast, clock: Clock) -> None:
    for _time in range(caps.USES_A_DAY):
        caps.asking_uses(cast.sitting, cast.subject)
        ask(cast, cast.subject, "granted")  # answered or not
    with pytest.raises(Refused, match="5 uses today"):
        caps.asking_uses(cast.sitting, cast.subject)
    caps.asking_uses(cast.sitting, cast.representation)
    caps.asking_uses(cast.sitting, None)
    caps.asking_uses(make_cast("there").sitting, cast.subject)
    clock.passes(timedelta(days=1) - MOMENT)
    with pytest.raises(Refused):
        caps.asking_uses(cast.sitting, cast.subject)
    clock.passes(MOMENT)
    caps.asking_uses(cast.sitting, cast.subject)


@tables
def test_a_sitting_waits_for_so_many_answers_and_no_more(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(caps, "USES_OPEN", 3)
    for state in ("asked", "asked", "granted", "refused"):
        ask(cast, cast.representation, state)
    caps.asking_uses(cast.sitting, cast.subject)
    last = ask(cast, None)
    for asker in (cast.subject, None):
        with pytest.raises(Refused, match="3 requests wait"):
            caps.asking_uses(cast.sitting, asker)
    UsageRequest.objects.filter(pk=last.pk).update(state="refused")
    caps.asking_uses(cast.sitting, cast.subject)


# The networks by RFC 5737 and RFC 3849, which are for examples; how much is kept is our own choice.
@pytest.mark.parametrize(
    ("address", "kept"),
    [
        ("192.0.2.255", "192.0.2.0/24"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1::/48"),
        ("fe80::1%eth0", "fe80::/48"),
        ("::ffff:192.0.2.1", "192.0.2.0/24"),  # as a socket of both kinds writes it (RFC 4291, 2.5.5.2)
        ("::1", "::/48"),
        ("", ""),
        ("unix:", ""),
        ("192.0.2", ""),
        ("192.0.2.1:8080", ""),
    ],
)
def test_of_an_address_the_network_is_kept(address: str, kept: str) -> None:
    assert sign_ins.shortened(address) == kept


@tables
def test_what_is_typed_as_a_name_is_kept_only_when_somebody_has_it(cast: Cast) -> None:
    sign_ins.note_failed(cast.owner.username, address="192.0.2.7")
    sign_ins.note_failed("my password", address="")
    known, unknown = JournalLine.objects.order_by("pk")
    assert (known.verb, known.who, known.thing) == ("sign-in failed", "nobody", cast.owner.username)
    assert known.detail == {"network": "192.0.2.0/24", "account": cast.owner.pk}
    assert (unknown.thing, unknown.detail) == ("", {"network": ""})


@pytest.mark.parametrize("second", [True, False])
@tables
def test_who_came_in_stands_there_with_how(cast: Cast, second: bool) -> None:
    sign_ins.note(cast.owner, address="192.0.2.7", second_factor=second)
    line = JournalLine.objects.get()
    assert (line.verb, line.who, line.thing) == ("signed in", "Tamsin (photographer)", cast.owner.username)
    assert line.detail == {"account": cast.owner.pk, "network": "192.0.2.0/24", "second_factor": second}
    assert line.sitting is None


@tables
def test_an_account_reads_its_own_lines_the_newest_first(cast: Cast) -> None:
    sign_ins.note(cast.owner, address="192.0.2.7", second_factor=False)
    sign_ins.note(cast.colleague, address="192.0.2.7", second_factor=False)
    sign_ins.note_failed(cast.owner.username, address="")
    sign_ins.note_failed("nobody", address="")
    JournalLine.write(cast.sitting, "w", JournalLine.objects.order_by("pk")[0].verb, account=cast.owner.pk)
    assert [line.verb for line in sign_ins.about_account(cast.owner)] == ["sign-in failed", "signed in"]
    assert sign_ins.about_account(User(pk=0)).count() == 0


@tables
def test_the_other_sessions_of_one_account_end(cast: Cast) -> None:
    mine, other, theirs = (cast.client_of(one) for one in (cast.owner, cast.owner, cast.colleague))
    invited = cast.client_of(cast.subject)
    keys = [client.session.session_key for client in (mine, other, theirs, invited)]
    assert sessions.end_others(cast.owner, keys[0]) == 1
    left = set(Session.objects.values_list("session_key", flat=True))
    assert left & {*keys} == {keys[0], keys[2], keys[3]}
    assert sessions.end_others(cast.owner) == 1
    assert sessions.end_others(cast.owner) == 0
    assert Session.objects.filter(session_key__in=keys[2:]).count() == 2


@pytest.mark.timeout(120)
def test_a_name_without_end_is_read_once() -> None:
    """From each of 10,000 letters it was read anew, for a second; 5 MB of a form would have held the site for days."""
    caps.plain_name("a" * 5_000_000)
    with pytest.raises(BadInput, match="without any address"):
        caps.plain_name("a" * 5_000_000 + ".example")
