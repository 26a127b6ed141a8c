"""Whoever calls a verb is asked for their right to it, in one way: `access.require`, first, by the verb itself."""

from __future__ import annotations

import ast
import inspect
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

from galleries.access import Act, Visitor, may, require
from galleries.errors import Missing, Refused
from galleries.models import Day, Invite, JournalLine, Letter, Sitting, Studio, UsageRequest
from galleries.steps.delivering import sizes
from galleries.steps.picking import pick
from tests.cast import Cast, make_cast
from tests.statements import a_sheet

STEPS = Path(__file__).resolve().parents[2] / "galleries" / "steps"
# Calls that ask: `require` itself, and loaders of `access` that call it before they hand anything out.
ASKS = {"require", "frame_for", "final_for", "delivery_for", "sitting_for"}
# They act on the caller's own sitting, or on what belongs to no one sitting.
STUDIO_WIDE = {
    "agreeing.extras.set_usual",
    "people.invite.pass_on",
    "people.studio.change",
    "people.studio.bring_logo",
    "people.studio.drop_logo",
    "people.studio.sample",
    "delivering.sizes.copy_size",
    "delivering.sizes.retire_size",
    "delivering.sizes.keep_size",
    "delivering.sizes.choose_usual",
    "people.mail_test.send_test",
    "people.colleagues.invite",
    "people.colleagues.link_for",
    "people.colleagues.give_role",
    "people.colleagues.end",
    "people.colleagues.bring_back",
}
# Verbs that hand on to another for each part, which asks then. Nothing else belongs here.
HANDS_ON = {
    "picking.pick.take_acts": "an outbox may name frames of many sittings; it asks in each and answers every act"
}


def verbs() -> Iterator[tuple[str, ast.FunctionDef, dict[str, ast.FunctionDef]]]:
    """(module.name, its code, all functions of its module) of every public function that takes a Visitor."""
    for path in sorted(STEPS.rglob("*.py")):
        body = ast.parse(path.read_text("utf-8")).body
        functions = {node.name: node for node in body if isinstance(node, ast.FunctionDef)}
        module = ".".join(path.relative_to(STEPS).with_suffix("").parts)
        for name, node in functions.items():
            hints = [arg.annotation for arg in [*node.args.args, *node.args.kwonlyargs] if arg.annotation]
            if not name.startswith("_") and any("Visitor" in ast.unparse(hint) for hint in hints):
                yield f"{module}.{name}", node, functions


def asks(node: ast.FunctionDef, functions: dict[str, ast.FunctionDef], deep: int = 1) -> bool:
    """Does it call one of `ASKS`, itself or in a private helper of its own module?"""
    for call in ast.walk(node):
        if not isinstance(call, ast.Call):
            continue
        name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
        if name in ASKS:
            return True
        if deep and name.startswith("_") and name in functions and asks(functions[name], functions, deep - 1):
            return True
    return False


ALL = {name: (node, functions) for name, node, functions in verbs()}


def test_there_are_verbs_and_the_walk_sees_one_that_does_not_ask() -> None:
    assert len(ALL) > 70
    (bad,) = ast.parse("def verb(by: Visitor) -> None:\n    may(by, 1, 2)\n").body
    assert isinstance(bad, ast.FunctionDef)
    assert not asks(bad, {})


@pytest.mark.parametrize("verb", [name for name in ALL if name not in HANDS_ON])
def test_the_verb_asks(verb: str) -> None:
    node, functions = ALL[verb]
    assert asks(node, functions), f"{verb} takes a visitor and never calls access.require"


def test_exemptions_are_verbs() -> None:
    assert set(HANDS_ON) <= set(ALL)


# --- as a stranger ---


