"""Each verb by one table: who may do it and when, its line in the journal, its letters, and what a second time does.

A refusal changes no row of any table, and neither does a verb that breaks at its last stroke: the line of the journal
and the letters stand in its own transaction.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, models, transaction
from django.utils import timezone

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, DomainError, Missing, Refused
from galleries.models import (
    DeliverySize,
    Invite,
    JournalLine,
    Letter,
    Look,
    Sitting,
)
from galleries.models.retouchers import HOUSE_TERMS
from galleries.steps.agreeing import agree, extras, objection
from galleries.steps.delivering import cut, lab_profile, licences, offer, orders, payment, sizes, usage
from galleries.steps.finishing import approvals, notes, retoucher_terms, sending, source_type, versions
from galleries.steps.keeping import retention, unfinished
from galleries.steps.people import invite as invites
from galleries.steps.people import letters, remind
from galleries.steps.picking import kept, opinions, pick
from galleries.steps.planning import sitting_plan
from galleries.steps.sorting import boundaries, looks, take_back
from tests.cast import Cast, make_cast
from tests.statements import a_sheet
from tests.steps.test_every_verb_asks import ALL

pytestmark = pytest.mark.django_db

SUBJECT, AGENT, OWNER = "ansa@veld.example", "ruben@achterberg.example", "tamsin@northlight.example"
ASSISTANT, RECIPIENT = "mirre@solland.example", "desk@elsewhere.example"
RETOUCHER = "odile@brandt.example"
EVERYBODY = ("owner", "subject", "representation", "assistant", "recipient", "retoucher")
ANY = frozenset(Sitting.Stage.values)
SHOWN = frozenset({"proofing", "agreeing", "finishing", "delivered"})
PICKING, CLOSED = frozenset({"proofing", "agreeing"}), frozenset({"finishing", "delivered"})
PLANNED = SHOWN | {"planning"}


class World:
    """One sitting with something of everything. Each thing is loaded anew when it is asked for first."""

    def __init__(self, stage: str, cast: Cast | None = None) -> None:
        cast = self.cast = cast or make_cast(stage=stage)
        Sitting.objects.update(
            deadline=date(2099, 1, 2),
            subject_chooses_looks=True,
            representation_approves=True,
            send_at_once=False,
            print_profile_key="k",
        )
        until = timezone.now() + timedelta(days=9)
        assistant = cast.sitting.invites.create(
            role="assistant", name="Mirre Solland", email=ASSISTANT, expires_at=until
        )
        Invite.objects.filter(pk=cast.representation.pk).update(may_pass_on=True)
        linen, wool, bare, empty = (cast.look(title) for title in ("Linen", "Wool", "Bare", "Empty"))
        frames = [cast.frame(n, look) for n, look in enumerate((linen, linen, wool, bare, wool, wool), 1)]
        Look.objects.filter(pk=bare.pk).update(kept_from_representation=True, kept_by_subject=True)
        bare.frames.update(kept_by_subject=True)
        states = ("shown", "agreed", "as_it_is")
        round_ = cast.sitting.rounds.get()
        if stage in CLOSED | {"archived"}:
            closed_at = timezone.now()
            cast.sitting.rounds.update(closed_at=closed_at, objection_until=closed_at + timedelta(hours=9))
        finals = [
            cast.sitting.finals.create(frame=frame, round=round_, state=state, position=at)
            for at, (frame, state) in enumerate(zip((frames[0], frames[1], frames[2]), states, strict=True))
        ]
        out, waits = (
            final.versions.create(
                number=1, sha256=letter * 64, key="k", name="n.jpg", bytes=1, width=4000, height=6000, proof_key="p",
                sent_at=sent_at,
            )
            for final, letter, sent_at in zip(finals[:2], "ab", (timezone.now(), None), strict=True)
        )  # fmt: skip
        sizes.load()
        size = DeliverySize.objects.get(slug="web-square")
        licence = cast.sitting.licences.create(
            number=1, terms=_terms(cast), text="", created_at=timezone.now() - timedelta(days=1)
        )
        ready, made, failed, gone = (
            cast.sitting.deliveries.create(number=n, licence=licence, sizes={}, state=state, ready_at=sent_at)
            for n, (state, sent_at) in enumerate(
                (("ready", timezone.now()), ("made", None), ("failed", None), ("withdrawn", timezone.now())), 1
            )
        )
        for delivery in (ready, made):
            delivery.files.create(final=finals[2], size_slug="s", name="a.jpg", key="k", sha256="c" * 64, bytes=1)
        placed = {"frame_width": 4000, "frame_height": 6000}
        rows: dict[str, models.Model] = {
            "sitting": cast.sitting, "linen": linen, "wool": wool, "bare": bare, "empty": empty,
            "frame": frames[0], "second": frames[1], "third": frames[2], "kept_frame": frames[3], "fifth": frames[4],
            "shown_final": finals[0], "open_final": finals[1], "plain_final": finals[2], "out": out, "waits": waits,
            "note": finals[0].pinned_notes.create(x=0, y=0, text="t", who="w"),
            "size": size, "licence": licence, "ready": ready, "made": made, "failed": failed, "gone": gone,
            "crop": finals[2].crops.create(size=size, x=0, y=0, width=4000, height=4000, **placed),
            "stray": cast.sitting.strays.create(sha256="d" * 64, key="k", name="n", bytes=1),
            "reference": cast.sitting.references.create(key="k", brought_by="Ansa Veld"),
            "request": cast.sitting.usage_requests.create(invite=cast.subject, who="Ansa Veld", use="poster"),
            "opinion": cast.sitting.second_opinions.create(
                asked_by=cast.subject, name="Mar", token_hash=cast.sitting.slug
            ),
            "subject": cast.subject, "representation": cast.representation, "assistant": assistant,
            "recipient": cast.recipient, "retoucher": cast.retoucher(accepted=False), "owner": cast.owner,
        }  # fmt: skip
        before = cast.sitting.rounds.create(number=0, closed_at=timezone.now())
        rows["statement"] = cast.sitting.statements.create(
            round=before, number=9000 + cast.sitting.pk, payer="subject", content=a_sheet().as_dict()
        )
        self.rows = {name: (type(row), row.pk) for name, row in rows.items()}
        cast.sitting.jobs.create(kind="proof", thing=frames[0].pk, state="failed")
        looks.move_frames(cast.sitting, [frames[5].pk], wool, cast.as_owner)

    @classmethod
    def beside(cls, stage: str) -> World:
        """A second sitting of the same photographer."""
        cast, first = make_cast("beside", stage), Sitting.objects.order_by("pk").first()
        assert first is not None
        Sitting.objects.filter(pk=cast.sitting.pk).update(photographer=first.photographer)
        return cls(stage, cast)

    def fresh(self) -> Fresh:
        return Fresh(self.rows)


def _terms(cast: Cast) -> Any:
    return json.loads(licences.draft(cast.sitting).to_json())


class Fresh:
    """The rows of a world by name, as a new request finds them."""

    def __init__(self, rows: dict[str, tuple[type[models.Model], int]]) -> None:
        self._rows = rows

    def __getattr__(self, name: str) -> Any:
        model, pk = self._rows[name]
        row = model._default_manager.get(pk=pk)
        setattr(self, name, row)
        return row

    def visitor(self, role: str) -> Visitor:
        return Visitor(user=self.owner) if role == "owner" else Visitor(invite=getattr(self, role))

    @cached_property
    def all_looks(self) -> list[int]:
        return list(self.sitting.looks.values_list("pk", flat=True))


@dataclass(frozen=True)
class Case:
    """What one verb does when `who[0]` calls it in `at`: the journal's verbs and the letters (kind, address).

    `second`: what the same call does afterwards: an error, 'same' (as the first time), or 'nothing' (no row changes but
    what counts a visit). `stages` are all in which each of `who` may call it.
    """

    verb: str
    do: Callable[[Fresh, Visitor], object]
    lines: tuple[str, ...]
    who: tuple[str, ...] = ("owner",)
    at: str = "finishing"
    stages: frozenset[str] = ANY
    letters: frozenset[tuple[str, str]] = frozenset()
    second: type[DomainError] | str = "same"
    also: tuple[str, ...] = ()  # may too, and something else comes of it: another row


def told(kind: str, *people: str) -> frozenset[tuple[str, str]]:
    return frozenset((kind, person) for person in people)


SIDES = ("subject", "representation")
SEATED = (*SIDES, "assistant")
FETCHERS = (*SIDES, "recipient")
CASES = (
    # the plan
    Case("planning.sitting_plan.edit_sitting", lambda w, by: sitting_plan.edit_sitting(w.sitting, by, title="Autumn"),
         ("settings changed",), second="nothing"),
    Case("planning.sitting_plan.comment", lambda w, by: sitting_plan.comment(by, w.sitting, "Bring the blue one"),
         ("plan commented",), ("owner", *SEATED), at="planning", stages=PLANNED),
    Case("planning.sitting_plan.remove_reference", lambda w, by: sitting_plan.remove_reference(by, w.reference),
         ("reference removed",), ("owner", "subject"), at="planning", stages=PLANNED, second=DomainError),
    # looks
    Case("sorting.looks.new_look", lambda w, by: looks.new_look(w.sitting, "Coat", by), ("look added",)),
    Case("sorting.looks.edit_look", lambda w, by: looks.edit_look(w.linen, by, title="Flax"), ("look changed",)),
    Case("sorting.looks.accept", lambda w, by: looks.accept(w.linen, by), ("look accepted",)),
    Case("sorting.looks.reorder", lambda w, by: looks.reorder(w.sitting, w.all_looks[::-1], by), ("looks reordered",)),
    Case("sorting.looks.move_frames", lambda w, by: looks.move_frames(w.sitting, [w.frame.pk], w.wool, by),
         ("frames moved",)),
    Case("sorting.looks.set_hidden", lambda w, by: looks.set_hidden(w.sitting, [w.frame.pk], True, by),
         ("frames hidden",)),
    Case("sorting.looks.set_suggested", lambda w, by: looks.set_suggested(w.sitting, [w.frame.pk], True, by),
         ("frames suggested",)),
    Case("sorting.looks.split", lambda w, by: looks.split(w.fifth, "Late", by), ("look split",), second=BadInput),
    Case("sorting.looks.merge", lambda w, by: looks.merge(w.linen, w.wool, by), ("looks merged",), second=DomainError),
    Case("sorting.looks.remove_look", lambda w, by: looks.remove_look(w.empty, by), ("look removed",),
         second=DomainError),
    Case("sorting.looks.start_look_on_set", lambda w, by: looks.start_look_on_set(w.sitting, "Coat", by),
         ("look added", "look started")),
    Case("sorting.looks.end_look_on_set", lambda w, by: looks.end_look_on_set(w.sitting, by), ("look ended",)),
    Case("sorting.take_back.undo", lambda w, by: take_back.undo(w.sitting, by), ("undone",), second=Conflict),
    Case("sorting.boundaries.move_start", lambda w, by: boundaries.move_start(w.wool, w.second, by),
         ("frames moved", "look accepted"), second="other"),
    Case("sorting.boundaries.take_away", lambda w, by: boundaries.take_away(w.wool, by), ("looks merged",),
         second=DomainError),
    # marks
    Case("picking.pick.set_mark", lambda w, by: pick.set_mark(by, w.frame.pk, kind="pick", act="one"), ("marked",),
         SIDES, at="proofing", stages=PICKING, second="nothing"),
    Case("picking.pick.set_order", lambda w, by: pick.set_order(by, w.sitting, [w.third.pk, w.frame.pk]), ("ranked",),
         SIDES, at="agreeing", stages=PICKING),
    Case("picking.pick.remark", lambda w, by: pick.remark(by, w.frame.pk, "Softer light here"), ("remarked",),
         ("owner", *SEATED), at="agreeing", stages=SHOWN),
    Case("picking.pick.say_done", lambda w, by: pick.say_done(by, w.sitting), ("through with marks", "stage"),
         ("subject",), at="proofing", stages=PICKING, letters=told("through", AGENT, OWNER), second="other",
         also=("representation",)),
    Case("picking.pick.say_done", lambda w, by: pick.say_done(by, w.sitting), ("through with marks",),
         ("representation",), at="proofing", stages=PICKING, also=("subject",)),
    Case("picking.kept.keep_look", lambda w, by: kept.keep_look(by, w.linen), ("look kept back",), ("subject",),
         at="proofing", stages=PICKING),
    Case("picking.kept.let_go", lambda w, by: kept.let_go(by, w.sitting, [w.kept_frame.pk], w.bare), ("look shown",),
         ("subject",), at="proofing", stages=SHOWN, second=DomainError),
    Case("picking.opinions.ask", lambda w, by: opinions.ask(w.sitting, by, "Lioba", [w.frame.pk]),
         ("second opinion asked for",), ("subject",), at="proofing", stages=PICKING),
    Case("picking.opinions.end", lambda w, by: opinions.end(w.opinion, by), ("second opinion ended",), ("subject",),
         at="proofing", stages=SHOWN, second="nothing"),
    Case("picking.opinions.remove", lambda w, by: opinions.remove(w.opinion, by), ("second opinion ended",),
         ("subject",), at="proofing", stages=SHOWN, second=DomainError),
    # the list
    Case("agreeing.agree.publish", lambda w, by: agree.publish(w.sitting, by, by_letter=True), ("proofs shown",),
         at="planning", stages=frozenset({"planning", "agreeing", "archived"}),
         letters=told("proofs", SUBJECT, AGENT, ASSISTANT), second=Conflict),
    Case("agreeing.agree.close", lambda w, by: agree.close(w.sitting, [w.third.pk, w.frame.pk], by),
         ("list closed", "statement issued"),
         ("representation", "owner"), at="agreeing", stages=PICKING,
         letters=told("closed", SUBJECT, AGENT, ASSISTANT, OWNER) | told("work", RETOUCHER), second=Refused),
    Case("agreeing.agree.reopen", lambda w, by: agree.reopen(w.sitting, by, "warmer ones"), ("list reopened",),
         stages=CLOSED, letters=told("paused", RETOUCHER), second=Conflict),
    Case("agreeing.objection.object_to_list", lambda w, by: objection.object_to_list(w.sitting, by, "the wool one"),
         ("objected",), ("subject",), stages=CLOSED,
         letters=told("objected", AGENT, ASSISTANT, OWNER) | told("paused", RETOUCHER), second=Refused),
    Case("agreeing.objection.end_time", lambda w, by: objection.end_time(w.sitting, by), ("objection time ended",),
         stages=CLOSED, second=Conflict),
    Case("agreeing.extras.set_own", lambda w, by: extras.set_own(w.sitting, by, "own", unit=4000, currency="EUR"),
         ("extras priced",)),
    Case("delivering.payment.say_paid", lambda w, by: payment.say_paid(w.statement, by), ("statement paid",),
         second=Conflict),
    Case("people.remind.remind", lambda w, by: remind.remind(w.sitting, by, "picks"), ("letter", "letter"),
         at="agreeing", stages=PICKING, letters=told("reminder", SUBJECT, AGENT), second=Conflict),
    # retouches
    Case("finishing.approvals.approve", lambda w, by: approvals.approve(w.out, by, w.out.sha256), ("version approved",),
         SIDES, stages=CLOSED),
    Case("finishing.approvals.send_back", lambda w, by: approvals.send_back(w.out, by, "less smoothing"),
         ("sent back",), (*SIDES, "owner"), stages=CLOSED, letters=told("returned", OWNER)),
    Case("finishing.approvals.deliver_as_it_is", lambda w, by: approvals.deliver_as_it_is(w.open_final, by),
         ("delivered as it is",), second=Conflict),
    Case("finishing.approvals.take_back", lambda w, by: approvals.take_back(w.plain_final, by),
         ("retouch after all",), second=Conflict),
    Case("finishing.notes.pin_note", lambda w, by: notes.pin_note(w.shown_final, by, 0.5, 0.5, text="the collar"),
         ("note pinned",), ("subject", "representation", "owner"), stages=CLOSED),
    Case("finishing.notes.settle_note", lambda w, by: notes.settle_note(w.note, by), ("note done",)),
    Case("finishing.notes.set_brief", lambda w, by: notes.set_brief(w.shown_final, by, "calm skin"),
         ("brief written",)),
    Case("finishing.notes.set_alt_text", lambda w, by: notes.set_alt_text(w.shown_final, by, "In a linen shirt"),
         ("description written",)),
    Case("finishing.sending.send", lambda w, by: sending.send(w.sitting, [w.waits.pk], by), ("version sent",),
         letters=told("retouch", SUBJECT, AGENT), second=BadInput),
    Case("finishing.retoucher_terms.accept",
         lambda w, by: retoucher_terms.accept(w.sitting, by, "Odile Brandt", HOUSE_TERMS),
         ("retoucher's terms accepted",), ("retoucher",), stages=CLOSED, second="nothing"),
    Case("finishing.source_type.declare", lambda w, by: source_type.declare(w.out, by, "algorithmicallyEnhanced"),
         ("retouch declared",)),
    Case("finishing.versions.drop_stray", lambda w, by: versions.drop_stray(w.stray, by), ("stray retouch dropped",),
         stages=CLOSED, second=DomainError),
    # crops and deliveries
    Case("delivering.cut.propose", lambda w, by: cut.propose(w.shown_final, [w.size], by), ("crops proposed",),
         second="nothing"),
    Case("delivering.cut.adjust", lambda w, by: cut.adjust(w.crop, by, 10, 10, 3000, 3000), ("crop set",)),
    Case("delivering.cut.back_to_proposal", lambda w, by: cut.back_to_proposal(w.crop, by), ("crops proposed",)),
    Case("delivering.lab_profile.take_back", lambda w, by: lab_profile.take_back(w.sitting, by),
         ("lab profile taken back",)),
    Case("delivering.licences.compose", lambda w, by: licences.compose(w.sitting, licences.draft(w.sitting), by),
         ("licence written",)),
    Case("delivering.licences.accept", lambda w, by: licences.accept(w.licence, by, "Ansa Veld"),
         ("licence accepted",), FETCHERS, stages=CLOSED, second="nothing"),
    Case("delivering.orders.prepare",
         lambda w, by: orders.prepare(w.sitting, [w.size], w.licence, by, partial=True),
         ("crops proposed", "delivery asked for"), stages=CLOSED, second=Conflict),
    Case("delivering.offer.send", lambda w, by: offer.send(w.made, by), ("delivery ready",),
         letters=told("delivery", SUBJECT, AGENT, RECIPIENT), second=Conflict),
    Case("delivering.offer.try_again", lambda w, by: offer.try_again(w.failed, by), ("delivery tried again",),
         second="nothing"),
    Case("delivering.offer.withdraw", lambda w, by: offer.withdraw(w.ready, by), ("delivery withdrawn",),
         second=Conflict),
    Case("delivering.offer.offer_again", lambda w, by: offer.offer_again(w.gone, by, 30), ("delivery offered again",)),
    Case("delivering.usage.ask", lambda w, by: usage.ask(w.sitting, by, "book"), ("use asked for",), FETCHERS,
         stages=CLOSED, letters=told("usage", OWNER), second=Conflict),
    Case("delivering.usage.grant", lambda w, by: usage.grant(w.request, by), ("use granted",),
         letters=told("usage", SUBJECT), second=Conflict),
    Case("delivering.usage.refuse", lambda w, by: usage.refuse(w.request, by, "not for goods"), ("use refused",),
         letters=told("usage", SUBJECT), second=Conflict),
    # keeping
    Case("keeping.retention.keep_until", lambda w, by: retention.keep_until(w.sitting, by, date(2031, 1, 31)),
         ("kept until",)),
    Case("keeping.retention.put_away", lambda w, by: retention.put_away(w.sitting, by), ("put away",),
         stages=ANY - {"archived"}, second=Conflict),
    Case("keeping.retention.bring_back", lambda w, by: retention.bring_back(w.sitting, by), ("brought back",),
         at="archived", stages=frozenset({"archived"}), second=Conflict),
    Case("keeping.unfinished.try_again", lambda w, by: unfinished.try_again(w.sitting, by), ("work asked for again",),
         second="nothing"),
    # people
    Case("people.invite.invite",
         lambda w, by: invites.invite(w.sitting, "assistant", "Iza Morell", "iza@morell.example", by, by_letter=True),
         ("invited", "letter"), letters=told("invitation", "iza@morell.example"), second=Conflict),
    Case("people.invite.revoke", lambda w, by: invites.revoke(w.representation, by), ("invite revoked",)),
    Case("people.invite.prolong", lambda w, by: invites.prolong(w.representation, 30, by), ("invite prolonged",)),
    Case("people.invite.allow_pass_on", lambda w, by: invites.allow_pass_on(w.representation, False, by),
         ("passing on stopped",)),
    Case("people.invite.pass_on", lambda w, by: invites.pass_on("Pia Sorn", "pia@achterberg.example", by),
         ("invited", "letter"), ("representation",), at="proofing", stages=PLANNED,
         letters=told("invitation", "pia@achterberg.example") | told("passed", OWNER), second=Conflict),
    Case("people.letters.invite_by_letter", lambda w, by: letters.invite_by_letter(w.assistant, by), ("letter",),
         letters=told("invitation", ASSISTANT), second="other"),
)  # fmt: skip
# Verbs that are not in the table, or whole modules of them, and why.
ELSEWHERE = {
    "agreeing.agree.tally": "reads", "agreeing.agree.not_on_list": "reads", "agreeing.agree.listed_for": "reads",
    "agreeing.objection.left_out": "reads", "agreeing.rounds.open_again": "what reopen and object_to_list hang on",
    "delivering.offer.check_fetch": "reads", "delivering.by_use.bundle": "reads",
    "picking.kept.held": "reads", "picking.pick.count": "reads",
    "delivering.cut.preview_sheet": "reads", "sorting.contact.contact_sheet": "reads",
    "delivering.cut.adopt": "tests/steps/delivering/test_cut.py: crops of the same shape",
    "days.placing": "of a day: tests/steps/days/test_placing.py", "days.showing": "tests/steps/days/test_showing.py",
    "days.planning": "tests/steps/days/test_showing.py", "days.arranging": "reads: tests/steps/days/test_placing.py",
    "arrivals": "into a bucket: tests/browser/test_grown.py",
    "planning.team": "tests/web/studio/test_people.py",
    "planning.again": "copies: tests/web/studio/test_sittings.py",
    "finishing.batch": "on several finals: tests/web/studio/test_finals.py",
    "delivering.licences.write": "what compose and grant hang on",
    "delivering.lab_profile.give": "needs a profile: tests/steps/delivering/test_lab_profile.py",
    "delivering.sizes.copy_size": "the studio's, no sitting's", "delivering.sizes.retire_size": "the studio's",
    "delivering.sizes.keep_size": "the studio's", "delivering.sizes.choose_usual": "the studio's",
    "people.studio": "the studio's: tests/web/studio/test_own.py",
    "people.mail_test": "the studio's: tests/steps/people/test_mail_test.py",
    "people.colleagues": "the studio's: tests/steps/people/test_colleagues.py",
    **dict.fromkeys(("people.account", "people.second_factor", "people.passkeys"), "an account's, no sitting's"),
    "people.openings": "links and browsers: tests/web/test_links.py",
    "ingesting.reading_anew": "needs an older reading: tests/steps/sorting/test_ranges.py",
    "agreeing.extras.set_usual": "the studio's: tests/steps/agreeing/test_extras.py",
    "agreeing.statements.read": "reads: tests/steps/agreeing/test_statements.py",
    "agreeing.statements.counted": "the same",
    "people.sessions": "an account's: tests/web/studio/test_sessions.py",
    "people.deadlines.of_person": "reads: tests/steps/people/test_deadlines.py",
    "people.outbox": "letters that went before: tests/web/studio/test_letters.py",
    "keeping.own_copy": "made by the worker: tests/steps/keeping/test_own_copy.py",
    "demo.demo_sitting.bring_in": "the demo's", "demo.demo_sitting.invited": "the demo's",
    "demo.rehearse.send_retouches": "the demo's", "demo.rehearse.retouch": "the demo's",
    "picking.opinions.picks_of": "reads", "picking.opinions.shown_in": "reads", "picking.opinions.read_by": "reads",
    "picking.opinions.say": "by its own link, and no line of the journal: tests/web/invitee/test_opinions.py",
    "picking.opinions.let_representation": "between the two, and no line: tests/web/invitee/test_opinions.py",
    "finishing.originals": "files and receipts: tests/web/invitee/test_retouching.py",
    "finishing.versions.add_retouch": "needs pictures: tests/steps/finishing/test_finish.py",
    "finishing.versions.check_sending": "changes nothing: tests/browser/test_grown.py",
    "finishing.versions.settle_stray": "needs pictures: tests/steps/finishing/test_finish.py",
    "ingesting.ingest.add_frame": "needs pictures: tests/steps/ingesting", "ingesting.ingest.add_folder": "the same",
    "ingesting.ingest.take_names": "of what came before: tests/steps/ingesting/test_ingest_rules.py",
    "planning.sitting_plan.add_reference": "needs pictures: tests/web/invitee/test_plan.py",
    "keeping.archive_file.write": "writes a file: tests/steps/keeping/test_retention.py",
    "keeping.downloads.note": "what a page of the studio handed out: tests/web/test_downloads.py",
    "keeping.erase.erase": "works in two strokes: tests/steps/keeping/test_retention.py",
    "picking.pick.take_acts": "what set_mark does, for many", }  # fmt: skip


def state() -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table of ours."""
    return {
        model.__name__: list(model._base_manager.order_by("pk").values_list())
        for model in apps.get_app_config("galleries").get_models()
    }


