"""A display name carries no authority, and a title no line break."""

from __future__ import annotations

import pytest

from galleries.errors import BadInput
from galleries.models import JournalLine
from galleries.steps.people import invite as invites
from galleries.steps.picking import pick
from galleries.steps.planning import sitting_plan
from galleries.steps.sorting import looks
from tests.cast import make_cast

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("name", ["Tamsin (photographer)", "Tamsin（photographer）"])
def test_nobody_is_named_like_the_photographer_in_the_journal(name: str) -> None:
    cast = make_cast()
    with pytest.raises(BadInput, match="without brackets"):
        invites.invite(cast.sitting, "assistant", name, "a@b.example", cast.as_owner)
    cast.representation.may_pass_on = True
    cast.representation.save()
    with pytest.raises(BadInput, match="without brackets"):
        invites.pass_on(name, "a@b.example", cast.as_representation)
    cast.subject.name = f"{name}\n2026-01-01"  # a row from before this rule
    cast.subject.save()
    said = pick.remark(cast.as_subject, cast.frame(1).pk, "Yes.")
    assert said.who.replace(" ", "") == "Tamsinphotographer2026-01-01"
    assert said.who == " ".join(said.who.split())
    assert JournalLine.objects.get(verb="remarked").who == f"{said.who} (subject)"


def test_names_and_titles_are_one_line() -> None:
    cast = make_cast()
    made = invites.invite(cast.sitting, "assistant", "Ines\r\n Maro", "ines@maro.example", cast.as_owner)
    assert made.name == "Ines Maro"
    assert sitting_plan.create_sitting(cast.owner, title="Ansa\nVeld").title == "Ansa Veld"
    assert sitting_plan.edit_sitting(cast.sitting, cast.as_owner, title="Ansa\n\nVeld").title == "Ansa Veld"
    look = looks.new_look(cast.sitting, "Linen\nshirt", cast.as_owner)
    assert look.title == "Linen shirt"
    assert looks.edit_look(look, cast.as_owner, title="Wool\njumper").title == "Wool jumper"
