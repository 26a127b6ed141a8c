"""What is waiting for whom, in one sentence each: the studio's first page and the top of every sitting."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from galleries.models import Delivery, Final, Invite, Job, Sitting, UsageRequest
from galleries.steps.finishing import sending

Stage, S = Sitting.Stage, Final.State
PICKERS = (Invite.Role.SUBJECT, Invite.Role.REPRESENTATION)


@dataclass(frozen=True)
class Waiting:
    """Who has to do what, and the page where it is done ('' when it is not the studio's)."""

    who: str
    what: str
    page: str = ""

    @property
    def is_ours(self) -> bool:
        return bool(self.page)


def waiting_in(sitting: Sitting) -> list[Waiting]:
    if sitting.stage == Stage.ARCHIVED:
        return []
    return [*_everywhere(sitting), *_BY_STAGE[Stage(sitting.stage)](sitting)]


def _you() -> str:
    return _("You")


def _program() -> str:
    return _("The program")


def _everywhere(sitting: Sitting) -> Iterator[Waiting]:
    jobs = sitting.jobs.filter(state__in=[Job.State.WAITING, Job.State.RUNNING], kind__in=["proof", "version"]).count()
    if jobs:
        yield Waiting(_program(), ngettext("is making %d stamped proof", "is making %d stamped proofs", jobs) % jobs)
    failed = sitting.jobs.filter(state=Job.State.FAILED).count()
    if failed:
        yield Waiting(
            _you(), ngettext("see why %d piece of work failed", "see why %d pieces of work failed", failed) % failed,
            "studio-journal",
        )  # fmt: skip
    asked = sitting.usage_requests.filter(state=UsageRequest.State.ASKED).count()
    if asked:
        yield Waiting(
            _you(), ngettext("answer %d request for use", "answer %d requests for use", asked) % asked, "studio-usage"
        )


def _planning(sitting: Sitting) -> Iterator[Waiting]:
    if sitting.lacks_consent:
        yield Waiting(_you(), _("record the consent of a parent or guardian"), "studio-settings")
    elif not sitting.invites.filter(revoked_at=None).exists():
        yield Waiting(_you(), _("invite the subject and the representation"), "studio-people")
    if not sitting.frames.exists():
        yield Waiting(_you(), _("bring the frames in"), "studio-upload")
    else:
        yield Waiting(_you(), _("look through the looks, then show the proofs"), "studio-desk")


def _picking(sitting: Sitting) -> Iterator[Waiting]:
    pickers = [one for one in sitting.invites.filter(role__in=PICKERS, passed_from=None).order_by("pk") if one.holds()]
    if not pickers:
        yield Waiting(_you(), _("invite the subject and the representation"), "studio-people")
        return
    open_ones = [one for one in pickers if one.picks_done_at is None]
    for one in open_ones:
        yield Waiting(one.name, _("is still marking"))
    if not open_ones:
        yield Waiting(_you(), _("close the list"), "studio-lists")


def _finishing(sitting: Sitting) -> Iterator[Waiting]:
    finals = sitting.finals.listed()
    strays = sitting.strays.count()
    if strays:
        yield Waiting(
            _you(),
            ngettext("say where %d retouched file belongs", "say where %d retouched files belong", strays) % strays,
            "studio-finals",
        )
    counts = {state: finals.filter(state=state).count() for state in S.values}
    if n := counts[S.AGREED]:
        yield Waiting(_you(), ngettext("retouch %d frame", "retouch %d frames", n) % n, "studio-finals")
    if n := counts[S.RETURNED]:
        yield Waiting(
            _you(), ngettext("see to %d retouch sent back", "see to %d retouches sent back", n) % n, "studio-finals"
        )
    if n := len(sending.waiting(sitting)):
        yield Waiting(
            _you(), ngettext("look at %d retouch, then send it", "look at %d retouches, then send them", n) % n,
            "studio-send-retouches",
        )  # fmt: skip
    if n := counts[S.SHOWN]:
        yield Waiting(sitting.subject_name, ngettext("looks at %d retouch", "looks at %d retouches", n) % n)
    yield from _delivering(sitting)


def _delivering(sitting: Sitting) -> Iterator[Waiting]:
    last = sitting.deliveries.order_by("-number").first()
    if last is not None and last.state == Delivery.State.MADE:
        yield Waiting(_you(), _("look at the delivery, then send it"), "studio-delivery")
    all_ready = sitting.finals.listed().exists() and not sitting.finals.open().exists()
    if last is None and all_ready:
        yield Waiting(_you(), _("check the crops and prepare the delivery"), "studio-delivery")
    elif last is None:
        return
    elif last.state == Delivery.State.READY and all_ready and (n := sitting.finals.undelivered().count()):
        yield Waiting(
            _you(),
            ngettext("deliver %d more final", "deliver %d more finals", n) % n,
            "studio-delivery",
        )
    elif last.state == Delivery.State.WAITING:
        yield Waiting(_program(), _("is cutting the delivery"))
    elif last.state == Delivery.State.FAILED:
        yield Waiting(_you(), _("see why the delivery failed"), "studio-delivery")


def _delivered(sitting: Sitting) -> Iterator[Waiting]:
    if sitting.finals.open().exists():  # a partial delivery of the time before these counted
        yield from _finishing(sitting)
        return
    last = sitting.deliveries.order_by("-number").first()
    if last is not None and last.state == Delivery.State.READY and not last.receipts.exists():
        yield Waiting(sitting.subject_name, _("has not fetched the delivery yet"))


_BY_STAGE = {
    Stage.PLANNING: _planning,
    Stage.PROOFING: _picking,
    Stage.AGREEING: _picking,
    Stage.FINISHING: _finishing,
    Stage.DELIVERED: _delivered,
}
