"""What the demo promises: invented people only, the states that its pages show, and that a second run changes nothing.

Without pictures: frames and retouches are rows as the verbs would make them. With pictures the commands themselves are
run, by whoever starts the demo and by `tests/services`.
"""

from __future__ import annotations

import hashlib
import json
import os
import stat
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from datetime import UTC, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.utils import timezone

from galleries import painter
from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.imaging.codes import Code
from galleries.models import (
    Delivery,
    Final,
    Frame,
    Invite,
    InviteLink,
    Job,
    JournalLine,
    Look,
    Mark,
    SignInLink,
    Sitting,
    Studio,
    Version,
)
from galleries.painter import PaintedSitting
from galleries.steps import jobs
from galleries.steps.delivering import sizes
from galleries.steps.demo import demo_finishing, demo_sitting, rehearse
from galleries.steps.ingesting import ingest
from galleries.told import Told
from portal import embedded
from tests.cast import make_cast
from tests.web.invitee.sheets import READING

sys.path.insert(0, str(Path(__file__).resolve().parents[3] / "deploy"))
import processes

PLAN = painter.plan_sitting(demo_sitting.PLAN_NUMBER)


def add_frame(sitting: Sitting, path: Path, name: str, by: Visitor) -> ingest.Outcome:
    """A row as the verb makes it, without the file; the same name again is the same frame."""
    there = sitting.frames.filter(name=name).first()
    if there is not None:
        return ingest.Outcome(name, "same", there)
    (shot,) = (one for one in PLAN.frames if one.name == name)
    digest = hashlib.sha256(name.encode()).hexdigest()
    frame = Frame.objects.create(
        sitting=sitting, sha256=digest, key=f"sittings/{sitting.uid.hex}/{name}", name=name, number=shot.number,
        bytes=1, file_format="JPEG", width=4000, height=6000, captured_at=shot.captured_at.replace(tzinfo=UTC),
        reading=READING,
    )  # fmt: skip
    if shot == PLAN.frames[0]:
        jobs.enqueue("proof", frame.pk, sitting)
    return ingest.Outcome(name, "new", frame)


def retouch(final: Final, by: Visitor, *, warmth: float) -> None:
    """A version as the worker leaves it: its proof is made, and nobody was told."""
    number = final.versions.count() + 1
    digest = hashlib.sha256(f"{final.pk} {number} {warmth}".encode()).hexdigest()
    final.versions.create(
        number=number, sha256=digest, key="k", name="n.jpg", bytes=1, width=4000, height=6000, proof_key="p"
    )


def no_pause(_seconds: float) -> None:
    return None


@pytest.fixture
def said(db: None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, settings: Any) -> list[str]:
    """What the demo says while it is made: with nothing to paint, and the work done here at once."""
    settings.SITE_DIR, settings.DEMO_CACHE = tmp_path, tmp_path / "cache"
    painted = PaintedSitting(tmp_path, tuple({"name": frame.name, "look": frame.look} for frame in PLAN.frames))
    monkeypatch.setattr(demo_sitting, "paint", lambda _say: painted)
    monkeypatch.setattr(demo_sitting.ingest, "add_frame", add_frame)
    monkeypatch.setattr(demo_sitting, "_add_raw", lambda _sitting, _path, _by: None)
    monkeypatch.setattr(rehearse, "retouch", retouch)
    monkeypatch.setitem(jobs.KINDS, "proof", lambda _frame: None)
    monkeypatch.setattr(demo_sitting, "STANDSTILL", -1)
    monkeypatch.setattr(demo_sitting.time, "sleep", no_pause)
    return []


def everything() -> dict[str, list[Any]]:
    """Every row of every table of ours and of people, but for the moment a person's row was saved last."""
    models = [*apps.get_app_config("galleries").get_models(), User]
    return {model.__name__: list(model._base_manager.order_by("pk").values()) for model in models}


@pytest.fixture
def demo(said: list[str]) -> demo_sitting.Demo:
    return demo_sitting.prepare(said.append)


