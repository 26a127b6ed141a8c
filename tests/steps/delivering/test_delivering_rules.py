"""Deliveries by plain rows: what is cut from what, which crops stand, who may fetch when, whose word counts."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.contrib.auth.hashers import make_password

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.imaging.framing.geometry import Rect
from galleries.models import (
    Acceptance,
    Crop,
    DeliveredFile,
    Delivery,
    DeliverySize,
    Final,
    Frame,
    Invite,
    Job,
    JournalLine,
    Letter,
    Licence,
    Look,
    Receipt,
    Sitting,
    UsageRequest,
    Version,
)
from galleries.steps.delivering import build, cut, licences, offer, orders, package, receipts, sizes, usage
from tests.cast import Cast, make_cast
from tests.steps.clock import MOMENT, Clock

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
S, D = Final.State, Delivery.State


@pytest.fixture
def cast(clock: Clock) -> Cast:
    return make_cast(stage="finishing", send_at_once=False)


def final_of(cast: Cast, number: int = 1, state: str = S.AS_IT_IS, **frame: Any) -> Final:
    return cast.final(number, state, **frame)


def version_of(final: Final, number: int, *words: str, sent: bool = True, **fields: Any) -> Version:
    """A version with these words said of it, each by somebody else."""
    at = final.frame.captured_at
    values = {"key": f"v{number}", "name": "v.jpg", "bytes": 1, "width": 2000, "height": 3000, **fields}
    version: Version = final.versions.create(
        number=number, sha256=f"{final.pk:032x}{number:032x}", sent_at=at if sent else None, **values
    )
    for word in words:
        version.approvals.create(sha256=version.sha256, decision=word, who="Somebody")
    return version


def licence_of(cast: Cast) -> Licence:
    return licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)


def delivery_of(
    cast: Cast, state: str = D.READY, *finals: Final, licence: Licence | None = None, **fields: Any
) -> Delivery:
    number = cast.sitting.deliveries.count() + 1
    licence = licence or licences.current(cast.sitting) or licence_of(cast)
    made: Delivery = cast.sitting.deliveries.create(
        **{"number": number, "licence": licence, "sizes": {}, "state": state, **fields}
    )
    for final in finals:
        made.files.create(
            final=final, size_slug="s", name=f"{final.pk}.jpg", key="k", sha256=f"{final.pk:064x}", bytes=10
        )
    return made


def size(slug: str) -> DeliverySize:
    if not DeliverySize.objects.exists():
        sizes.load()
    return DeliverySize.objects.get(slug=slug)


def verbs() -> list[str]:
    return list(JournalLine.objects.order_by("pk").values_list("verb", flat=True))


# --- what a final is cut from ---

OK, NO = "approved", "returned"


@pytest.mark.parametrize(
    ("state", "versions", "source"),
    [
        (S.APPROVED, [((OK,), True)], 1),
        (S.APPROVED, [((OK,), True), ((), True)], 2),
        (S.APPROVED, [((OK,), True), ((OK,), False)], 1),  # one that was never sent is nobody's word
        (S.APPROVED, [((OK,), False)], None),
        (S.AS_IT_IS, [((OK,), True)], None),
        (S.SHOWN, [((OK,), True)], 1),
        (S.SHOWN, [((OK, NO), True)], None),
        (S.SHOWN, [((NO,), True)], None),
        (S.SHOWN, [((), True)], None),
        (S.RETURNED, [((OK,), True), ((NO,), True)], 1),
        (S.SHOWN, [((OK,), True), ((OK,), True), ((), True)], 2),
        (S.AGREED, [], None),
    ],
)
def test_a_final_is_cut_from_what_was_approved_or_from_the_frame(
    cast: Cast, state: str, versions: list[tuple[tuple[str, ...], bool]], source: int | None
) -> None:
    final = final_of(cast, state=state)
    for number, (words, sent) in enumerate(versions, 1):
        version_of(final, number, *words, sent=sent)
    found = cut.source_of(Final.objects.get(pk=final.pk))
    if source is None:
        frame = final.frame
        assert (found.key, found.sha256, found.version) == (frame.key, frame.sha256, None)
        assert (found.width, found.height) == (4000, 6000)
    else:
        assert found.version == final.versions.get(number=source)
        assert (found.key, found.width, found.height) == (f"v{source}", 2000, 3000)


# --- crops ---


@pytest.fixture
def crop(cast: Cast) -> Crop:
    final = final_of(cast, look=cast.look())
    (made,) = cut.propose(final, [size("print-8x10")], cast.as_owner)
    return made


def shown(final: Final, slug: str = "print-8x10") -> Crop:
    (crop,) = cut.shown(Final.objects.get(pk=final.pk), [size(slug)])
    return crop


def test_looking_writes_nothing_and_proposing_once(cast: Cast) -> None:
    final = final_of(cast)
    wanted = [size("web-square"), size("print-8x10")]
    assert [crop.size.slug for crop in cut.shown(final, wanted)] == ["web-square", "print-8x10"]
    assert not Crop.objects.exists()
    made = cut.propose(final, wanted, cast.as_owner)
    assert [crop.size.slug for crop in made] == ["web-square", "print-8x10"]
    line = JournalLine.objects.get()
    assert (line.verb, line.thing, line.detail) == (
        "crops proposed", "final 0001", {"sizes": ["web-square", "print-8x10"]},
    )  # fmt: skip
    again = cut.propose(Final.objects.get(pk=final.pk), wanted, cast.as_owner)
    assert [crop.pk for crop in again] == [crop.pk for crop in made]
    assert len(verbs()) == 1
    cut.propose(Final.objects.get(pk=final.pk), [*wanted, size("full")], cast.as_owner)
    assert JournalLine.objects.order_by("-pk")[0].detail == {"sizes": ["full"]}


def test_a_hand_set_crop_says_whose_it_is_and_where(cast: Cast, crop: Crop) -> None:
    other = cut.propose(final_of(cast, 2), [size("print-8x10")])[0]
    change = Sitting.objects.get().change
    cut.adjust(crop, cast.as_owner, 100, 200, 800, 1000, 1.5)
    row = Crop.objects.get(pk=crop.pk)
    assert cut.rect_of(row) == Rect(100, 200, 800, 1000)
    assert (row.tilt, row.by_hand, row.by, row.reasons) == (1.5, True, "Tamsin", [])
    assert (row.frame_width, row.frame_height, row.source_sha256) == (4000, 6000, crop.final.frame.sha256)
    line = JournalLine.objects.order_by("-pk")[0]
    assert (line.verb, line.thing) == ("crop set", "final 0001, print-8x10")
    assert line.detail == {"crop": [100, 200, 800, 1000], "tilt": 1.5}
    assert Sitting.objects.get().change == change + 1
    assert not Crop.objects.get(pk=other.pk).by_hand


@pytest.mark.parametrize(
    ("rect", "tilt", "fits"),
    [
        ((0, 0, 4000, 5000), 0, True),
        ((0, 1000, 4000, 5000), 0, True),
        ((0, 1001, 4000, 5000), 0, False),
        ((1, 0, 4000, 5000), 0, False),
        ((0, 0, 4, 5), 0, True),
        ((0, 0, 0, 5), 0, False),
        ((0, 0, 4, 0), 0, False),
        ((1600, 2500, 800, 1000), 15.0, True),
        ((1600, 2500, 800, 1000), -15.0, True),
        ((1600, 2500, 800, 1000), 15.1, False),
        ((1600, 2500, 800, 1000), -15.1, False),
        ((0, 0, 800, 1000), 1.0, False),
        ((7, 100, 800, 1000), 1.0, False),  # turned by a degree it is 817.3 wide: a corner 1.7 px outside
        ((8, 100, 800, 1000), 1.0, True),  # 0.7 px: less than the one that is let pass
        ((0, 0, 800, 1003), 0, False),
    ],
)
def test_a_crop_lies_in_the_picture_to_the_pixel(
    cast: Cast, crop: Crop, rect: tuple[int, int, int, int], tilt: float, fits: bool
) -> None:
    if fits:
        cut.adjust(crop, cast.as_owner, *rect, tilt)
    else:
        with pytest.raises(BadInput, match=f"“{crop.size.title}”: "):
            cut.adjust(crop, cast.as_owner, *rect, tilt)
    crop.refresh_from_db()
    assert ((crop.x, crop.y, crop.width, crop.height, crop.tilt) == (*rect, tilt)) == fits == crop.by_hand


@pytest.mark.parametrize(("rect", "tilt", "fits"), [((0, 0, 4000, 6000), 0.0, True), ((0, 0, 4000, 6000), 1.0, False),
                                                   ((0, 0, 4000, 5999), 0.0, False)])  # fmt: skip
def test_the_whole_frame_is_the_whole_frame(
    cast: Cast, rect: tuple[int, int, int, int], tilt: float, fits: bool
) -> None:
    (full,) = cut.propose(final_of(cast), [size("full")])
    if fits:
        cut.adjust(full, cast.as_owner, *rect, tilt)
    else:
        with pytest.raises(BadInput, match="whole frame"):
            cut.adjust(full, cast.as_owner, *rect, tilt)


def test_a_crop_of_a_picture_of_another_size_shows_the_same_part(cast: Cast, crop: Crop) -> None:
    cut.adjust(crop, cast.as_owner, 1000, 2000, 800, 1000, 2.0)
    final = crop.final
    Final.objects.filter(pk=final.pk).update(state=S.APPROVED)
    version_of(final, 1, width=2000, height=3000)  # half as large: half the numbers
    half = shown(final)
    assert cut.rect_of(half) == Rect(500, 1000, 400, 500)
    assert (half.by_hand, half.by, half.tilt) == (True, "Tamsin", 2.0)
    assert (half.frame_width, half.frame_height) == (2000, 3000)
    assert "Carried over" in " ".join(half.why)
    assert cut.rect_of(Crop.objects.get(pk=crop.pk)) == Rect(1000, 2000, 800, 1000)  # looked at only
    version_of(final, 2, width=8000, height=12000)
    assert cut.rect_of(shown(final)) == Rect(2000, 4000, 1600, 2000)


@pytest.mark.parametrize(
    ("width", "height", "rect"),
    [
        (4000, 4000, Rect(400, 0, 3200, 4000)),  # too low for the height of 5000: as high as it is
        (4, 6, Rect(0, 0, 4, 5)),
        (400, 600, Rect(0, 50, 400, 500)),
    ],
)
def test_carried_over_it_stays_in_shape_and_inside(cast: Cast, crop: Crop, width: int, height: int, rect: Rect) -> None:
    cut.adjust(crop, cast.as_owner, 0, 500, 4000, 5000)
    Final.objects.filter(pk=crop.final.pk).update(state=S.APPROVED)
    version_of(crop.final, 1, width=width, height=height)
    assert cut.rect_of(shown(crop.final)) == rect


def test_a_turn_that_no_longer_fits_is_left_out(cast: Cast, crop: Crop) -> None:
    cut.adjust(crop, cast.as_owner, 200, 200, 800, 1000, 10.0)
    Final.objects.filter(pk=crop.final.pk).update(state=S.APPROVED)
    version_of(crop.final, 1, width=4000, height=1500)  # cut above and below
    carried = shown(crop.final)
    assert carried.tilt == 0.0
    assert Rect(0, 0, 4000, 1500).width >= carried.x + carried.width


def test_the_programs_own_crop_is_proposed_anew_for_other_bytes_and_a_persons_is_not(cast: Cast, crop: Crop) -> None:
    final = crop.final
    Crop.objects.filter(pk=crop.pk).update(x=7)
    assert shown(final).x == 7  # of the same bytes: as it stands
    Frame.objects.filter(pk=final.frame.pk).update(sha256="f" * 64)
    assert shown(final).pk is None
    Crop.objects.filter(pk=crop.pk).update(by_hand=True)
    assert (shown(final).pk, shown(final).x) == (crop.pk, 7)  # a person's: the picture has the same size
    Frame.objects.filter(pk=final.frame.pk).update(height=5999)
    assert shown(final).pk is None
    assert cut.is_stale(Crop.objects.get(pk=crop.pk))
    assert "another size now" in " ".join(cut.warnings(Crop.objects.get(pk=crop.pk)))


def test_back_to_the_proposal_forgets_the_hand(cast: Cast, crop: Crop) -> None:
    proposed = cut.rect_of(crop)
    cut.adjust(crop, cast.as_owner, 0, 0, 800, 1000, 0)
    cut.back_to_proposal(crop, cast.as_owner)
    row = Crop.objects.get()
    assert (cut.rect_of(row), row.by_hand, row.by, row.pk) == (proposed, False, "", crop.pk)
    assert verbs() == ["crops proposed", "crop set", "crops proposed"]


def test_a_crop_of_another_version_is_not_taken_over(cast: Cast, crop: Crop) -> None:
    Final.objects.filter(pk=crop.final.pk).update(state=S.APPROVED)
    version_of(crop.final, 1)
    with pytest.raises(BadInput, match="another version"):
        cut.adopt(Crop.objects.get(pk=crop.pk), cast.as_owner, [size("print-8x10"), size("web-square")])
    assert Crop.objects.count() == 1


@pytest.mark.parametrize("verb", ["propose", "adjust", "adopt", "back", "sheet"])
def test_crops_are_the_photographers(cast: Cast, crop: Crop, verb: str) -> None:
    calls: dict[str, Callable[[Visitor], object]] = {
        "propose": lambda by: cut.propose(crop.final, [size("web-square")], by),
        "adjust": lambda by: cut.adjust(crop, by, 0, 0, 800, 1000),
        "adopt": lambda by: cut.adopt(crop, by, [size("web-square")]),
        "back": lambda by: cut.back_to_proposal(crop, by),
        "sheet": lambda by: cut.preview_sheet(cast.sitting, [size("web-square")], by),
    }
    for by, error in ((cast.as_subject, Refused), (make_cast("other").as_owner, Missing)):
        with pytest.raises(error):
            calls[verb](by)
    assert Crop.objects.count() == 1
    assert verbs() == ["crops proposed"]


def test_names_and_tones_come_from_sitting_and_look(cast: Cast) -> None:
    final = final_of(cast, look=cast.look(treatment=Look.Treatment.MONOCHROME))
    assert cut.monochrome(final)
    assert not cut.monochrome(final_of(cast, 2, look=cast.look()))
    assert not cut.monochrome(final_of(cast, 3))
    assert cut.strip_name(cast.sitting) == "Ansa Veld"
    cast.sitting.name_for_strip = "A. Veld"
    assert cut.strip_name(cast.sitting) == "A. Veld"


# --- asked for ---


def asked(cast: Cast, *slugs: str, **how: Any) -> Delivery:
    wanted = [size(slug) for slug in slugs or ("web-square",)]
    licence = how.pop("licence", None) or licences.current(cast.sitting) or licence_of(cast)
    by = how.pop("by", cast.as_owner)
    return orders.prepare(Sitting.objects.get(pk=cast.sitting.pk), wanted, licence, by, **how)


def test_everything_that_a_file_hangs_on_is_written_down(cast: Cast, clock: Clock) -> None:
    first = final_of(cast, 1, look=cast.look())
    second = final_of(cast, 2)
    Sitting.objects.update(print_profile_key="sittings/x/profile.icc")
    made = asked(cast, "print-8x10", "web-square", days=9, passcode="harbour")
    assert [(one["final"], one["size"]) for one in made.orders] == [
        (first.pk, "print-8x10"), (first.pk, "web-square"), (second.pk, "print-8x10"), (second.pk, "web-square"),
    ]  # fmt: skip
    assert [one["icc"] for one in made.orders[:2]] == ["sittings/x/profile.icc", ""]  # prints alone
    assert [one["name"] for one in made.orders[::2]] == [
        "veld-ansa_linen-shirt_0001_print-8x10.jpg", "veld-ansa_no-look_0002_print-8x10.jpg",
    ]  # fmt: skip
    assert made.orders[0]["key"] == first.frame.key
    assert (made.number, made.state, made.expires_at) == (1, "waiting", clock.at + 9 * DAY)
    assert offer.passcode_fits(made, "harbour")
    assert not offer.passcode_fits(made, "harbor")
    assert "harbour" not in str(made.__dict__)
    line = JournalLine.objects.order_by("-pk")[0]
    assert (line.verb, line.thing) == ("delivery asked for", "delivery 1")
    assert line.detail == {"files": 4, "licence": 1, "sizes": ["print-8x10", "web-square"]}
    job = Job.objects.get()
    assert (job.kind, job.thing, job.sitting) == ("delivery", made.pk, cast.sitting)


def test_the_same_is_not_asked_for_twice_at_once_and_numbers_go_on(cast: Cast) -> None:
    final_of(cast)
    first = asked(cast)
    with pytest.raises(Conflict, match="being made already"):
        asked(cast)
    assert asked(cast, "web-square", "print-8x10").number == 2
    Delivery.objects.filter(pk=first.pk).update(state=D.FAILED)
    assert asked(cast).number == 3
    assert Job.objects.count() == 3


@pytest.mark.parametrize(
    ("days", "fits"), [(1, True), (3650, True), (3651, False), (-1, False), (0, True), (None, True)]
)
def test_a_delivery_is_there_for_so_many_days(cast: Cast, clock: Clock, days: int | None, fits: bool) -> None:
    if not fits:
        with pytest.raises(BadInput, match="1 to 3650"):
            offer.until(days)
    else:
        assert offer.until(days) == (clock.at + timedelta(days=days) if days else None)


def test_finals_that_wait_are_left_out_only_when_that_is_said(cast: Cast) -> None:
    ready, waits = final_of(cast, 1), final_of(cast, 2, S.SHOWN)
    final_of(cast, 3)
    Final.objects.filter(frame__number=3).update(on_list=False)
    with pytest.raises(BadInput, match="0002: waits for approval"):
        asked(cast)
    assert [one["final"] for one in asked(cast, partial=True).orders] == [ready.pk]
    Final.objects.filter(pk=ready.pk).update(state=S.RETURNED)
    with pytest.raises(BadInput, match="0001: sent back"):
        asked(cast, partial=True)
    Final.objects.filter(pk__in=[ready.pk, waits.pk]).update(on_list=False)
    with pytest.raises(BadInput, match="the list is empty"):
        asked(cast, partial=True)


@pytest.mark.parametrize("stage", ["planning", "proofing", "agreeing", "archived"])
def test_nothing_is_delivered_while_the_list_is_open(cast: Cast, stage: str) -> None:
    final_of(cast)
    licence_of(cast)
    Sitting.objects.update(stage=stage)
    with pytest.raises(Refused, match="list of finals is closed"):
        asked(cast)
    assert not Delivery.objects.exists()


def test_what_else_stops_a_delivery_leaves_nothing(cast: Cast) -> None:
    final_of(cast)
    mine, other = licence_of(cast), make_cast("other", "finishing")
    theirs = licence_of(other)
    before = len(verbs())
    with pytest.raises(BadInput, match="another sitting"):
        asked(cast, licence=theirs)
    with pytest.raises(BadInput, match="at least one size"):
        orders.prepare(cast.sitting, [], mine, cast.as_owner)
    DeliverySize.objects.filter(slug="print-8x10").update(retired=True)
    with pytest.raises(BadInput, match="is retired"):
        asked(cast, "web-square", "print-8x10")
    with pytest.raises(Missing):
        asked(cast, by=other.as_owner)
    with pytest.raises(Refused):
        asked(cast, by=cast.as_subject)
    assert (Delivery.objects.count(), Job.objects.count(), Crop.objects.count(), len(verbs())) == (0, 0, 0, before)


def test_only_pictures_that_nobody_was_handed_are_made_again(cast: Cast) -> None:
    one, two = final_of(cast, 1), final_of(cast, 2)
    first = asked(cast)
    Delivery.objects.filter(pk=first.pk).update(state=D.MADE)
    assert len(asked(cast, changed_only=True).orders) == 2  # made, and not handed over
    Delivery.objects.exclude(pk=first.pk).delete()
    Delivery.objects.filter(pk=first.pk).update(state=D.READY)
    with pytest.raises(BadInput, match="Nothing has changed"):
        asked(cast, changed_only=True)
    assert len(asked(cast, "web-square", "print-8x10", changed_only=True).orders) == 2
    cut.adjust(one.crops.get(size__slug="web-square"), cast.as_owner, 0, 0, 400, 400)
    third = asked(cast, changed_only=True)
    assert [order["final"] for order in third.orders] == [one.pk]
    assert third.changed_only
    Final.objects.filter(pk=two.pk).update(alt_text="Other words")
    Delivery.objects.filter(pk=third.pk).update(state=D.READY)
    with pytest.raises(BadInput, match="only what is written into the files"):
        asked(cast, changed_only=True)


def test_each_changed_file_says_what_is_another_than_before(cast: Cast) -> None:
    one, two = final_of(cast, 1), final_of(cast, 2)
    Delivery.objects.filter(pk=asked(cast).pk).update(state=D.READY)
    cut.adjust(one.crops.get(size__slug="web-square"), cast.as_owner, 0, 0, 400, 400)
    Frame.objects.filter(pk=two.frame_id).update(look=cast.look(treatment=Look.Treatment.MONOCHROME))
    second = asked(cast, "web-square", "print-8x10", changed_only=True)
    said = {" ".join(name.rsplit("_", 2)[1:]): why for name, why in orders.why_changed(second).items()}
    assert said == {
        "0001 web-square.jpg": ["another crop"],
        "0001 print-8x10.jpg": ["not delivered before"],
        "0002 web-square.jpg": ["black and white or colour"],
        "0002 print-8x10.jpg": ["not delivered before"],
    }
    Delivery.objects.filter(pk=second.pk).update(state=D.READY)
    Frame.objects.filter(pk=one.frame_id).update(sha256="f" * 64)
    third = asked(cast, changed_only=True)
    assert list(orders.why_changed(third).values()) == [["another version of the picture"]]
    # What was handed over later does not change what is said of an earlier one.
    assert next(iter(orders.why_changed(second).values())) == ["another crop"]


def test_the_passcode_of_the_delivery_before_is_kept_when_asked(cast: Cast) -> None:
    final_of(cast)
    assert asked(cast, passcode_as_before=True).passcode_hash == ""  # there was none before
    asked(cast, "print-8x10", passcode="harbour")
    third = asked(cast, "web-square", "print-8x10", passcode_as_before=True)
    assert offer.passcode_fits(third, "harbour")
    assert offer.passcode_fits(asked(cast, "print-4x6", passcode="other", passcode_as_before=True), "other")
    assert asked(cast, "print-5x7").passcode_hash == ""


def test_a_retouch_of_which_nobody_said_how_it_was_made_is_named(cast: Cast) -> None:
    silent, said, plain = final_of(cast, 1, S.APPROVED), final_of(cast, 2, S.APPROVED), final_of(cast, 3)
    waits = final_of(cast, 4, S.SHOWN)
    for final in (silent, said, waits):
        version_of(final, 1, OK, kind_stated="person" if final == said else "")
    assert orders.undeclared([silent, said, plain, waits]) == [silent]


# --- handed over ---


def sent_to() -> set[str]:
    return {letter.to for letter in Letter.objects.filter(kind="delivery")}


def test_the_last_of_the_list_ends_the_finishing_and_no_other(cast: Cast) -> None:
    one, two = final_of(cast, 1), final_of(cast, 2)
    first, second = delivery_of(cast, D.MADE, one), delivery_of(cast, D.MADE, two)
    offer.send(first, cast.as_owner)
    assert Sitting.objects.get().stage == "finishing"
    offer.withdraw(first, cast.as_owner)
    offer.send(second, cast.as_owner)
    assert Sitting.objects.get().stage == "finishing"  # the first final is nobody's again
    third = delivery_of(cast, D.MADE, one)
    offer.send(third, cast.as_owner)
    sitting = Sitting.objects.get()
    assert (sitting.stage, third.state, third.ready_at) == ("delivered", "ready", sitting.delivered_at)
    assert JournalLine.objects.order_by("-pk")[0].detail == {"delivery": 3}
    for wrong in (first, second, third):
        with pytest.raises(Conflict):
            offer.send(Delivery.objects.get(pk=wrong.pk), cast.as_owner)


def test_who_gets_no_file_of_it_gets_no_letter_of_it(cast: Cast, clock: Clock) -> None:
    bare = cast.look("Bare", kept_from_representation=True)
    kept, plain = final_of(cast, 1, look=bare), final_of(cast, 2)
    cast.sitting.invites.create(role="assistant", name="Mirre", email="m@solland.example", expires_at=clock.at + DAY)
    offer.send(delivery_of(cast, D.MADE, kept), cast.as_owner)
    assert sent_to() == {"ansa@veld.example"}
    Invite.objects.filter(pk=cast.recipient.pk).update(revoked_at=clock.at)
    offer.send(delivery_of(cast, D.MADE, kept, plain), cast.as_owner)
    assert sent_to() == {"ansa@veld.example", "ruben@achterberg.example"}
    assert set(Letter.objects.values_list("about", flat=True)) == {"delivery-1", "delivery-2"}


@pytest.mark.parametrize("at_once", [True, False])
def test_a_made_archive_waits_for_a_look_unless_the_sitting_says_otherwise(cast: Cast, at_once: bool) -> None:
    Sitting.objects.update(send_at_once=at_once)
    delivery = delivery_of(cast, D.WAITING, final_of(cast), problem="before")
    delivery = Delivery.objects.select_related("sitting").get(pk=delivery.pk)
    build._hand_over(delivery, package.Package("key", "all.zip", "e" * 64, 12))
    row = Delivery.objects.get()
    assert (row.state, row.problem) == ("ready" if at_once else "made", "")
    assert (row.archive_key, row.archive_name, row.archive_sha256, row.archive_bytes) == (
        "key",
        "all.zip",
        "e" * 64,
        12,
    )
    assert Letter.objects.exists() == at_once
    assert JournalLine.objects.filter(who="the program").exists()


def test_a_delivery_that_is_not_waiting_is_not_built(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(build, "_make_files", lambda _delivery: pytest.fail("it was built"))
    for state in (D.MADE, D.READY, D.FAILED, D.WITHDRAWN):
        build.build(delivery_of(cast, state).pk)
    build.build(0)


def test_a_file_made_by_the_same_recipe_is_taken_over_while_it_is_there(cast: Cast) -> None:
    final = final_of(cast)
    (order,) = build.file_order.of(asked(cast))
    old = delivery_of(cast)
    old.files.create(
        final=final, size_slug="s", name="old.jpg", key="sittings/x/f.jpg", sha256="a" * 64, bytes=3, width=4, height=5,
        recipe_sha256=order.recipe, warnings=[],
    )  # fmt: skip
    fresh = delivery_of(cast, D.WAITING)
    assert not build._reused(fresh, order)  # its bytes are gone
    build.storage.put(build.storage.private(), "sittings/x/f.jpg", b"abc")
    assert build._reused(fresh, order)
    row = fresh.files.get()
    assert (row.name, row.key, row.sha256, row.bytes, row.width) == (order.name, "sittings/x/f.jpg", "a" * 64, 3, 4)
    assert (row.final, row.size_slug, row.recipe_sha256) == (final, "web-square", order.recipe)
    DeliveredFile.objects.filter(delivery=old).update(recipe_sha256="0" * 64)
    fresh.files.all().delete()
    assert not build._reused(fresh, order)


# --- fetched ---


@pytest.mark.parametrize(
    ("state", "subject", "owner"),
    [("waiting", "still being made", "still being made"), ("failed", "still being made", "still being made"),
     ("made", "still being made", None), ("ready", None, None), ("withdrawn", "withdrawn", "withdrawn")],
)  # fmt: skip
def test_who_may_fetch_in_which_state(cast: Cast, state: str, subject: str | None, owner: str | None) -> None:
    delivery = delivery_of(cast, state)
    licences.accept(delivery.licence, cast.as_subject, "Ansa Veld")
    for by, said in ((cast.as_subject, subject), (cast.as_owner, owner)):
        if said is None:
            offer.check_fetch(delivery, by)
        else:
            with pytest.raises(Refused, match=said):
                offer.check_fetch(delivery, by)


def test_what_is_asked_of_whoever_fetches_in_turn(cast: Cast, clock: Clock) -> None:
    """Day, passcode, licence: what is missing first is said, and the studio is asked nothing."""
    kept = final_of(cast, 1, look=cast.look("Bare", kept_from_representation=True))
    delivery = delivery_of(
        cast, D.READY, kept, final_of(cast, 2), expires_at=clock.at + DAY, passcode_hash=make_password("harbour")
    )

    def refused(by: Visitor, said: str, **how: bool) -> None:
        with pytest.raises(Refused, match=said):
            offer.check_fetch(delivery, by, **how)

    agent = cast.as_representation
    refused(agent, "passcode", passcode_given=False)
    refused(agent, "Accept the licence")
    licences.accept(delivery.licence, agent, "Ruben Achterberg")
    refused(cast.as_subject, "Accept the licence")  # nobody accepts for another
    offer.check_fetch(delivery, agent)
    refused(agent, "file by file", whole=True)  # one file in it is kept from them
    licences.accept(delivery.licence, cast.as_subject, "Ansa Veld")
    offer.check_fetch(delivery, cast.as_subject, whole=True)
    clock.passes(DAY - MOMENT)
    offer.check_fetch(delivery, agent)
    clock.passes(MOMENT)
    refused(agent, "until 11 March 2027")
    offer.check_fetch(delivery, cast.as_owner, passcode_given=False, whole=True)
    other = make_cast("other", "finishing")
    for stranger in (other.as_subject, other.as_owner, Visitor()):
        with pytest.raises(Missing):
            offer.check_fetch(delivery, stranger)


@pytest.mark.parametrize("state", ["waiting", "made", "ready", "failed", "withdrawn"])
def test_what_may_be_done_with_a_delivery_in_each_state(cast: Cast, clock: Clock, state: str) -> None:
    def comes(verb: Callable[[Delivery], object], to: str | None) -> Delivery:
        delivery = delivery_of(cast, state, problem="x", expires_at=clock.at)
        if to is None:
            with pytest.raises(Conflict):
                verb(delivery)
        else:
            verb(delivery)
        row = Delivery.objects.get(pk=delivery.pk)
        assert row.state == (to or state)
        return row

    comes(lambda one: offer.send(one, cast.as_owner), "ready" if state == "made" else None)
    comes(lambda one: offer.withdraw(one, cast.as_owner), "withdrawn" if state in {"made", "ready"} else None)
    again = comes(lambda one: offer.offer_again(one, cast.as_owner, 3), "ready" if state == "withdrawn" else state)
    assert again.expires_at == clock.at + 3 * DAY
    tried = comes(lambda one: offer.try_again(one, cast.as_owner), "waiting" if state == "failed" else state)
    assert tried.problem == ("" if state == "failed" else "x")
    assert Job.objects.filter(kind="delivery", thing=tried.pk, state="waiting").exists()


def test_why_it_is_not_ready_is_its_own_word_or_that_of_its_work(cast: Cast) -> None:
    delivery, other = delivery_of(cast, D.WAITING), delivery_of(cast, D.WAITING)
    job = cast.sitting.jobs.create(kind="delivery", thing=other.pk, state="failed", reason="The disk was full.")
    assert offer.problem_of(delivery) == ""
    assert offer.problem_of(other) == "The disk was full."
    Job.objects.filter(pk=job.pk).update(state="waiting")
    assert offer.problem_of(other) == ""
    Delivery.objects.filter(pk=other.pk).update(problem="Its own.")
    assert offer.problem_of(Delivery.objects.get(pk=other.pk)) == "Its own."


def test_a_fetch_is_counted_for_its_person_file_and_delivery(cast: Cast, clock: Clock) -> None:
    delivery, other = delivery_of(cast, archive_name="all.zip", archive_bytes=100), delivery_of(cast)
    began = clock.at
    change = Sitting.objects.get().change
    receipts.record(delivery, cast.subject, "Ansa Veld", "all.zip", 50)
    assert Sitting.objects.get().change == change + 1
    clock.passes(DAY)
    receipts.record(delivery, cast.subject, "Ansa Veld", "all.zip", 40, start=False)
    receipts.record(delivery, cast.subject, "Ansa Veld", "one.jpg", 5)
    receipts.record(other, cast.subject, "Ansa Veld", "all.zip", 99)
    receipts.record(delivery, cast.recipient, "Casting desk", "all.zip", 98)
    row = Receipt.objects.order_by("pk")[0]
    assert (row.fetches, row.last_byte, row.started_at, row.last_at) == (1, 50, began, clock.at)
    assert Receipt.objects.count() == 4
    assert Sitting.objects.get().change == change + 4
    lines = JournalLine.objects.filter(verb="fetched").order_by("pk").values_list("who", "thing", "detail")
    assert list(lines)[:2] == [
        ("Ansa Veld (subject)", "all.zip", {"delivery": 1}),
        ("Ansa Veld (subject)", "one.jpg", {"delivery": 1}),
    ]


@pytest.mark.parametrize(
    ("name", "last", "whole"),
    [
        ("all.zip", 99, True),
        ("all.zip", 98, False),
        ("one.jpg", 9, True),
        ("one.jpg", 8, False),
        ("gone.jpg", 9, False),
    ],
)
def test_whole_means_to_the_last_byte(cast: Cast, name: str, last: int, whole: bool) -> None:
    delivery = delivery_of(cast, archive_name="all.zip", archive_bytes=100, sizes={"s": {"use": "web"}})
    delivery.files.create(size_slug="s", name="one.jpg", key="k", sha256="a" * 64, bytes=10)
    assert receipts.complete(receipts.record(delivery, cast.subject, "Ansa Veld", name, last)) is whole
    unmade = delivery_of(cast, archive_name="", archive_bytes=0)
    assert not receipts.complete(receipts.record(unmade, cast.subject, "Ansa Veld", "", 5))


def test_a_digest_finds_every_delivery_the_newest_first(cast: Cast) -> None:
    final = final_of(cast)
    first, second = delivery_of(cast, D.READY, final), delivery_of(cast, D.WITHDRAWN, final)
    delivery_of(cast, D.READY, final_of(cast, 2))
    found = offer.of_file(f"{final.pk:064X}")
    assert [one.delivery for one in found] == [second, first]
    assert offer.of_file("") == []


# --- licence and further uses ---


def test_a_wording_is_accepted_by_each_once_and_its_addenda_with_it(cast: Cast) -> None:
    first = licence_of(cast)
    made = licences.accept(first, cast.as_subject, "  Ansa \n Veld  ")
    assert made.name == "Ansa Veld"
    assert licences.accept(first, cast.as_subject, "Somebody Else") == made
    assert Acceptance.objects.get().name == "Ansa Veld"
    line = JournalLine.objects.order_by("-pk")[0]
    assert (line.verb, line.thing, line.detail) == ("licence accepted", "licence 1", {"name": "Ansa Veld"})
    addendum = licences.write(cast.sitting, licences.draft(cast.sitting), cast.as_owner, line.verb, addendum_to=first)
    anew = licence_of(cast)
    assert [licences.has_accepted(one, cast.subject) for one in (first, addendum, anew)] == [True, True, False]
    assert not licences.has_accepted(first, cast.recipient)
    licences.accept(addendum, cast.as_recipient, "Desk")
    assert [licences.has_accepted(one, cast.recipient) for one in (first, addendum)] == [False, True]


@pytest.mark.parametrize(("name", "kept"), [("", None), (" \n", None), ("n" * 130, "n" * 120)])
def test_a_licence_is_accepted_by_a_name(cast: Cast, name: str, kept: str | None) -> None:
    licence = licence_of(cast)
    if kept is None:
        with pytest.raises(BadInput, match="Type your name"):
            licences.accept(licence, cast.as_subject, name)
        assert not Acceptance.objects.exists()
    else:
        assert licences.accept(licence, cast.as_subject, name).name == kept
    with pytest.raises(Refused, match="each for themselves"):
        licences.accept(licence, cast.as_owner, "Tamsin")


def ask_use(cast: Cast, use: str = "poster", by: Visitor | None = None) -> UsageRequest:
    return usage.ask(cast.sitting, by or cast.as_subject, use, " one season \n")


def test_a_use_is_asked_for_in_the_askers_name(cast: Cast) -> None:
    request = ask_use(cast, "  a very \n special use ")
    assert (request.use, request.details, request.state) == ("a very special use", "one season", "asked")
    assert (request.who, request.invite) == ("Ansa Veld", cast.subject)
    line = JournalLine.objects.get()
    assert (line.verb, line.thing, line.detail) == ("use asked for", "a very special use", {"request": request.pk})
    assert list(Letter.objects.values_list("kind", "to", "about")) == [("usage", cast.owner.email, "request-1")]
    assert len(ask_use(cast, "u" * 201).use) == 200
    with pytest.raises(BadInput, match="used for"):
        ask_use(cast, " \n ")
    assert UsageRequest.objects.count() == 2


def test_an_addendum_adds_the_use_to_the_newest_wording(cast: Cast, clock: Clock) -> None:
    first = licence_of(cast)
    other = ask_use(cast, "book", cast.as_recipient)
    until = date(2028, 1, 31)
    added = usage.grant(ask_use(cast), cast.as_owner, until=until, note="  on \n paper ", answer=" Gladly. ")
    assert (added.number, added.addendum_to) == (2, first)
    (one,) = licences.terms_of(added).addenda
    assert (one.uses, one.note, one.granted_on, one.until) == (("poster",), "on paper", clock.at.date(), until)
    request = UsageRequest.objects.get(use="poster")
    assert (request.state, request.answer, request.addendum, request.answered_at) == (
        "granted", "Gladly.", added, clock.at,
    )  # fmt: skip
    second = usage.grant(other, cast.as_owner, ("book", "merchandise"))
    assert (second.number, second.addendum_to) == (3, first)  # of the licence, not of the addendum
    assert [one.uses for one in licences.terms_of(second).addenda] == [("poster",), ("book", "merchandise")]
    answers = Letter.objects.filter(about__startswith="answer").order_by("pk").values_list("to", flat=True)
    assert list(answers) == ["ansa@veld.example", "desk@elsewhere.example"]
    assert licences.terms_of(Licence.objects.get(pk=first.pk)).addenda == ()


@pytest.mark.parametrize("verb", ["grant", "refuse"])
def test_a_request_is_answered_once_and_by_the_photographer(cast: Cast, verb: str) -> None:
    licence_of(cast)
    request = ask_use(cast)
    verbs_: dict[str, Callable[[Visitor], object]] = {
        "grant": lambda by: usage.grant(request, by),
        "refuse": lambda by: usage.refuse(request, by, "Not this time."),
    }
    for by, error in ((cast.as_subject, Refused), (make_cast("other", "finishing").as_owner, Missing)):
        with pytest.raises(error):
            verbs_[verb](by)
    verbs_[verb](cast.as_owner)
    before = verbs(), Letter.objects.count(), Licence.objects.count()
    for again in verbs_.values():
        with pytest.raises(Conflict, match="answered already"):
            again(cast.as_owner)
    assert (verbs(), Letter.objects.count(), Licence.objects.count()) == before


def test_what_cannot_be_granted_stays_asked(cast: Cast) -> None:
    request = ask_use(cast, "my own words")
    with pytest.raises(BadInput, match="no licence yet"):
        usage.grant(request, cast.as_owner, ("poster",))
    licence_of(cast)
    with pytest.raises(BadInput, match="“my own words” is none"):
        usage.grant(request, cast.as_owner)
    with pytest.raises(BadInput, match="“banner” is none"):
        usage.grant(request, cast.as_owner, ("poster", "banner"))
    with pytest.raises(BadInput, match="Say why"):
        usage.refuse(request, cast.as_owner, " \n")
    request.refresh_from_db()
    assert (request.state, request.answer, Licence.objects.count()) == ("asked", "", 1)
    usage.refuse(request, cast.as_owner, " Not on goods. ")
    request.refresh_from_db()
    assert (request.state, request.answer, request.addendum) == ("refused", "Not on goods.", None)


def test_the_draft_names_who_is_invited_and_goes_on_from_what_is_in_force(cast: Cast, clock: Clock) -> None:
    Sitting.objects.update(held_on=date(2027, 1, 9))
    cast.sitting.refresh_from_db()
    terms = licences.draft(cast.sitting)
    assert (terms.subject, terms.representation, terms.starts) == ("Ansa Veld", "Ruben Achterberg", date(2027, 1, 9))
    assert terms.uses == licences.USUAL_USES
    Invite.objects.filter(pk=cast.representation.pk).update(revoked_at=clock.at)
    cast.sitting.held_on = None
    assert licences.draft(cast.sitting).representation == ""
    assert licences.draft(cast.sitting).starts == clock.at.date()
    licences.compose(cast.sitting, terms, cast.as_owner)
    again = licences.draft(cast.sitting)
    assert (again.version, again.representation) == (2, "Ruben Achterberg")