def things(cast: Cast, tmp_path: Path) -> dict[str, Any]:
    """A real argument for every parameter of every verb, by its name, of one sitting."""
    sitting = cast.sitting
    look, other = cast.look("Linen"), cast.look("Wool")
    frames = [cast.frame(1, look), cast.frame(2, look), cast.frame(3, other)]
    final = sitting.finals.create(frame=frames[0], round=sitting.rounds.get(), state="shown")
    version = final.versions.create(
        number=1, sha256="a" * 64, key="k", name="n.jpg", bytes=1, width=4000, height=6000, proof_key="p"
    )
    sizes.load()
    size = sizes.offered()[0]
    licence = sitting.licences.create(number=1, terms={}, text="")
    path = tmp_path / "KAL_0009.JPG"
    path.write_bytes(b"no picture")
    stray = sitting.strays.create(sha256="b" * 64, key="k", name="n", bytes=1)
    return {
        "sitting": sitting, "look": look, "into": other, "first": frames[1], "final": final, "version": version,
        "invite": cast.recipient, "person": cast.recipient, "stray": stray,
        "note": final.pinned_notes.create(x=0, y=0, text="t", who="w"),
        "letter": sitting.letters.create(invite=cast.subject, kind="proofs", to=cast.subject.email),
        "reference": sitting.references.create(key="k", brought_by="Ansa Veld"),
        "crop": final.crops.create(size=size, x=0, y=0, width=400, height=500, frame_width=4000, frame_height=6000),
        "delivery": sitting.deliveries.create(number=1, licence=licence, sizes={}, state="ready"),
        "copy": sitting.own_copies.create(invite=cast.subject, state="made"),
        "request": UsageRequest.objects.create(sitting=sitting, invite=cast.subject, who="Ansa Veld", use="poster"),
        "statement": sitting.statements.create(
            round=sitting.rounds.get(), number=1, payer="subject", content=a_sheet().as_dict()
        ),
        "names": {frames[0].sha256: "KAL_0009.JPG"},
        "licence": licence, "size": size, "studio": Studio.current(), "account": cast.owner,
        "first_name": "Mine", "last_name": "Now", "password": "", "present": "", "new": "another long one", "again": "",
        "code": "", "here": "", "state": {}, "session_id": 1, "ranged": False,
        "wanted": [size], "terms": None, "tally": None, "painted": None,
        "frame_ids": [frames[0].pk], "account_ids": [], "version_ids": [version.pk],
        "ids": [frames[0].pk], "order": [frames[0].pk], "frame_id": frames[0].pk,
        "path": path, "folder": tmp_path, "target": tmp_path / "out.zip", "source": b"no picture", "icc": b"no profile",
        "name": "Iza Morell", "email": "iza@morell.example", "role": "assistant", "title": "T", "text": "said",
        "opinion": sitting.second_opinions.create(asked_by=cast.subject, name="Lioba", token_hash=sitting.slug),
        "this_ones": [], "sentence": "that", "words": "no", "what": "picks",
        "wording": "house-1", "notes": "", "final_id": final.pk, "holds": [], "raw": False,
        "reason": "why", "why": "why", "answer": "so", "use": "poster", "slug": "s", "kind": "humanEdits",
        "arrival_id": 1, "number": 1,
        "verb": "v", "sha256": "a" * 64, "days": 3, "allowed": True, "hidden": True, "suggested": True,
        "day": Day.objects.create(name="Kestrel School", holding=sitting), "rows": [], "places": {}, "sitters": [],
        "say": print,
        "x": 0, "y": 0, "width": 400, "height": 500, "warmth": 1.0,
    }  # fmt: skip


def call(verb: str, values: dict[str, Any], by: Visitor) -> Any:
    module, _, name = verb.rpartition(".")
    function: Callable[..., Any] = getattr(import_module(f"galleries.steps.{module}"), name)
    given: dict[str, Any] = {}
    for parameter in inspect.signature(function).parameters.values():
        if parameter.name == "by":
            given["by"] = by
        elif parameter.name in values and (
            parameter.default is inspect.Parameter.empty and parameter.kind is not parameter.VAR_KEYWORD
        ):
            given[parameter.name] = values[parameter.name]
    made = function(**given)
    return list(made) if inspect.isgenerator(made) else made


def rows(sitting: Sitting) -> tuple[object, ...]:
    found = Sitting.objects.get(pk=sitting.pk)
    counts = [getattr(found, name).count() for name in ("looks", "frames", "finals", "invites", "deliveries", "rounds")]
    return (
        found.stage,
        found.change,
        JournalLine.objects.count(),
        Letter.objects.count(),
        Invite.objects.count(),
        *counts,
    )


@pytest.mark.django_db
@pytest.mark.parametrize("verb", [name for name in ALL if name not in HANDS_ON])
def test_a_stranger_is_turned_away_and_nothing_changes(verb: str, tmp_path: Path) -> None:
    cast, elsewhere = make_cast(stage="finishing"), make_cast("elsewhere")
    values = things(cast, tmp_path)
    strangers = [Visitor(), Visitor(user=cast.stranger), Visitor(user=elsewhere.owner)]
    strangers += [elsewhere.as_subject, elsewhere.as_representation]
    Invite.objects.filter(pk=elsewhere.recipient.pk).update(role="assistant", may_pass_on=True)
    before = rows(cast.sitting)
    for stranger in strangers:
        if verb in STUDIO_WIDE:
            continue  # below
        with pytest.raises((Missing, Refused)):
            call(verb, values, stranger)
        assert rows(cast.sitting) == before, stranger
    if verb in STUDIO_WIDE:
        another = Visitor(user=cast.colleague)  # a photographer who does not run the studio
        for stranger in (Visitor(), cast.as_subject, cast.as_recipient, cast.as_representation, another):
            with pytest.raises((Missing, Refused)):
                call(verb, values, stranger)
        assert rows(cast.sitting) == before


@pytest.mark.django_db
def test_an_outbox_with_a_strangers_frame_marks_nothing() -> None:
    cast, elsewhere = make_cast(), make_cast("elsewhere")
    frame = cast.frame(1)
    for stranger in (Visitor(), elsewhere.as_subject, elsewhere.as_owner):
        (answer,) = pick.take_acts(stranger, [{"frame": frame.pk, "kind": "pick", "act": "a"}])
        assert answer["kind_of_error"] == "Missing"
    assert not frame.marks.exists()


@pytest.mark.django_db
def test_require_says_no_such_thing_or_why_not() -> None:
    cast = make_cast()
    hidden, kept = cast.frame(1, hidden=True), cast.look("Bare", kept_from_representation=True)
    require(cast.as_owner, Act.RUN, cast.sitting)
    for thing in (hidden, kept):
        with pytest.raises(Missing):
            require(cast.as_representation, Act.MARK, thing)
    with pytest.raises(Refused, match="in our words"):
        require(cast.as_subject, Act.RUN, cast.sitting, "in our words")
    with pytest.raises(Missing):
        require(Visitor(user=cast.stranger), Act.RUN, cast.sitting, "in our words")
    assert Visitor().who == "nobody"
    assert not may(Visitor(), Act.RUN, cast.sitting)
