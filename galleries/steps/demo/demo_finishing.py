"""A second, smaller demo sitting in the middle of finishing, so that the later screens have something true to show.

The frames are the portfolio looks of the same painted morning. One final is approved and delivered, one went back to
the retoucher with a note, one waits for the subject.
"""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from galleries import painter
from galleries.access import Visitor
from galleries.models import Delivery, DeliverySize, Final, Invite, Sitting, Version
from galleries.steps.agreeing import agree, extras
from galleries.steps.delivering import licences, offer, orders
from galleries.steps.demo import demo_sitting, rehearse
from galleries.steps.finishing import approvals, notes, source_type
from galleries.steps.ingesting import ingest
from galleries.steps.picking import pick
from galleries.steps.planning import sitting_plan
from galleries.steps.sorting import looks

TITLE = "Jules Marrowby, portfolio"
LOOKS = ("gel-wall", "hard-mono")
PER_LOOK = 4
FINALS = 3
SIZES = ("print-8x10", "casting-4x5", "web-4x5")


def prepare(say: demo_sitting.Say) -> Invite:
    """Make it, or find it; each piece is done only where it is missing. Gives the subject's invite.

    Raises:
        DomainError: a step refused, or the worker could not do its part.
    """
    owner = demo_sitting.photographer()
    by = Visitor(user=owner)
    sitting = Sitting.objects.filter(title=TITLE, photographer=owner).first()
    if sitting is None:
        given, _, surname = demo_sitting.SUBJECT[0].partition(" ")
        sitting = sitting_plan.create_sitting(
            owner, title=TITLE, subject_given=given, subject_surname=surname, allowance=FINALS,
            plan="The two portfolio looks, for the theatre page and the studio's own wall.",
            deadline=timezone.localdate() + timedelta(days=3),
        )  # fmt: skip
    if sitting.stage == Sitting.Stage.PLANNING:
        _bring_in(sitting, by, say)
        agree.publish(sitting, by)
        sitting.refresh_from_db()
    subject, representation = (demo_sitting.invited(sitting, role, *who, by) for role, who in demo_sitting.PEOPLE)
    if sitting.stage == Sitting.Stage.PROOFING:
        _agree(sitting, subject, representation)
        sitting.refresh_from_db()
    if sitting.stage == Sitting.Stage.FINISHING:
        _finish(sitting, by, Visitor(invite=subject), say)
        _deliver_first(sitting, by, Visitor(invite=subject), say)
    return subject


def _bring_in(sitting: Sitting, by: Visitor, say: demo_sitting.Say) -> None:
    painted = demo_sitting.paint(lambda line: None)
    plan = painter.plan_sitting(demo_sitting.PLAN_NUMBER)
    for slug in LOOKS:
        good = [one for one in plan.frames if one.look == slug and one.lids > 0.5 and not one.soft][:PER_LOOK]
        rows = []
        for shot in good:
            outcome = ingest.add_frame(sitting, painted.folder / shot.name, shot.name, by)
            rows += [outcome.frame] if outcome.frame is not None else []
        planned = plan.look(slug)
        look = sitting.looks.filter(title=planned.title).first() or looks.new_look(sitting, planned.title, by)
        looks.move_frames(sitting, [row.pk for row in rows], look, by)
        looks.edit_look(look, by, **demo_sitting.words_of(planned))
    for empty in sitting.looks.filter(frames=None):
        looks.remove_look(empty, by)
    demo_sitting.wait_for_jobs(sitting, say, "proofs of the second sitting")


def _agree(sitting: Sitting, subject: Invite, representation: Invite) -> None:
    wanted = list(sitting.frames.order_by("name"))[:: max(1, sitting.frames.count() // FINALS)][:FINALS]
    for person in (subject, representation):
        for frame in wanted:
            pick.set_mark(Visitor(invite=person), frame.pk, kind="pick")
    agree.close(sitting, [frame.pk for frame in wanted], Visitor(invite=representation), extras.quote(sitting).token)


def _finish(sitting: Sitting, by: Visitor, subject: Visitor, say: demo_sitting.Say) -> None:
    finals = agree.listed(sitting)
    for final in finals:
        # An agreed final whose retouch is there already: a start that was stopped before it was sent.
        if final.state == Final.State.AGREED and not final.versions.exists():
            rehearse.retouch(final, by, warmth=0.02)
    rehearse.send_retouches(sitting, by, say)
    for version in Version.objects.filter(final__sitting=sitting, kind_stated=Version.Stated.NOBODY):
        source_type.declare(version, by, Version.Kind.RETOUCHED)
    approved, returned = (Final.objects.select_related("frame", "sitting").get(pk=one.pk) for one in finals[:2])
    if approved.state == Final.State.SHOWN:
        version = approved.versions.latest("number")
        approvals.approve(version, subject, version.sha256)
    if returned.state == Final.State.SHOWN:
        if not returned.pinned_notes.exists():
            notes.pin_note(returned, subject, 0.42, 0.4, 0.08, 0.06, "The little line here is mine, please keep it.")
        wish = "Lovely, but a touch less smooth around the eyes."
        approvals.send_back(returned.versions.latest("number"), subject, wish)


def _deliver_first(sitting: Sitting, by: Visitor, subject: Visitor, say: demo_sitting.Say) -> None:
    if not sitting.deliveries.exists():
        licence = licences.current(sitting) or licences.compose(sitting, licences.draft(sitting), by)
        licences.accept(licence, subject, subject.name)
        sizes = list(DeliverySize.objects.offered().filter(slug__in=SIZES))
        orders.prepare(sitting, sizes, licence, by, partial=True)
    demo_sitting.wait_for_jobs(sitting, say, "deliveries", ["delivery"])
    for delivery in sitting.deliveries.filter(state=Delivery.State.MADE):
        offer.send(delivery, by)