def test_everybody_in_the_demo_is_invented_and_lives_where_nobody_does(demo: demo_sitting.Demo) -> None:
    """RFC 2606 keeps `.example` free of real addresses."""
    people = [*User.objects.values_list("email", flat=True), *Invite.objects.values_list("email", flat=True)]
    studio = Studio.current()
    assert len(people) == 3
    for address in (*people, studio.email, studio.web, studio.statement_of_rights):
        assert address.split("/rights")[0].endswith(".example"), address
    assert demo.sitting.subject_name == demo_sitting.SUBJECT[0] in demo.sitting.title
    assert {letter.to for letter in demo.sitting.letters.all()} <= set(people)


def test_the_photographer_of_the_demo_signs_in_by_link_alone_and_rules_nothing(said: list[str]) -> None:
    studio = Studio.objects.create(name="A studio of one's own", photographer="P", email="p@elsewhere.example")
    User.objects.create_superuser("imre", "other@northlight.example")
    owner = demo_sitting.photographer()
    assert owner.username == "imre"
    assert not User.objects.get().is_superuser
    User.objects.all().delete()
    owner = demo_sitting.photographer()
    assert (owner.has_usable_password(), owner.is_superuser, owner.get_full_name()) == (False, False, "Imre Castellane")
    assert list(Studio.objects.values_list("name", flat=True)) == [studio.name]  # one that is there stays


def test_the_sitting_stands_with_proofs_out_looks_as_planned_and_both_peoples_marks(
    demo: demo_sitting.Demo, said: list[str]
) -> None:
    sitting = demo.sitting
    assert (sitting.stage, sitting.allowance, demo.frames, demo.looks) == ("proofing", 4, len(PLAN.frames), 5)
    assert sitting.deadline is not None
    assert sitting.held_on == PLAN.frames[0].captured_at.date()
    looks = list(sitting.looks.order_by("position"))
    assert [look.title for look in looks] == [look.title for look in PLAN.looks]
    for look, planned in zip(looks, PLAN.looks, strict=True):
        names = {frame.name for frame in PLAN.frames if frame.look == planned.slug}
        assert set(look.frames.values_list("name", flat=True)) == names
        assert (look.purpose, look.wardrobe, look.backdrop) == (planned.purpose, planned.wardrobe, planned.backdrop)
    assert [look.treatment for look in looks] == ["colour"] * 4 + ["monochrome"]
    assert [look.gel for look in looks] == ["", "", "", "full CTO on the wall lamp", ""]
    assert (looks[0].key_light, looks[0].fill) == ("large square panel near the camera", "white board opposite")
    marks = Mark.objects.filter(frame__sitting=sitting)
    picks = {role: set(marks.filter(invite__role=role, kind="pick").values_list("frame", flat=True))
             for role in ("subject", "representation")}  # fmt: skip
    assert len(picks["subject"]) == 5
    assert len(picks["representation"]) >= rehearse.FINALS
    assert 0 < len(picks["subject"] & picks["representation"]) < 5
    eyes = {frame.name: frame.lids for frame in PLAN.frames}
    struck = set(marks.filter(kind="strike").values_list("frame__name", flat=True))
    assert struck
    assert max(eyes[name] for name in struck) <= 0.5  # what blinks
    assert min(eyes[mark.frame.name] for mark in marks.filter(kind="pick").select_related("frame")) > 0.5
    assert marks.exclude(note="").count() >= 3
    assert sitting.frames.filter(remarks__isnull=False).distinct().count() == 1
    assert [job.state for job in sitting.jobs.filter(kind="proof")] == ["done"]
    assert said[:5] == [f"{count} of 46 frames brought in" for count in (10, 20, 30, 40, 46)]
    assert said[-1] == f"0 of {len(PLAN.frames)} frames were in the right look as proposed"