def writes() -> int:
    """How many rows this connection has written so far, where the database counts them; -1 where it does not."""
    return getattr(connection.connection, "total_changes", -1)


def unchanged(before: dict[str, list[tuple[Any, ...]]], since: int) -> bool:
    """Is every row as it was? Nothing written since then is enough; what was written and taken back is looked at."""
    return writes() == since >= 0 or state() == before


@contextmanager
def undone_after() -> Iterator[None]:
    """What happens inside is as if it never had."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def attempt(case: Case, world: World, role: str) -> DomainError | None:
    """Call the verb as that person would on a new request: the error it refused with, or None."""
    fresh = world.fresh()
    try:
        case.do(fresh, fresh.visitor(role))
    except DomainError as error:
        return error
    except models.ObjectDoesNotExist as error:  # the row went with the first call: a page says so by itself
        return Missing(str(error))
    return None


def worlds(wanted: Callable[[Case], str]) -> Iterator[tuple[World, list[Case]]]:
    """A world per stage, with the cases that are to be tried in it; nothing of one is there in the next."""
    for stage in Sitting.Stage.values:
        cases = [case for case in CASES if wanted(case) == stage]
        if cases:
            with undone_after():
                yield World(stage), cases


def test_every_verb_is_in_the_table_or_named_as_tested_elsewhere() -> None:
    table = {case.verb for case in CASES}
    elsewhere = {verb for verb in ALL if verb in ELSEWHERE or verb.rpartition(".")[0] in ELSEWHERE}
    assert table | elsewhere == set(ALL)
    assert not table & elsewhere


def test_each_verb_writes_its_lines_lists_its_letters_and_leaves_other_sittings_alone() -> None:
    for world, cases in worlds(lambda case: case.at):
        ours = {name: {row[0] for row in rows} for name, rows in state().items()}
        World.beside(cases[0].at)
        others = [(name, row) for name, rows in state().items() for row in rows if row[0] not in ours[name]]
        lines, listed = JournalLine.objects.count(), set(Letter.objects.values_list("pk", flat=True))
        for case in cases:
            with undone_after():
                error = attempt(case, world, case.who[0])
                assert error is None, (case.verb, error)
                written = list(JournalLine.objects.order_by("pk")[lines:])
                assert [line.verb for line in written] == list(case.lines), case.verb
                name = world.fresh().visitor(case.who[0]).who
                assert {line.who for line in written} == {name}, case.verb
                found = Letter.objects.exclude(pk__in=listed)
                assert set(found.values_list("kind", "to")) == case.letters, case.verb
                assert found.count() == len(case.letters), case.verb
                after = state()
                assert [row for name, row in others if row not in after[name]] == [], case.verb
                waiting = world.cast.sitting.jobs.filter(kind="letter", state="waiting")
                assert set(waiting.values_list("thing", flat=True)) == set(found.values_list("pk", flat=True)), (
                    case.verb
                )


def test_each_verb_a_second_time() -> None:
    for world, cases in worlds(lambda case: case.at):
        lines = JournalLine.objects.count()
        for case in cases:
            with undone_after():
                assert attempt(case, world, case.who[0]) is None, case.verb
                before, letters_before = state(), Letter.objects.count()
                error = attempt(case, world, case.who[0])
                if isinstance(case.second, type):
                    assert isinstance(error, case.second), (case.verb, error)
                    assert state() == before, case.verb
                    continue
                assert error is None, (case.verb, error)
                if case.second == "nothing":
                    assert without_counts(state()) == without_counts(before), case.verb
                elif case.second == "same":
                    again = [line.verb for line in JournalLine.objects.order_by("pk")[lines:]]
                    assert again == list(case.lines) * 2, case.verb
                    assert Letter.objects.count() == letters_before, case.verb


def without_counts(rows: dict[str, list[tuple[Any, ...]]]) -> dict[str, list[tuple[Any, ...]]]:
    """Without sittings (whose `change` counts) and the moments of letters' jobs."""
    return {name: found for name, found in rows.items() if name != "Sitting"}


