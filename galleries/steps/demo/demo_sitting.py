"""The demo: an invented sitting, painted by the project itself, taken through its stages by the same steps as any.

Every piece looks first whether it is there already, so that running it again changes nothing.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.utils import timezone

from galleries import painter
from galleries.access import Act, Visitor, require
from galleries.errors import Conflict
from galleries.models import Frame, Invite, InviteLink, Job, Look, Mark, SignInLink, Sitting, Studio, StudioRole
from galleries.painter import PaintedSitting, PlannedLook, SittingPlan, negative
from galleries.steps import jobs
from galleries.steps.agreeing import agree
from galleries.steps.ingesting import ingest
from galleries.steps.people import invite as invites
from galleries.steps.picking import pick
from galleries.steps.planning import sitting_plan
from galleries.steps.sorting import looks
from portal import embedded

TITLE = "Jules Marrowby, new headshots"
PLAN_NUMBER = 7
SUBJECT = ("Jules Marrowby", "jules@marrowby.example")
REPRESENTATION = ("Ottoline Brandt-Reyes", "ottoline@brandtreyes.example")
PHOTOGRAPHER = ("imre", "Imre", "Castellane", "imre@northlight.example")
SIGN_IN_DAYS = 30
STANDSTILL = 30  # seconds without any job ending or in hand, after which the work is done here
STARTING = 300  # the same where the worker's process lives and took nothing yet: a busy machine takes long to load it

Say = Callable[[str], None]


@dataclass(frozen=True)
class Demo:
    """What there is, and the way in for each person."""

    sitting: Sitting
    frames: int
    looks: int
    links: dict[str, str]


def prepare(say: Say) -> Demo:
    """Make the demo sitting, or find it. `say` hears of the progress, a line at a time.

    Raises:
        Conflict: the worker could not make the proofs; the sentence is the job's.
    """
    plan = painter.plan_sitting(PLAN_NUMBER)
    owner = photographer()
    sitting = Sitting.objects.filter(title=TITLE, photographer=owner).first() or _plan(owner, plan)
    by = Visitor(user=owner)
    if sitting.stage == Sitting.Stage.PLANNING:
        if sitting.frames.count() < len(plan.frames):
            painted = paint(say)
            bring_in(sitting, painted, by, say)
        wait_for_jobs(sitting, say, "proofs")
        _name_looks(sitting, plan, by, say)
        agree.publish(sitting, by)
        sitting.refresh_from_db()
    subject, representation = (invited(sitting, role, *who, by) for role, who in PEOPLE)
    if not Mark.objects.filter(frame__sitting=sitting).exists() and sitting.stage == Sitting.Stage.PROOFING:
        _mark(sitting, plan, subject, representation)
    links: dict[str, User | Invite] = {"photographer": owner, "subject": subject, "representation": representation}
    return Demo(sitting, sitting.frames.count(), sitting.looks.count(), links_of(links))


PEOPLE = ((Invite.Role.SUBJECT, SUBJECT), (Invite.Role.REPRESENTATION, REPRESENTATION))


# --- the house and the plan ---


def photographer() -> User:
    if not Studio.objects.exists():
        Studio.objects.create(
            name="Northlight Rooms",
            photographer="Imre Castellane",
            email="studio@northlight.example",
            web="https://northlight.example",
            statement_of_rights="https://northlight.example/rights",
        )
    username, first, last, email = PHOTOGRAPHER
    owner, is_new = User.objects.get_or_create(
        username=username,
        defaults={"first_name": first, "last_name": last, "email": email},
    )
    if is_new:
        owner.set_unusable_password()
    owner.is_superuser = False  # an earlier release made it one; work of every day needs no such power
    owner.save()
    StudioRole.objects.update_or_create(account=owner, defaults={"role": StudioRole.Role.HEAD})
    return owner


def _plan(owner: User, plan: SittingPlan) -> Sitting:
    first = plan.frames[0].captured_at
    given, _, surname = SUBJECT[0].partition(" ")
    wanted = "; ".join(f"{look.title.lower()} ({look.purpose})" for look in plan.looks)
    return sitting_plan.create_sitting(
        owner,
        title=TITLE,
        subject_given=given,
        subject_surname=surname,
        held_on=first.date(),
        place="Northlight Rooms, north studio",
        plan=f"Five looks in one morning: {wanted}. Casting first, while the light is soft; portfolio after the break.",
        allowance=4,
        deadline=timezone.localdate() + timedelta(days=10),
    )


def cache_folder() -> Path:
    """Where painted frames are kept: named by the painter's own source, so that a changed painter paints anew. Raw
    files are written when they are wanted, and not kept."""
    folder, unkept = Path(painter.__file__).parent, Path(negative.__file__)
    sources = (path for path in sorted(folder.glob("*.py")) if path != unkept)
    digest = hashlib.sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()
    return Path(settings.DEMO_CACHE) / f"painted-{digest[:12]}"


def paint(say: Say) -> PaintedSitting:
    """The sitting's camera files, painted or found."""
    target = cache_folder()
    for old in target.parent.glob("painted-*") if target.parent.exists() else ():
        if old != target:
            shutil.rmtree(old, ignore_errors=True)
    return painter.paint_sitting(
        target, PLAN_NUMBER, settings.DEMO_SIDE, processes=os.cpu_count() or 1, progress=_every(say, "painted", 5)
    )


