"""Every address of a sitting × every kind of person × own and foreign sitting × stage × method, on rows that exist.

The two tables below are what is expected; everything else is refused. A cell is one request. Pages are not rendered
(their templates have tests of their own): the question here is only who comes in.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from functools import partial
from importlib import import_module
from typing import Any, ClassVar

import pytest
from django.contrib.auth.models import AnonymousUser, User
from django.contrib.messages.storage.cookie import CookieStorage
from django.contrib.sessions.backends.signed_cookies import SessionStore
from django.db import transaction
from django.http import HttpRequest, HttpResponseBase
from django.template import loader
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from galleries import storage
from galleries.models import Day, Delivery, Invite, Sitting, UsageRequest
from galleries.papers.statement import Listed
from galleries.steps.delivering import licences, package, sizes
from galleries.web import faults  # noqa: F401 - it binds the loader when it is loaded: before that is replaced
from tests.cast import Cast, body_of, make_cast
from tests.statements import a_sheet
from tests.web.invitee.sheets import picture, proved
from tests.web.test_url_map import OURS

STAGES = {"p": "planning", "r": "proofing", "a": "agreeing", "f": "finishing", "d": "delivered", "x": "archived"}
ROLES = (
    *("photographer", "colleague", "foreign photographer"),
    *("subject", "representation", "assistant", "recipient", "retoucher", "stranger", "revoked invite"),
)
INVITED = ("subject", "representation", "assistant", "recipient")
METHODS = ("get", "head", "post", "put")
ALL = "prafdx"

# Address: what it takes, then the stages in which it opens, by the letters above. The studio's people are the
# photographer and the colleague let in; they look at invitees' pages, but do not give an invitee's own word.
#                     takes          studio  subject  represent. assistant recipient
INVITEE_PAGES = {
    "sitting":        ("get",        "prafd", ALL, "prafd", "prafd", "prafd"),
    "plan":           ("get post",   ALL, "prafd", "prafd", "prafd", ""),
    "deadlines":      ("get",        ALL, "prafd", "prafd", "prafd", ""),
    "reference":      ("get",        ALL, "prafd", "prafd", "prafd", ""),
    "sheet":          ("get",        ALL, "rafd", "rafd", "rafd", ""),
    "marks":          ("get post",   ALL, "rafd", "rafd", "rafd", ""),
    "changes":        ("get",        ALL, "rafd", "rafd", "rafd", ""),
    "remarks":        ("get post",   ALL, "rafd", "rafd", "rafd", ""),
    "compare":        ("get post",   ALL, "rafd", "rafd", "rafd", ""),
    "as-casting":     ("get",        ALL, "rafd", "rafd", "rafd", ""),
    "lists":          ("get post",   ALL, "", "rafd", "", ""),
    "objection":      ("get post",   "", "fd", "", "", ""),
    "done":           ("post",       "", "ra", "ra", "", ""),
    "look-say":       ("post",       "", "ra", "", "", ""),
    "kept-back":      ("get post",   "", "rafd", "", "", ""),
    "pass-on":        ("get post",   "", "", "prafd", "", ""),
    "finals":         ("get",        ALL, "fd", "fd", "fd", ""),
    "final":          ("get post",   ALL, "fd", "fd", "fd", ""),
    "version-picture": ("get",       ALL, "fd", "fd", "fd", ""),
    "delivery":       ("get",        ALL, "fd", "fd", "", "fd"),
    "accept-licence": ("post",       "", "fd", "fd", "", "fd"),
    "passcode":       ("post",       ALL, "fd", "fd", "", "fd"),
    "archive":        ("get",        ALL, "fd", "fd", "", "fd"),
    "delivery-paper": ("get",        ALL, "fd", "fd", "", "fd"),
    "for-use":        ("get",        ALL, "fd", "fd", "", "fd"),
    "delivered-file": ("get",        ALL, "fd", "fd", "", "fd"),
    "file-picture":   ("get",        ALL, "fd", "fd", "", "fd"),
    "own-copy":       ("get",        ALL, ALL, "", "", ""),
    "own-copy-archive": ("get",      ALL, ALL, "", "", ""),
    "statement":      ("get",        ALL, "rafd", "rafd", "", ""),
    "statement-file": ("get",        ALL, "rafd", "rafd", "", ""),
    "ask-use":        ("post",       "", "fd", "fd", "", "fd"),
    "proof-picture":  ("get",        ALL, "rafd", "rafd", "rafd", ""),
    "view-picture":   ("get",        ALL, "", "", "", ""),
    "original":       ("get",        ALL, "", "", "", ""),
    "opinions":       ("get post",   "", "rafd", "rafd", "", ""),
    "retouching":     ("get",        ALL, "", "", "", ""),
    "accept-terms":   ("post",       "", "", "", "", ""),
    "retouch-archive": ("get",       ALL, "", "", "", ""),
    "retouch-original": ("get",      ALL, "", "", "", ""),
    "retouch-picture": ("get",       ALL, "", "", "", ""),
    "retouch-version": ("get",       ALL, "", "", "", ""),
    "retouch-known":  ("post",       ALL, "", "", "", ""),
    "retouch-file":   ("put",        ALL, "", "", "", ""),
    "retouch-parts":  ("get post",   ALL, "", "", "", ""),
    "retouch-part":   ("post",       ALL, "", "", "", ""),
    "retouch-join":   ("post",       ALL, "", "", "", ""),
}  # fmt: skip
# What opens for a retoucher, and when: the way in and their own pages, nothing else.
RETOUCHERS = {name: "fd" for name in ("sitting", *INVITEE_PAGES) if name == "sitting" or "retouch" in name} | {
    "accept-terms": "fd"
}
# The studio's pages: what each takes. They open for the studio's people at every stage, and for nobody else at any.
GETS = """sitting reference journal upload refusals desk desk-data eyes set set-news contact setup gel people lists
agreed lists-news finals final version-view stray-picture version-picture version-file crops crop-source crop-preview
crop-paper delivery-progress archive delivery-paper delivered-file usage work own-copy-archive
statement-file letters letter day day-slates day-slate day-list"""
POSTS = """publish look-add look-remove say reference-add reference-remove upload-known part parts-join
refusals-clear desk-act set-look
look-copy sitting-copy team invite invite-letter invite-link invite-revoke invite-prolong invite-pass-on close reopen
objection-end retouch-known retouch-part retouch-parts retouch-join finals-act stray-settle
stray-drop brief note-done version-made crop-set lab-profile prepare delivery-change
usage-answer extras-paid remind work-again letter-link letter-again day-sitters day-back day-show day-remind"""
STUDIO_PAGES = {
    **{f"studio-{name}": "get" for name in GETS.split()},
    **{f"studio-{name}": "post" for name in POSTS.split()},
    **{
        f"studio-{name}": "get post"
        for name in (
            "settings",
            "extras",
            "parts",
            "retouch-parts",
            "keeping",
            "day-frames",
            "own-copies",
            "look",
            "licence",
            "as-it-is",
            "send-retouches",
            "crop-sheet",
            "delivery",
        )
    },
    **{f"studio-{name}": "put" for name in ("upload-file", "retouch-file")},
}
# Addresses of no sitting: tests/web/test_entrance.py and tests/web/studio/test_sizes.py and
# test_account.py and test_second_factor.py and test_own.py are about them.
OF_NO_SITTING = {
    *(
        "open-opinion",
        "second-opinion",
        "opinion-picture",
    ),  # by a link of their own: tests/web/invitee/test_opinions.py
    *("front", "open-invite", "open-sign-in", "sign-in", "upkeep-sign-in", "ask-link", "desk", "leave", "language"),
    *(
        "outbox-worker",
        "words-worker",
        "studio",
        "studio-deadlines",
        "studio-due",
        "new-sitting",
        "new-day",
        "studio-sizes",
        "studio-size-new",
        "studio-size",
        "studio-size-copy",
    ),
    *("studio-own", "studio-own-data", "studio-own-stamp", "studio-own-stamp-progress", "studio-own-beginnings"),
    "studio-own-cautions",
    *("logo", "studio-own-logo", "studio-own-clauses", "studio-own-stamp-sample"),
    *("certificate", "studio-own-extras", "studio-own-signing", "studio-file"),
    *("studio-own-mail", "studio-colleague-invite", "studio-colleague"),
    *("studio-size-retire", "account", "account-data", "account-password"),
    *("second-step", "second-factor", "second-factor-begin", "second-factor-confirm", "second-factor-codes"),
    *("second-factor-remove", "second-factor-leave", "second-factor-passkey", "second-factor-passkey-ask"),
    *("second-step-ask", "sessions", "not-me", "send-invite-again", "session-end", "sessions-end-others"),
}
# These look at the method before they look for the sitting; the others hear who asks first.
METHOD_FIRST = {"sitting", "proof-picture", "view-picture", "original"}
# Let in, and then told by the verb (not by the door) that there is nothing for them to do or see here now.
TOLD_INSIDE = {
    "sitting": {403},  # a photographer is sent to the sheet, an archived sitting says so
    "final": {403},  # a POST says approve, send back or pin; each asks for itself
    "marks": {403, 404},
    "compare": {403},
    "lists": {403},
    "archive": {403},
    "delivered-file": {403},
    "file-picture": {403},
    "delivery-paper": {403},
    "for-use": {403},
    # While the subject may object, as here, nothing unstamped is handed out: tests/web/invitee/test_retouching.py.
    **{key: {403} for key in ("retouch-archive", "retouch-original", "retouch-picture", "retouch-version")},
    "opinions": {404},  # which was not said
    "accept-licence": {404},  # which licence was not said
    "statement-file": {404},  # it is the side's that is asked to pay
    "look-say": {404},  # nor which look
    "studio-crop-paper": {400},
    "studio-set-news": {204},
    "studio-lists-news": {204},
    "studio-agreed": {404},
    "studio-crop-sheet": {400},
    # Here files lie in no bucket.
    **{f"studio-{key}": {404} for key in ("part", "parts-join", "retouch-part", "retouch-join")},
    **{key: {404} for key in ("retouch-part", "retouch-join")},
}


DRAWN = (
    *(
        ("steps.sorting.loupe", "eyes"),
        ("steps.delivering.cut", "preview"),
    ),
    *(("steps.delivering.cut", "preview_sheet"), ("steps.sorting.contact", "contact_sheet_pdf")),
    ("imaging.contained.door", "make_view"),
    ("papers.slate", "pages"),
)


def test_every_address_stands_in_one_table() -> None:
    named = [*INVITEE_PAGES, *STUDIO_PAGES, *OF_NO_SITTING]
    assert len(named) == len(set(named))
    assert set(named) == {pattern.name for _address, pattern in OURS}


# --- the rows ---


class Place:
    """A sitting with one of each thing, and who may come into it."""

    def __init__(self, slug: str) -> None:
        self.cast = cast = make_cast(slug)
        Sitting.objects.filter(pk=cast.sitting.pk).update(
            subject_chooses_looks=True, representation_approves=True, held_on=date(2026, 5, 4)
        )
        cast.sitting.refresh_from_db()
        cast.sitting.colleagues.add(cast.colleague)
        cast.representation.may_pass_on = True
        cast.representation.save()
        self.assistant = self.invited("assistant", "Ines Maro", "ines@maro.example")
        self.retoucher = cast.retoucher()
        self.revoked = self.invited("representation", "Iza Morell", "iza@morell.example")
        Invite.objects.filter(pk=self.revoked.pk).update(revoked_at=timezone.now())
        self.things = self.made(cast)

    def invited(self, role: str, name: str, email: str) -> Invite:
        return Invite.objects.create(
            sitting=self.cast.sitting, role=role, name=name, email=email, expires_at=timezone.now() + timedelta(days=9)
        )

    def made(self, cast: Cast) -> dict[str, Any]:
        sitting, store = cast.sitting, storage.private()
        sitting.rounds.update(objection_until=timezone.now() + timedelta(hours=9))
        look = cast.look()
        frame = proved(cast, 1, look, reading=None, width=60, height=90)
        small = picture(60, 90)
        keys = {name: f"sittings/{sitting.uid.hex}/{name}" for name in ("v.jpg", "f.jpg", "a.zip", "r.jpg", "own.zip")}
        for key in (frame.key, *keys.values()):
            storage.put(store, key, small)
        storage.put(storage.proofs(), keys["v.jpg"], small)
        final = sitting.finals.create(frame=frame, round=sitting.rounds.get(), state="shown")
        version = final.versions.create(
            number=1, sha256="a" * 64, key=keys["v.jpg"], name="n.jpg", bytes=1, width=60, height=90,
            proof_key=keys["v.jpg"], sent_at=timezone.now(), invite=self.retoucher,
        )  # fmt: skip
        size = sizes.offered()[0]
        licence = licences.compose(sitting, licences.draft(sitting), cast.as_owner)
        for person in (cast.subject, cast.representation, cast.recipient):
            licence.acceptances.create(invite=person, name=person.name)
        delivery = sitting.deliveries.create(
            number=1, licence=licence, sizes={size.slug: sizes.numbers(size)}, state=Delivery.State.READY,
            archive_key=keys["a.zip"], archive_name="a.zip", archive_sha256="c" * 64, archive_bytes=len(small),
            ready_at=timezone.now(),
        )  # fmt: skip
        file = delivery.files.create(
            final=final, size_slug=size.slug, name="f.jpg", key=keys["f.jpg"], sha256=f"{sitting.pk:064x}",
            bytes=len(small), width=60, height=90,
        )  # fmt: skip
        own_copy = sitting.own_copies.create(
            invite=cast.subject, state="ready", archive_key=keys["own.zip"], archive_name="own.zip",
            archive_sha256="d" * 64, archive_bytes=len(small), expires_at=timezone.now() + timedelta(days=9),
        )  # fmt: skip
        sheet = a_sheet(sitting.pk, [Listed("0001", "KAL_0001.JPG", True, "both")])
        sitting.statements.create(
            round=sitting.rounds.get(), number=sheet.number, payer="subject", content=sheet.as_dict()
        )
        day = Day.objects.create(name="Kestrel School", holding=sitting)
        day.sitters.create(sitting=sitting, position=sitting.pk)
        return {
            "number": sheet.number, "file": 1,
            "slug": sitting.slug, "position": sitting.pk,
            "frame_id": frame.pk, "version": frame.proofs.get().pk, "look_id": look.pk,
            "reference_id": sitting.references.create(key=keys["r.jpg"], brought_by="Ansa Veld").pk,
            "invite_id": cast.recipient.pk, "final_id": final.pk, "version_id": version.pk, "file_id": file.pk,
            "stray_id": sitting.strays.create(sha256="b" * 64, key=keys["v.jpg"], name="n", bytes=1).pk,
            "note_id": final.pinned_notes.create(x=0, y=0, text="t", who="w").pk, "delivery_id": delivery.pk,
            "size": size.slug, "use": size.use, "copy_id": own_copy.pk,
            "letter_id": sitting.letters.create(invite=cast.subject, kind="proofs", to=cast.subject.email).pk,
            "request_id": UsageRequest.objects.create(sitting=sitting, invite=cast.subject, who="w", use="poster").pk,
        }  # fmt: skip

    def person(self, role: str, elsewhere: Place) -> User | Invite | None:
        people: dict[str, User | Invite | None] = {
            "photographer": self.cast.owner, "colleague": self.cast.colleague,
            "foreign photographer": elsewhere.cast.owner, "subject": self.cast.subject,
            "representation": self.cast.representation, "assistant": self.assistant, "recipient": self.cast.recipient,
            "retoucher": self.retoucher, "stranger": None, "revoked invite": self.revoked,
        }  # fmt: skip
        return people[role]


class Entered:
    """In place of the middleware that reads a session from the database: whoever the request says has come in.
    Sessions, tokens and their ends are tried in tests/web/test_entrance.py."""

    people: ClassVar[dict[str, User | Invite | None]] = {}

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        person = self.people[request.headers["X-Role"]]
        request.session = SessionStore()
        request.user = person if isinstance(person, User) else AnonymousUser()
        if isinstance(person, Invite):
            request.session["invites"] = {str(person.sitting_id): person.pk}
        request._messages = CookieStorage(request)  # type: ignore[attr-defined]
        return self.get_response(request)


KIND = {"proof-picture": "small", "studio-agreed": "txt", "statement-file": "csv", "studio-statement-file": "csv"}
CONVERTERS = {pattern.name: (address, pattern) for address, pattern in OURS}


def parts_of(name: str) -> set[str]:
    address, pattern = CONVERTERS[name]
    return set(pattern.pattern.converters) | ({"slug"} if "slug" in address else set())


def address(name: str, slug: str, things: dict[str, Any]) -> str:
    values = {**things, "slug": slug, "kind": KIND.get(name, ""), "which": "picture", "name": "licence.pdf"}
    return reverse(name, kwargs={part: values[part] for part in parts_of(name)})


def opens(name: str, role: str, stage: str) -> bool:
    """The tables, read out."""
    studio = role in {"photographer", "colleague"}
    if name in STUDIO_PAGES:
        return studio
    if role == "retoucher":
        return stage in RETOUCHERS.get(name, "")
    _takes, for_studio, *for_invitees = INVITEE_PAGES[name]
    invitees = dict(zip(INVITED, for_invitees, strict=True))
    return stage in (for_studio if studio else invitees.get(role, ""))


def expected(name: str, role: str, stage: str, where: str, method: str) -> set[int]:
    """The statuses that a cell may have."""
    belongs = role in {"photographer", "colleague", "retoucher", *INVITED}
    signed_in = role in {"photographer", "colleague", "foreign photographer"}
    if name in STUDIO_PAGES and not signed_in:
        return {302}  # to the door, whatever is there
    takes = (STUDIO_PAGES[name] if name in STUDIO_PAGES else INVITEE_PAGES[name][0]).split()
    taken = method in takes or (method == "head" and "get" in takes)
    if where == "foreign" or not belongs:
        # The foreign photographer is at home in the foreign sitting.
        if where == "foreign" and role == "foreign photographer":
            return expected(name, "photographer", stage, "own", method)
        return {404} if taken or name not in METHOD_FIRST else {405}
    if not opens(name, role, stage):
        unseen = name in {"proof-picture", "view-picture", "original"}
        return ({404} if unseen else {403}) if taken or name not in METHOD_FIRST else {405}
    if not taken:
        return {405}
    if where == "crossed":  # one's own sitting in the address, a thing of another: there is no such thing
        return {404} if method in {"get", "head"} else {400, 403, 404, 409}
    inside = TOLD_INSIDE.get(name, set())
    return {200, 302} | inside if method in {"get", "head"} else {200, 201, 302, 400, 403, 409} | inside


def cells(stage: str, own: Place, elsewhere: Place) -> Iterator[tuple[str, str, str, str, str]]:
    """(address's name, where, role, method, path). The doors of the studio do not ask for the stage, so their addresses
    are tried at one stage, and the other stages with GET and POST; MATRIX=whole asks for every cell there is."""
    whole = stage == "d" or os.environ.get("MATRIX") == "whole"
    for name in (*INVITEE_PAGES, *(STUDIO_PAGES if whole else ())):
        ids = parts_of(name) - {"slug", "kind", "name", "version", "which"}
        for where in ("own", "foreign", *(["crossed"] if ids and "slug" in parts_of(name) else [])):
            things = own.things if where == "own" else elsewhere.things
            at = address(name, (elsewhere if where == "foreign" else own).things["slug"], things)
            for role in ROLES:
                for method in METHODS if whole else ("get", "post"):
                    yield name, where, role, method, at


def asked(client: Client, role: str, method: str, at: str, *, refused: bool) -> HttpResponseBase:
    """One request, after which all rows are as before: put back, or not touched where it must be refused."""
    ask = partial(getattr(client, method), at, headers={"X-Role": role})
    if refused:
        return ask()  # type: ignore[no-any-return]
    with transaction.atomic():
        answer: HttpResponseBase = ask()
        transaction.set_rollback(True)
    if answer.streaming:
        body_of(answer)
    return answer


@pytest.mark.django_db
@pytest.mark.parametrize("stage", STAGES)
def test_who_comes_in(stage: str, settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(loader, "render_to_string", lambda *_args, **_more: "")
    for module, makes in DRAWN:  # pixels and papers have tests of their own, too
        monkeypatch.setattr(import_module(f"galleries.{module}"), makes, lambda *_args, **_more: b"drawn")
    monkeypatch.setattr(package, "papers_by_name", lambda *_args: {"licence.pdf": b"%PDF"})
    sizes.load()
    own, elsewhere = Place("own-sitting"), Place("foreign-sitting")
    Sitting.objects.update(stage=STAGES[stage])
    monkeypatch.setattr(Entered, "people", {role: own.person(role, elsewhere) for role in ROLES})
    settings.MIDDLEWARE = ["tests.web.test_matrix.Entered", "galleries.web.errors.DomainErrors"]
    monkeypatch.setattr(logging.getLogger("django.request"), "disabled", True)  # thousands of refusals
    client = Client(raise_request_exception=False)
    wrong, tried = [], 0
    for name, where, role, method, at in cells(stage, own, elsewhere):
        want = expected(name, role, stage, where, method)
        answer = asked(client, role, method, at, refused=want <= {403, 404, 405} or want == {302})
        tried += 1
        door = answer.status_code == 302 and answer.headers["Location"].startswith("/sign-in")
        if answer.status_code not in want or door != (name in STUDIO_PAGES and want == {302}):
            wrong.append(f"{name} ({where}) {method.upper()} as {role}: {answer.status_code}, not {sorted(want)}")
    assert not wrong, f"{len(wrong)} of {tried} cells:\n" + "\n".join(wrong[:60])
    assert tried > (8000 if stage == "d" else 1000)