def test_a_run_that_was_cut_short_is_finished_and_not_begun_anew(
    said: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The painter's file is refused at the tenth frame; what was there before stays."""

    def refuses_one(sitting: Sitting, path: Path, name: str, by: Visitor) -> ingest.Outcome:
        if name == PLAN.frames[9].name:
            return ingest.refuse(sitting, name, Path(__file__), Told(Code.NO_PICTURE))
        return add_frame(sitting, path, name, by)

    monkeypatch.setattr(demo_sitting.ingest, "add_frame", refuses_one)
    with pytest.raises(Conflict):
        demo_sitting.prepare(said.append)
    sitting = Sitting.objects.get()
    assert (sitting.stage, sitting.frames.count()) == ("planning", 9)
    monkeypatch.setattr(demo_sitting.ingest, "add_frame", add_frame)
    made = demo_sitting.prepare(said.append)
    assert (made.sitting.pk, made.frames, made.looks) == (sitting.pk, len(PLAN.frames), 5)
    assert made.sitting.journal.filter(verb="sitting planned").count() == 1


def test_a_second_run_finds_it_and_changes_nothing_and_never_takes_a_sitting_of_somebody_else(said: list[str]) -> None:
    cast = make_cast()
    Sitting.objects.update(title=demo_sitting.TITLE)
    made = demo_sitting.prepare(said.append)
    assert made.sitting.pk != cast.sitting.pk
    before = everything()
    assert demo_sitting.prepare(said.append) == made
    assert everything() == before
    assert not cast.sitting.frames.exists()
    with pytest.raises(Missing):
        demo_sitting.bring_in(cast.sitting, PaintedSitting(Path(), ()), Visitor(user=cast.stranger), said.append)
    with pytest.raises(Missing):
        demo_sitting.invited(cast.sitting, "subject", "A", "a@b.example", Visitor(user=cast.stranger))


def test_what_the_program_proposed_is_kept_where_it_is_right(said: list[str]) -> None:
    """Looks by the clock, two of them in one: the one with most frames of a planned look becomes it."""
    owner = demo_sitting.photographer()
    by, sitting = Visitor(user=owner), demo_sitting._plan(owner, PLAN)
    one, both, empty = (
        Look.objects.create(sitting=sitting, title=f"Look {n}", position=n, made_by_program=True) for n in (1, 2, 3)
    )
    for shot in PLAN.frames:
        frame = add_frame(sitting, Path(), shot.name, by).frame
        assert frame is not None
        frame.look = one if shot.look == PLAN.looks[0].slug else both
        frame.save()
    demo_sitting._name_looks(sitting, PLAN, by, said.append)
    sitting.refresh_from_db()
    titles = dict(sitting.looks.values_list("pk", "title"))
    assert titles[one.pk] == PLAN.looks[0].title
    assert titles[both.pk] == PLAN.looks[1].title
    assert empty.pk not in titles
    right = sum(shot.look in (PLAN.looks[0].slug, PLAN.looks[1].slug) for shot in PLAN.frames)
    assert said[-1] == f"{right} of {len(PLAN.frames)} frames were in the right look as proposed"


# Links


def test_links_are_kept_for_the_owner_of_the_file_alone_and_made_anew_when_they_open_no_more(
    demo: demo_sitting.Demo, settings: Any
) -> None:
    file = Path(settings.SITE_DIR) / "demo-links.json"
    mask = os.umask(0)  # what others may do hangs on the file's own mode, whatever the process lets through
    try:
        demo_sitting.links_of({"none yet": Invite.objects.get(role="subject")})
    finally:
        os.umask(mask)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert demo.links.items() <= json.loads(file.read_text()).items()
    assert set(demo.links) == {"photographer", "subject", "representation"}
    owner, subject = User.objects.get(), Invite.objects.get(role="subject")
    settings.BASE_URL = "http://127.0.0.1:9999"  # the port has changed: the token is the same
    moved = demo_sitting.links_of({"photographer": owner, "subject": subject})
    assert moved["subject"] == "http://127.0.0.1:9999/" + "/".join(demo.links["subject"].rsplit("/", 2)[-2:])
    SignInLink.objects.update(used_at=timezone.now())
    InviteLink.objects.filter(invite=subject).delete()
    anew = demo_sitting.links_of({"photographer": owner, "subject": subject})
    assert anew["photographer"] != moved["photographer"]
    assert anew["subject"] != moved["subject"]
    kept = json.loads(file.read_text())
    assert {**anew, "representation": demo.links["representation"]}.items() <= kept.items()


@pytest.mark.parametrize(
    ("spoil", "opens"),
    [
        ({}, True), ({"used_at": timezone.now}, False),
        ({"expires_at": lambda: timezone.now() + timedelta(minutes=50)}, False),
        ({"expires_at": lambda: timezone.now() + timedelta(minutes=70)}, True),
    ],
)  # fmt: skip
def test_a_sign_in_link_opens_for_its_own_person_unused_and_for_another_hour(
    db: None, spoil: dict[str, Callable[[], Any]], opens: bool
) -> None:
    cast = make_cast()
    link = demo_sitting._new_link(cast.owner)
    SignInLink.objects.update(**{name: value() for name, value in spoil.items()})
    assert demo_sitting._opens(link, cast.owner) is opens
    assert not demo_sitting._opens(link, cast.colleague)
    assert not demo_sitting._opens(link + "x", cast.owner)


def test_a_link_of_an_invite_opens_while_the_invite_holds(db: None) -> None:
    cast = make_cast()
    link = demo_sitting._new_link(cast.subject)
    assert demo_sitting._opens(link, cast.subject)
    assert not demo_sitting._opens(link, cast.representation)
    cast.subject.revoked_at = timezone.now()
    assert not demo_sitting._opens(link, cast.subject)


# Waiting for the worker


class Worker:
    """Does the jobs it is told to, one a pause, while the demo waits."""

    def __init__(self, *turns: Callable[[], object]) -> None:
        self.turns, self.pauses = iter(turns), 0

    def sleep(self, _seconds: float) -> None:
        self.pauses += 1
        next(self.turns, lambda: None)()


@pytest.fixture
def waiting(db: None, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., tuple[list[str], Worker]]]:
    def wait(sitting: Sitting, *turns: Callable[[], object], kinds: tuple[str, ...] = ()) -> tuple[list[str], Worker]:
        worker, heard = Worker(*turns), []
        monkeypatch.setattr(demo_sitting.time, "sleep", worker.sleep)
        demo_sitting.wait_for_jobs(sitting, heard.append, "proofs", kinds)
        return heard, worker

    return wait  # type: ignore[return-value]