def test_nobody_else_may_and_a_refusal_changes_nothing() -> None:
    for world, cases in worlds(lambda case: case.at):
        before = state()
        for case in cases:
            for role in EVERYBODY:
                with undone_after():
                    since = writes()
                    error = attempt(case, world, role)
                    if role in (*case.who, *case.also):
                        assert error is None, (case.verb, role, error)
                    else:
                        assert isinstance(error, (Refused, Missing)), (case.verb, role, error)
                        assert unchanged(before, since), (case.verb, role)


SPOILT: dict[str, Callable[[int], object]] = {
    "a minor without consent": lambda _pk: Sitting.objects.update(subject_is_minor=True),
    "an invite taken back": lambda pk: Invite.objects.filter(pk=pk).update(revoked_at=timezone.now()),
    "an invite that ran out": lambda pk: Invite.objects.filter(pk=pk).update(expires_at=timezone.now()),
}


def test_nobody_invited_may_without_the_consent_for_a_minor_or_after_their_invite_ended() -> None:
    for world, cases in worlds(lambda case: case.at):
        for role in EVERYBODY[1:]:
            theirs = [case for case in cases if role in case.who]
            for why, spoil in SPOILT.items() if theirs else ():
                with undone_after():
                    spoil(world.rows[role][1])
                    before = state()
                    for case in theirs:
                        with undone_after():
                            since = writes()
                            error = attempt(case, world, role)
                            assert isinstance(error, (Refused, Missing)), (case.verb, role, why, error)
                            assert unchanged(before, since), (case.verb, role, why)


