"""What is waiting for whom, in one sentence each: the studio's first page and the top of every sitting."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Exists, OuterRef, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from galleries.models import (
    Delivery,
    Final,
    Frame,
    Invite,
    Job,
    Receipt,
    Sitting,
    Statement,
    StrayRetouch,
    UsageRequest,
    Version,
)

Stage, S = Sitting.Stage, Final.State


@dataclass(frozen=True)
class Waiting:
    """Who has to do what, and the page where it is done ('' when it is not the studio's)."""

    who: str
    what: str
    page: str = ""

    @property
    def is_ours(self) -> bool:
        return bool(self.page)


@dataclass(frozen=True)
class _Facts:
    """What the sentences about one sitting are made from."""

    sitting: Sitting
    making: int
    failed: int
    held: int
    asked: int
    invites: list[Invite]  # not revoked
    frames: int
    strays: int
    states: Counter[str]  # of the finals on the list
    unsent: int
    undelivered: int
    last: Delivery | None
    owed: Statement | None  # while it is open
    unfetched: list[int]  # numbers of the deliveries that can be fetched and nobody has

    @property
    def still_open(self) -> bool:
        return any(self.states[state] for state in S.values if state not in {S.APPROVED, S.AS_IT_IS})


def waiting_in(sitting: Sitting) -> list[Waiting]:
    return waiting_in_each([sitting])[sitting.pk]


def waiting_in_each(sittings: Sequence[Sitting]) -> dict[int, list[Waiting]]:
    """sitting → what waits in it; the queries are the same for any number of sittings."""
    rows: dict[int, list[Waiting]] = {sitting.pk: [] for sitting in sittings}
    for facts in _load([sitting for sitting in sittings if sitting.stage != Stage.ARCHIVED]):
        rows[facts.sitting.pk] = [*_everywhere(facts), *_owed(facts), *_BY_STAGE[Stage(facts.sitting.stage)](facts)]
    return rows


def _load(sittings: Sequence[Sitting]) -> Iterator[_Facts]:
    ids = [sitting.pk for sitting in sittings]
    jobs, finals = Job.objects.filter(sitting__in=ids), Final.objects.filter(sitting__in=ids)
    in_work = jobs.filter(state__in=[Job.State.WAITING, Job.State.RUNNING], kind__in=["proof", "version"])
    making, failed = _per_sitting(in_work), _per_sitting(jobs.filter(state=Job.State.FAILED))
    held = _per_sitting(jobs.filter(state=Job.State.WAITING, not_before__isnull=False))
    asked = _per_sitting(UsageRequest.objects.filter(sitting__in=ids, state=UsageRequest.State.ASKED))
    frames = _per_sitting(Frame.objects.filter(sitting__in=ids))
    strays = _per_sitting(StrayRetouch.objects.filter(sitting__in=ids))
    unsent = _per_sitting(Version.objects.waiting().filter(final__sitting__in=ids), "final__sitting")
    undelivered = _per_sitting(finals.undelivered())
    states: dict[int, Counter[str]] = {}
    for pk, state in finals.listed().order_by().values_list("sitting_id", "state"):
        states.setdefault(pk, Counter())[state] += 1
    invites: dict[int, list[Invite]] = {}
    for one in Invite.objects.unrevoked().filter(sitting__in=ids).order_by("pk"):
        invites.setdefault(one.sitting_id, []).append(one)
    fetched = Exists(Receipt.objects.filter(delivery=OuterRef("pk")))
    deliveries: QuerySet[Any] = (
        Delivery.objects.filter(sitting__in=ids).defer("orders", "sizes").annotate(fetched=fetched)
    )
    owed = {pk: one for pk, one in Statement.objects.standing(ids).items() if one.is_open}
    last, now = dict[int, Delivery](), timezone.now()
    unfetched: dict[int, list[int]] = {}
    for one in deliveries.order_by("number"):
        last[one.sitting_id] = one
        if one.state == Delivery.State.READY and not one.fetched and (one.expires_at or now) >= now:
            unfetched.setdefault(one.sitting_id, []).append(one.number)
    for sitting in sittings:
        pk = sitting.pk
        yield _Facts(
            sitting, making[pk], failed[pk], held[pk], asked[pk], invites.get(pk, []), frames[pk], strays[pk],
            states.get(pk, Counter()), unsent[pk], undelivered[pk], last.get(pk), owed.get(pk), unfetched.get(pk, []),
        )  # fmt: skip


def _per_sitting(rows: QuerySet[Any], sitting: str = "sitting") -> Counter[int]:
    return Counter(dict(rows.order_by().values_list(sitting).annotate(Count("pk"))))


def _you() -> str:
    return _("You")


def _program() -> str:
    return _("The program")


def _everywhere(facts: _Facts) -> Iterator[Waiting]:
    if jobs := facts.making:
        yield Waiting(_program(), ngettext("is making %d stamped proof", "is making %d stamped proofs", jobs) % jobs)
    if failed := facts.failed:
        yield Waiting(
            _you(), ngettext("see why %d piece of work failed", "see why %d pieces of work failed", failed) % failed,
            "studio-work",
        )  # fmt: skip
    if held := facts.held:
        words = ngettext(
            "will try %d piece of work again by itself", "will try %d pieces of work again by itself", held
        )
        yield Waiting(_program(), words % held, "studio-work")
    if asked := facts.asked:
        yield Waiting(
            _you(), ngettext("answer %d request for use", "answer %d requests for use", asked) % asked, "studio-usage"
        )


def _owed(facts: _Facts) -> Iterator[Waiting]:
    if facts.owed is not None:
        yield Waiting(_you(), _("see whether statement %d is paid") % facts.owed.number, "studio-extras")


def _planning(facts: _Facts) -> Iterator[Waiting]:
    if facts.sitting.lacks_consent:
        yield Waiting(_you(), _("record the consent of a parent or guardian"), "studio-settings")
    elif not facts.invites:
        yield Waiting(_you(), _("invite the subject and the representation"), "studio-people")
    if not facts.frames:
        yield Waiting(_you(), _("bring the frames in"), "studio-upload")
    else:
        yield Waiting(_you(), _("look through the looks, then show the proofs"), "studio-desk")


def _picking(facts: _Facts) -> Iterator[Waiting]:
    pickers = [one for one in facts.invites if one.is_side and one.passed_from_id is None and one.holds()]
    if not pickers:
        yield Waiting(_you(), _("invite the subject and the representation"), "studio-people")
        return
    open_ones = [one for one in pickers if one.picks_done_at is None]
    for one in open_ones:
        yield Waiting(one.name, _("is still marking") if one.first_opened_at else _("has not come in yet"))
    if not open_ones:
        yield Waiting(_you(), _("close the list"), "studio-lists")


def _finishing(facts: _Facts) -> Iterator[Waiting]:
    counts = facts.states
    if strays := facts.strays:
        yield Waiting(
            _you(),
            ngettext("say where %d retouched file belongs", "say where %d retouched files belong", strays) % strays,
            "studio-finals",
        )
    if n := counts[S.AGREED]:
        yield Waiting(_you(), ngettext("retouch %d frame", "retouch %d frames", n) % n, "studio-finals")
    if n := counts[S.RETURNED]:
        yield Waiting(
            _you(), ngettext("see to %d retouch sent back", "see to %d retouches sent back", n) % n, "studio-finals"
        )
    if n := facts.unsent:
        yield Waiting(
            _you(), ngettext("look at %d retouch, then send it", "look at %d retouches, then send them", n) % n,
            "studio-send-retouches",
        )  # fmt: skip
    if n := counts[S.SHOWN]:
        yield Waiting(facts.sitting.subject_name, ngettext("looks at %d retouch", "looks at %d retouches", n) % n)
    yield from _delivering(facts)
    yield from _fetching(facts)


def _delivering(facts: _Facts) -> Iterator[Waiting]:
    last = facts.last
    if last is not None and last.state == Delivery.State.MADE:
        yield Waiting(_you(), _("look at the delivery, then send it"), "studio-delivery")
    all_ready = bool(facts.states) and not facts.still_open
    if last is None and all_ready:
        yield Waiting(_you(), _("check the crops and prepare the delivery"), "studio-delivery")
    elif last is None:
        return
    elif last.state == Delivery.State.READY and all_ready and (n := facts.undelivered):
        yield Waiting(
            _you(),
            ngettext("deliver %d more final", "deliver %d more finals", n) % n,
            "studio-delivery",
        )
    elif last.state == Delivery.State.WAITING:
        yield Waiting(_program(), _("is cutting the delivery"))
    elif last.state == Delivery.State.FAILED:
        yield Waiting(_you(), _("see why the delivery failed"), "studio-delivery")


def _delivered(facts: _Facts) -> Iterator[Waiting]:
    if facts.still_open:  # a partial delivery of the time before these counted
        yield from _finishing(facts)
        return
    yield from _fetching(facts)


def _fetching(facts: _Facts) -> Iterator[Waiting]:
    for number in facts.unfetched:
        yield Waiting(facts.sitting.subject_name, _("has not fetched delivery %d yet") % number)


_BY_STAGE = {
    Stage.PLANNING: _planning,
    Stage.PROOFING: _picking,
    Stage.AGREEING: _picking,
    Stage.FINISHING: _finishing,
    Stage.DELIVERED: _delivered,
}