def finish(**which: Any) -> Callable[[], object]:
    return lambda: Job.objects.filter(**which).update(state="done")


def test_with_no_work_left_nobody_waits_and_letters_and_other_sittings_are_not_asked_about(
    waiting: Callable[..., Any],
) -> None:
    cast, other = make_cast(), make_cast("beside")
    jobs.enqueue("letter", 1, cast.sitting)
    jobs.enqueue("proof", 1, other.sitting)
    Job.objects.create(kind="proof", thing=2, sitting=cast.sitting, state="done")
    Job.objects.create(kind="sort", thing=2, sitting=other.sitting, state="failed")
    heard, worker = waiting(cast.sitting)
    assert (heard, worker.pauses) == ([], 0)
    jobs.enqueue("sort", 1, cast.sitting)
    assert waiting(cast.sitting, kinds=("proof",))[1].pauses == 0


def test_it_waits_until_the_last_is_done_and_tells_each_ten(waiting: Callable[..., Any]) -> None:
    cast = make_cast()
    for thing in range(12):
        jobs.enqueue("proof", thing, cast.sitting)
    Job.objects.filter(thing=0).update(state="running")
    turns = [finish(thing__lt=3), lambda: None, finish(thing__lt=5), finish(thing__lt=11), finish()]
    heard, worker = waiting(cast.sitting, *turns)
    assert heard == ["9 proofs to go"]
    assert worker.pauses == 5