def _every(say: Say, what: str, step: int) -> Callable[[int, int], None]:
    def heard(done: int, of: int) -> None:
        if done % step == 0 or done == of:
            say(f"{done} of {of} {what}")

    return heard


def bring_in(sitting: Sitting, painted: PaintedSitting, by: Visitor, say: Say) -> None:
    """The camera's JPEGs, and of the first look the raw files that it wrote beside them.

    Raises:
        Conflict: a painted file was refused, which would be the painter's fault.
    """
    require(by, Act.RUN, sitting)
    heard = _every(say, "frames brought in", 10)
    for count, (path, truth) in enumerate(zip(painted.frames, painted.truths, strict=True), 1):
        _add(sitting, path, by)
        if truth["look"] == painted.truths[0]["look"]:
            _add_raw(sitting, path, by)
        heard(count, len(painted.frames))


def _add(sitting: Sitting, path: Path, by: Visitor) -> None:
    outcome = ingest.add_frame(sitting, path, path.name, by)
    if outcome.state == "refused":
        raise Conflict(outcome.reason)


def _add_raw(sitting: Sitting, path: Path, by: Visitor) -> None:
    with tempfile.TemporaryDirectory(prefix="portal-demo-") as folder:
        beside = Path(folder, path.with_suffix(".DNG").name)
        beside.write_bytes(negative.write_negative(path.read_bytes()))
        _add(sitting, beside, by)


def wait_for_jobs(sitting: Sitting, say: Say, what: str, kinds: Sequence[str] = ()) -> None:
    """Until the worker has done all of the sitting's work; when none takes it for a while, it is done here.

    Raises:
        Conflict: a job failed; the sentence says why.
    """
    mine = Job.objects.filter(sitting=sitting)
    mine = mine.filter(kind__in=kinds) if kinds else mine.exclude(kind="letter")
    unfinished = mine.filter(state__in=[Job.State.WAITING, Job.State.RUNNING])
    left, since, told = unfinished.count(), time.monotonic(), -1
    while left:
        time.sleep(0.2)
        now = unfinished.count()
        if now != left:
            since = time.monotonic()
            if now // 10 != left // 10 and now != told:
                say(f"{now} {what} to go")
                told = now
        left = now
        patience = STARTING if _worker_lives() else STANDSTILL
        if left and time.monotonic() - since > patience and jobs.silent(STANDSTILL):
            say("No worker takes the work: doing it here")
            jobs.run_waiting(sitting, list(kinds) or None)
            since = time.monotonic()
    failed = mine.filter(state=Job.State.FAILED).first()
    if failed is not None:
        raise Conflict(f"{failed.kind} {failed.thing}: {failed.why}")


def _worker_lives() -> bool:
    """Whether deploy/start has a worker beside us, as it wrote down when it started it."""
    try:
        owner = embedded.worker_file(settings.SITE_DIR).read_text()
    except OSError:
        return False
    return not jobs.owner_is_dead(owner)


# --- the photographer looks over the program's proposal ---


def _name_looks(sitting: Sitting, plan: SittingPlan, by: Visitor, say: Say) -> None:
    """Give the proposed looks the plan's titles and set-ups, and move what the program put elsewhere."""
    planned = {frame.name: frame.look for frame in plan.frames}
    frames = list(sitting.frames.select_related("look"))
    taken: set[int] = set()
    moved = 0
    for look in plan.looks:
        members = [frame for frame in frames if planned[frame.name] == look.slug]
        votes = Counter(pk for pk in (frame.look_id for frame in members) if pk is not None and pk not in taken)
        row = Look.objects.get(pk=votes.most_common(1)[0][0]) if votes else looks.new_look(sitting, look.title, by)
        taken.add(row.pk)
        strays = [frame.pk for frame in members if frame.look_id != row.pk]
        if strays:
            looks.move_frames(sitting, strays, row, by)
            moved += len(strays)
        looks.edit_look(row, by, **words_of(look))
    for empty in sitting.looks.filter(frames=None):
        looks.remove_look(empty, by)
    order = [sitting.looks.get(title=look.title).pk for look in plan.looks]
    looks.reorder(sitting, order, by)
    say(f"{len(frames) - moved} of {len(frames)} frames were in the right look as proposed")


