"""A school's day for tests: three sitters, all invented."""

from __future__ import annotations

from pathlib import Path

from galleries.models import Day
from galleries.steps import jobs
from galleries.steps.days import planning, sitters_list
from galleries.steps.ingesting import ingest
from tests.cast import Cast
from tests.slates import put_day

LIST = """name;e-mail;agent;agent e-mail
Ansa Veld;ansa@veld.example;Ruben Achterberg;ruben@achterberg.example
Jules Marlow;jules@marlow.example;;
Mirre Solland;mirre@solland.example;Ruben Achterberg;ruben@achterberg.example
"""


def make(cast: Cast) -> Day:
    return planning.make_day(cast.owner, "Kestrel School", None, sitters_list.read(LIST), allowance=3)


def codes(day: Day) -> dict[str, str]:
    """'A', 'B', 'C' for the codes of the first three sitters."""
    return dict(zip("ABC", day.sitters.order_by("position").values_list("code", flat=True), strict=False))


def bring(cast: Cast, day: Day, folder: Path, order: str, **how: object) -> None:
    """A card comes in, and the worker has looked at it."""
    put_day(folder, order, codes(day), **how)  # type: ignore[arg-type]
    outcomes = list(ingest.add_folder(day.holding, folder, cast.as_owner))
    assert {outcome.state for outcome in outcomes} <= {"new", "same"}
    jobs.run_waiting(day.holding, ["slate"])


def put_all_sure(cast: Cast, day: Day) -> None:
    """What the page proposes, put and done."""
    from galleries.steps.days import arranging, placing

    arranged = arranging.arrangement(day, cast.as_owner, planning.sitters_for(cast.as_owner, day))
    places: dict[int, int] = {}
    for strip in arranged.unsorted:
        if strip.is_sure and strip.sitter is not None:
            places |= arranging.places_of(strip, strip.sitter)
    placing.place(day, cast.as_owner, places)
    jobs.run_waiting(day.holding, ["place"])