@pytest.mark.parametrize("stage", Sitting.Stage.values)
def test_each_verb_in_each_stage(stage: str) -> None:
    world = World(stage)
    before = state()
    for case in CASES:
        for role in case.who:
            with undone_after():
                since = writes()
                error = attempt(case, world, role)
                if stage in case.stages or (role == "owner" and case.verb in RUN_ANY_TIME):
                    assert error is None, (case.verb, role, error)
                else:
                    assert isinstance(error, DomainError), (case.verb, role)
                    assert unchanged(before, since), (case.verb, role)


# What the photographer may do whatever the stage, while others may only then.
RUN_ANY_TIME = {
    "planning.sitting_plan.comment", "planning.sitting_plan.remove_reference", "picking.pick.remark",
    "finishing.approvals.send_back", "finishing.notes.pin_note",
}  # fmt: skip


FOREIGN: dict[str, Callable[[Fresh, Fresh, Visitor, Visitor], object]] = {
    "a frame to another's look": lambda w, o, by, _s: looks.move_frames(w.sitting, [w.frame.pk], o.wool, by),
    "another's frame to a look": lambda w, o, by, _s: looks.move_frames(w.sitting, [o.frame.pk], w.wool, by),
    "another's frame hidden": lambda w, o, by, _s: looks.set_hidden(w.sitting, [o.frame.pk], True, by),
    "another's frame suggested": lambda w, o, by, _s: looks.set_suggested(w.sitting, [o.frame.pk], True, by),
    "another's look in order": lambda w, o, by, _s: looks.reorder(w.sitting, [*w.all_looks[1:], o.wool.pk], by),
    "merged into another's": lambda w, o, by, _s: looks.merge(w.linen, o.wool, by),
    "begun with another's frame": lambda w, o, by, _s: boundaries.move_start(w.wool, o.second, by),
    "another's look on set": lambda w, o, by, _s: looks.start_look_on_set(w.sitting, "", by, look=o.wool),
    "another's look spoken of": lambda w, o, by, _s: sitting_plan.comment(by, w.sitting, "Blue", look=o.wool),
    "another's version sent": lambda w, o, by, _s: sending.send(w.sitting, [w.waits.pk, o.waits.pk], by),
    "a stray put to another's final": lambda w, o, by, _s: versions.settle_stray(w.stray, o.open_final, by),
    "another's licence": lambda w, o, by, _s: orders.prepare(w.sitting, [w.size], o.licence, by, partial=True),
    "(picking) another's frame on the list": lambda w, o, by, _s: agree.close(w.sitting, [w.frame.pk, o.frame.pk], by),
    "(picking) another's frame ranked": lambda w, o, _by, s: pick.set_order(s, w.sitting, [w.frame.pk, o.frame.pk]),
    "another's look let go": lambda w, o, _by, s: kept.let_go(s, w.sitting, [w.kept_frame.pk], o.bare),
    "another's frame let go": lambda w, o, _by, s: kept.let_go(s, w.sitting, [w.kept_frame.pk, o.kept_frame.pk]),
}  # fmt: skip