def words_of(look: PlannedLook) -> dict[str, Any]:
    key, _, rest = look.lighting.partition(", ")
    return {
        "title": look.title,
        "purpose": look.purpose,
        "treatment": Look.Treatment.MONOCHROME if look.treatment == "black and white" else Look.Treatment.COLOUR,
        "wardrobe": look.wardrobe,
        "backdrop": look.backdrop,
        "key_light": key,
        "fill": rest,
        "gel": "" if look.gel == "none" else look.gel,
    }


# --- the people and their marks ---


def invited(sitting: Sitting, role: str, name: str, email: str, by: Visitor) -> Invite:
    require(by, Act.RUN, sitting)
    there = sitting.invites.unrevoked().filter(role=role, email=email).first()
    return there or invites.invite(sitting, role, name, email, by)


def _mark(sitting: Sitting, plan: SittingPlan, subject: Invite, representation: Invite) -> None:
    """A first evening of marks: both agree on some, differ on others, strike what blinks, and say why."""
    rows = {frame.name: frame for frame in sitting.frames.all()}
    actor, agent = Visitor(invite=subject), Visitor(invite=representation)
    for place, look in enumerate(plan.looks):
        shots = [frame for frame in plan.frames if frame.look == look.slug]
        good = [rows[frame.name] for frame in shots if frame.lids > 0.5 and not frame.soft]
        shut = [rows[frame.name] for frame in shots if frame.lids <= 0.5]
        runless = _one_of_each_run(good, {rows[frame.name].pk: frame.run for frame in shots})
        pick.set_mark(actor, runless[0].pk, kind="pick", note=_SAID[place % len(_SAID)])
        pick.set_mark(actor, runless[1].pk, kind="alternate")
        pick.set_mark(agent, runless[0 if place % 2 == 0 else 2].pk, kind="pick")
        pick.set_mark(agent, runless[3 % len(runless)].pk, kind="alternate", note=_HEARD[place % len(_HEARD)])
        for frame in shut[:1]:
            pick.set_mark(actor, frame.pk, kind="strike")
            pick.set_mark(agent, frame.pk, kind="strike")
    first = rows[plan.frames[0].name].pk
    pick.remark(agent, first, "Is there one from here with the chin a touch lower?")
    pick.remark(actor, first, "The third in this row, I think. I would be glad of either.")


_SAID = ("This is me on a good day.", "", "Reads a little colder, which I like.", "", "For the theatre page.")
_HEARD = ("", "More use for commercials than the first.", "", "Keep for period work.", "")


def _one_of_each_run(frames: Iterable[Frame], runs: dict[int, int]) -> list[Frame]:
    seen: set[int] = set()
    first: list[Frame] = []
    for frame in frames:
        if runs[frame.pk] not in seen:
            seen.add(runs[frame.pk])
            first.append(frame)
    return first


# --- links ---


def links_of(people: dict[str, User | Invite]) -> dict[str, str]:
    """The demo's links. They are kept, readable by the owner only, since a token cannot be read from its hash;
    only invented people's are."""
    file = Path(settings.SITE_DIR) / "demo-links.json"
    kept: dict[str, str] = json.loads(file.read_text()) if file.exists() else {}
    links = {}
    for name, person in people.items():
        link = kept.get(name, "")
        links[name] = _here(link) if link and _opens(link, person) else _new_link(person)
    if any(kept.get(name) != link for name, link in links.items()):
        part = file.with_suffix(".part")
        part.touch(mode=0o600)
        part.write_text(json.dumps({**kept, **links}, indent=1))
        part.replace(file)
    return links


def _here(link: str) -> str:
    """The same path at the address the site has now (the port may have changed)."""
    kind, token = link.rsplit("/", 2)[-2:]
    return f"{settings.BASE_URL}/{kind}/{token}"


def _new_link(person: User | Invite) -> str:
    if isinstance(person, Invite):
        return invites.new_link(person)
    return invites.sign_in_link(user=person, minutes=SIGN_IN_DAYS * 24 * 60)


def _opens(link: str, person: User | Invite) -> bool:
    digest = invites.hash_of(link.rsplit("/", 1)[-1])
    if isinstance(person, Invite):
        unused = InviteLink.objects.filter(token_hash=digest, invite=person, ended_at=None, openings=None)
        return person.holds() and unused.exists()
    soon = timezone.now() + timedelta(hours=1)
    return SignInLink.objects.filter(token_hash=digest, user=person, used_at=None, expires_at__gt=soon).exists()