def test_where_no_worker_takes_it_it_is_done_here_and_a_failure_is_told(
    waiting: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaks(_thing: int) -> None:
        raise BadInput("The frame ends in the middle.")

    done: list[int] = []
    cast = make_cast()
    monkeypatch.setattr(demo_sitting, "STANDSTILL", -1)
    monkeypatch.setitem(jobs.KINDS, "proof", done.append)
    jobs.enqueue("proof", 5, cast.sitting)
    heard, _worker = waiting(cast.sitting)
    assert (heard, done) == (["No worker takes the work: doing it here"], [5])
    monkeypatch.setitem(jobs.KINDS, "proof", breaks)
    jobs.enqueue("proof", 6, cast.sitting)
    with pytest.raises(Conflict, match=r"proof 6: The frame ends in the middle\."):
        waiting(cast.sitting)


def test_work_in_hand_is_waited_for_and_not_done_here(
    waiting: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    cast = make_cast()
    monkeypatch.setattr(demo_sitting, "STANDSTILL", 0)
    for thing in range(2):
        jobs.enqueue("proof", thing, cast.sitting)
    lease = timezone.now() + timedelta(minutes=1)
    Job.objects.update(rung_at=timezone.now() - timedelta(minutes=5))
    Job.objects.filter(thing=0).update(state="running", lease_until=lease)
    heard, worker = waiting(cast.sitting, lambda: None, lambda: None, finish())
    assert (heard, worker.pauses) == ([], 3)


def test_a_worker_that_lives_is_given_the_time_to_start_and_one_that_died_is_not(
    waiting: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path
) -> None:
    settings.SITE_DIR = tmp_path
    here: list[int] = []
    cast = make_cast()
    monkeypatch.setattr(demo_sitting, "STANDSTILL", -1)
    monkeypatch.setitem(jobs.KINDS, "proof", here.append)
    with subprocess.Popen(["sleep", "60"]) as process:
        embedded.worker_file(tmp_path).write_text(processes.owner_name(process.pid))
        jobs.enqueue("proof", 1, cast.sitting)
        heard, worker = waiting(cast.sitting, lambda: None, lambda: None, finish(thing=1))
        assert (heard, here, worker.pauses) == ([], [], 3)
        monkeypatch.setattr(demo_sitting, "STARTING", -1)  # nor is it waited for without end
        jobs.enqueue("proof", 2, cast.sitting)
        waiting(cast.sitting)
        assert here == [2]
        monkeypatch.setattr(demo_sitting, "STARTING", 300)
        process.kill()
    jobs.enqueue("proof", 3, cast.sitting)
    assert (waiting(cast.sitting)[0], here) == (["No worker takes the work: doing it here"], [2, 3])


# The second sitting, in the middle of finishing


@pytest.fixture
def finishing(said: list[str], monkeypatch: pytest.MonkeyPatch) -> Invite:
    sizes.load()

    def deliver(pk: int) -> None:
        Delivery.objects.filter(pk=pk).update(state="made")

    monkeypatch.setitem(jobs.KINDS, "delivery", deliver)
    owner = demo_sitting.photographer()
    another = Sitting.objects.create(slug="another", title="Another", photographer=owner, stage="finishing")
    frame = Frame.objects.create(
        sitting=another, sha256="f" * 64, key="k", name="n", bytes=1, file_format="JPEG", width=4, height=6
    )
    retouch(another.finals.create(frame=frame, round=another.rounds.create(number=1)), Visitor(user=owner), warmth=0)
    return demo_finishing.prepare(said.append)


def test_the_second_sitting_has_one_final_delivered_one_sent_back_and_one_to_look_at(finishing: Invite) -> None:
    sitting = Sitting.objects.get(title=demo_finishing.TITLE)
    assert (sitting.stage, sitting.allowance, sitting.subject_name) == ("finishing", 3, demo_sitting.SUBJECT[0])
    assert sitting.deadline is not None
    assert sitting.deadline > sitting.created_at.date()
    another = Version.objects.get(final__sitting__title="Another")
    assert (another.kind_stated, another.sent_at) == (Version.Stated.NOBODY, None)
    assert finishing == sitting.invites.get(role="subject")
    assert [look.frames.count() for look in sitting.looks.all()] == [4, 4]
    assert {look.purpose for look in sitting.looks.all()} == {"portfolio"}
    finals = list(sitting.finals.order_by("position"))
    assert [final.state for final in finals] == ["approved", "returned", "shown"]
    assert [final.pinned_notes.count() for final in finals] == [0, 1, 0]
    for final in finals:
        version = final.versions.get()
        assert version.sent_at is not None
        assert version.kind == Version.Kind.RETOUCHED
    (delivery,) = sitting.deliveries.all()
    assert (delivery.state, set(delivery.sizes)) == ("ready", set(demo_finishing.SIZES))
    assert {order["final"] for order in delivery.orders} == {finals[0].pk}
    (licence,) = sitting.licences.all()
    assert [acceptance.invite for acceptance in licence.acceptances.all()] == [finishing]
    assert {invite.email for invite in sitting.invites.all()} == {
        demo_sitting.SUBJECT[1],
        demo_sitting.REPRESENTATION[1],
    }


def test_prepared_again_the_second_sitting_is_as_it_was(finishing: Invite, said: list[str]) -> None:
    before = everything()
    assert demo_finishing.prepare(said.append) == finishing
    after = everything()
    for name in before:
        assert after[name] == before[name], name


def test_stopped_between_its_retouches_and_their_sending_it_goes_on_from_there(
    said: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    sizes.load()
    monkeypatch.setitem(jobs.KINDS, "delivery", lambda pk: Delivery.objects.filter(pk=pk).update(state="made"))

    def stopped(*_asked: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(rehearse, "send_retouches", stopped)
        with pytest.raises(KeyboardInterrupt):
            demo_finishing.prepare(said.append)
    finals = Sitting.objects.get(title=demo_finishing.TITLE).finals.order_by("position")
    assert [(final.state, final.versions.count()) for final in finals] == [("agreed", 1)] * 3
    demo_finishing.prepare(said.append)
    assert [(final.state, final.versions.count()) for final in finals.all()] == [
        ("approved", 1),
        ("returned", 1),
        ("shown", 1),
    ]


# The rehearsal


def test_a_rehearsal_begins_with_the_proofs_out_or_not_at_all(said: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    sitting = make_cast().sitting
    monkeypatch.setattr(rehearse.demo_sitting, "prepare", lambda _say: demo_sitting.Demo(sitting, 0, 0, {}))
    for stage in ("planning", "agreeing", "finishing", "delivered", "archived"):
        Sitting.objects.update(stage=stage)
        sitting.refresh_from_db()
        with pytest.raises(Conflict, match=f"The demo is {stage} already"):
            rehearse.run(said.append)
    assert not JournalLine.objects.exists()


def test_in_a_rehearsal_the_agent_comes_round_and_each_retouch_is_approved(
    demo: demo_sitting.Demo, said: list[str]
) -> None:
    sitting, owner = demo.sitting, Visitor(user=User.objects.get())
    subject, agent = (Visitor(invite=sitting.invites.get(role=role)) for role in ("subject", "representation"))
    finals = rehearse._agree(sitting, subject, agent, said.append)
    assert len(finals) == rehearse.FINALS
    sitting.refresh_from_db()
    assert sitting.stage == "finishing"
    assert said[-1].startswith("List closed: DAM_")
    for final in finals:
        assert set(final.frame.marks.filter(kind="pick").values_list("invite__role", flat=True)) == {
            "subject",
            "representation",
        }
    rehearse._finish(finals, owner, subject, said.append)
    assert [final.state for final in sitting.finals.order_by("position")] == ["approved"] * 3 + ["as_it_is"]
    assert [final.versions.count() for final in finals] == [2, 1, 1, 0]  # the first went back once
    assert sitting.journal.filter(verb="sent back").count() == 1
    assert not Final.objects.filter(pinned_notes=None, pk=finals[0].pk).exists()


def test_retouches_are_sent_by_the_photographer_alone(said: list[str]) -> None:
    cast, other = make_cast(stage="finishing"), make_cast("beside")
    with pytest.raises(Missing):
        rehearse.send_retouches(cast.sitting, other.as_owner, said.append)
    with pytest.raises(Refused):
        rehearse.send_retouches(cast.sitting, cast.as_subject, said.append)
    rehearse.send_retouches(cast.sitting, cast.as_owner, said.append)  # none waits: nothing
    assert not JournalLine.objects.exists()


def test_one_crop_is_moved_by_a_fiftieth_and_stays_inside(monkeypatch: pytest.MonkeyPatch) -> None:
    def crop(y: int, height: int) -> SimpleNamespace:
        return SimpleNamespace(x=5, y=y, width=400, height=height, tilt=1.5, frame_height=600)

    moved: list[tuple[int, ...]] = []
    monkeypatch.setattr(rehearse.cut, "adjust", lambda _crop, _by, *numbers: moved.append(numbers))
    for y, height, wanted in ((40, 500, 30), (0, 500, 10), (5, 590, 10), (10, 500, 0)):
        crops = [crop(0, 600), crop(y, height)]  # one over the whole height cannot be moved
        monkeypatch.setattr(rehearse.cut, "propose", lambda _final, _sizes, _by, crops=crops: crops)
        heard: list[str] = []
        rehearse._crop([None], [], Visitor(), heard.append)  # type: ignore[list-item]
        assert moved[-1] == (5, wanted, 400, height, 1.5)
        assert heard == ["2 crops proposed, one moved by hand"]


# The archive that is opened at the end


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[Path, Any]]:
    """An archive of two pictures as text, and a delivery that asks for them."""
    monkeypatch.setattr(rehearse.licences, "terms_of", lambda _licence: "terms")
    monkeypatch.setattr(rehearse.build, "rights_record", lambda terms, said: (terms, said))
    monkeypatch.setattr(
        rehearse.door, "check_rights", lambda data, record: () if record[1] in data.decode() else ("x",)
    )
    monkeypatch.setattr(rehearse, "sentences", lambda differences: list(differences))
    monkeypatch.setattr(rehearse, "_check_picture", lambda name, data, numbers, order: None)

    def pack(files: dict[str, str], asked: tuple[str, ...] = ("a.jpg", "b.jpg"), sums: str = "") -> tuple[Path, Any]:
        lines = sums or "".join(
            f"{hashlib.sha256(text.encode()).hexdigest()}  {name}\n" for name, text in files.items()
        )
        path = tmp_path / "archive.zip"
        with zipfile.ZipFile(path, "w") as out:
            for name, text in {**files, "SHA256SUMS": lines}.items():
                out.writestr(f"veld-ansa/{name}", text)
        orders = [SimpleNamespace(name=name, said=f"rights of {name}") for name in asked]
        monkeypatch.setattr(rehearse.file_order, "of", lambda _delivery: orders)
        rows = [SimpleNamespace(name=name, size_slug="s") for name in asked]
        delivery = SimpleNamespace(
            archive_sha256=hashlib.sha256(path.read_bytes()).hexdigest(), licence=None, sizes={"s": {"use": "web"}},
            files=SimpleNamespace(all=lambda: rows),
        )  # fmt: skip
        return path, delivery

    return pack


GOOD = {"web/a.jpg": "rights of a.jpg", "web/b.jpg": "rights of b.jpg", "licence.txt": "terms"}


def test_an_archive_that_holds_what_was_asked_for_is_counted(archive: Callable[..., Any]) -> None:
    assert rehearse.check_archive(*archive(GOOD)) == 2


@pytest.mark.parametrize(
    ("files", "more", "words"),
    [
        ({**GOOD, "web/b.jpg": "no word"}, {}, "b.jpg: x"),
        ({"web/a.jpg": GOOD["web/a.jpg"]}, {}, "exactly the files"),
        (GOOD, {"sums": f"{'0' * 64}  web/a.jpg\n"}, "web/a.jpg is not what SHA256SUMS says"),
    ],
)
def test_the_first_file_that_is_not_what_it_should_be_is_named(
    archive: Callable[..., Any], files: dict[str, str], more: dict[str, Any], words: str
) -> None:
    with pytest.raises(Conflict, match=words):
        rehearse.check_archive(*archive(files, **more))


def test_an_archive_that_was_changed_or_damaged_is_not_the_one_that_was_made(archive: Callable[..., Any]) -> None:
    path, delivery = archive(GOOD)
    data = path.read_bytes()
    path.write_bytes(data.replace(b"rights of b.jpg", b"rights of c.jpg"))
    with pytest.raises(Conflict, match="not the archive that was made"):
        rehearse.check_archive(path, delivery)
    delivery.archive_sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    with pytest.raises(Conflict, match=r"is damaged at veld-ansa/web/b\.jpg"):
        rehearse.check_archive(path, delivery)


@pytest.mark.parametrize(
    ("size", "facts", "length", "words"),
    [
        ((800, 1000), (800, 1000), 9, ""), ((800, 1000), (800, 999), 9, "measures 800 × 999, not 800 × 1000"),
        ((0, 0), (4000, 6000), 9, ""), ((0, 0), (800, 1000), 9, "not 4000 × 6000"),
        ((800, 1000), (800, 1000), 10, ""), ((800, 1000), (800, 1000), 11, "has 11 bytes; 10 are allowed"),
    ],
)  # fmt: skip
def test_a_picture_has_the_pixels_and_the_bytes_of_its_size(
    monkeypatch: pytest.MonkeyPatch, size: tuple[int, int], facts: tuple[int, int], length: int, words: str
) -> None:
    spec = SimpleNamespace(out_width=size[0], out_height=size[1], full_frame=not size[0], byte_cap=10)
    monkeypatch.setattr(rehearse.sizes, "spec_from", lambda _numbers: spec)
    seen: list[bytes] = []

    def verify(path: Path, _limits: object) -> SimpleNamespace:
        seen.append(path.read_bytes())
        return SimpleNamespace(width=facts[0], height=facts[1])

    monkeypatch.setattr(rehearse.door, "verify", verify)
    order: Any = SimpleNamespace(crop=SimpleNamespace(width=4000, height=6000))
    if words:
        with pytest.raises(Conflict, match=words):
            rehearse._check_picture("a.jpg", b"x" * length, {}, order)
    else:
        rehearse._check_picture("a.jpg", b"x" * length, {}, order)
    assert seen == [b"x" * length]


def test_a_painter_that_changed_paints_anew_and_takes_the_old_pictures_away(tmp_path: Path, settings: Any) -> None:
    settings.DEMO_CACHE = tmp_path
    asked: list[tuple[Any, ...]] = []
    old, other = tmp_path / "painted-000000000000", tmp_path / "tables"
    for folder in (old, other, demo_sitting.cache_folder()):
        folder.mkdir()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(painter, "paint_sitting", lambda *words, **more: asked.append((*words, more)))
        heard: list[str] = []
        demo_sitting.paint(heard.append)
    assert sorted(tmp_path.iterdir()) == sorted([other, demo_sitting.cache_folder()])
    folder, number, side, more = asked[0]
    assert (folder, number, side) == (demo_sitting.cache_folder(), 7, settings.DEMO_SIDE)
    for done in range(1, 13):
        more["progress"](done, 12)
    assert heard == ["5 of 12 painted", "10 of 12 painted", "12 of 12 painted"]


def test_of_each_run_of_near_identical_frames_one_is_marked() -> None:
    frames = [Frame(pk=pk) for pk in (1, 2, 3, 4)]
    assert demo_sitting._one_of_each_run(frames, {1: 7, 2: 7, 3: 8, 4: 7}) == [frames[0], frames[2]]