def test_nothing_of_another_sitting_comes_in_although_one_runs_both() -> None:
    """The photographer, and the subject, of two sittings: what is of one does not come to lie in the other."""
    world, other = World("finishing"), World.beside("finishing")
    before = state()
    for what, do in FOREIGN.items():
        with undone_after():
            if what.startswith("(picking)"):
                Sitting.objects.update(stage="agreeing")
            there, mine, theirs = state(), world.fresh(), other.fresh()
            with pytest.raises(DomainError):
                do(mine, theirs, mine.visitor("owner"), mine.visitor("subject"))
            assert state() == there, what
    with undone_after():
        mine, theirs = world.fresh(), other.fresh()
        assert unfinished.try_again(mine.sitting, mine.visitor("owner"), theirs.sitting.jobs.get().pk) == 0
        assert state() == before


def test_a_verb_that_breaks_at_any_of_its_strokes_leaves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each line of the journal and each letter in turn cannot be written: nothing else of the verb stays either, and
    nothing is rung for."""
    write, list_letter = JournalLine.line.__func__, letters._list  # type: ignore[attr-defined]
    left = {"lines": 0, "letters": 0}

    def line(cls: type[JournalLine], *words: Any, **more: Any) -> JournalLine:
        left["lines"] -= 1
        if left["lines"] == 0:
            raise ArithmeticError
        return write(cls, *words, **more)

    def one_letter(*words: Any) -> Letter:
        left["letters"] -= 1
        if left["letters"] == 0:
            raise ArithmeticError
        return list_letter(*words)

    monkeypatch.setattr(JournalLine, "line", classmethod(line))
    monkeypatch.setattr(letters, "_list", one_letter)
    for world, cases in worlds(lambda case: case.at):
        before = state()
        for case in cases:
            strokes = [("lines", n) for n in range(1, len(case.lines) + 1)]
            strokes += [("letters", n) for n in range(1, len(case.letters) + 1)]
            for kind, number in strokes:
                with undone_after():
                    rung, fresh = len(connection.run_on_commit), world.fresh()
                    left.update(lines=0, letters=0)
                    left[kind] = number
                    with pytest.raises(ArithmeticError):
                        case.do(fresh, fresh.visitor(case.who[0]))
                    left.update(lines=0, letters=0)
                    assert state() == before, (case.verb, kind, number)
                    assert len(connection.run_on_commit) == rung, (case.verb, kind, number)
