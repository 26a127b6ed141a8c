"""The studio's people, as its pages tell of them."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import User
from django.db.models import Count

from galleries.access import Visitor
from galleries.models import StudioRole


def heads() -> str:
    """The names of those who run the studio, by commas; '' when nobody does."""
    rows = StudioRole.objects.heads().select_related("account").order_by("account")
    return ", ".join(Visitor(user=row.account).name for row in rows)


def people(reader: User) -> list[dict[str, Any]]:
    """Everybody with an account, those who may come in first; the operator's is left out, unless it reads."""
    accounts = User.objects.select_related("studio_role").annotate(sitting_count=Count("sittings", distinct=True))
    rows = []
    for one in accounts.order_by("-is_active", "first_name", "last_name", "pk"):
        if one.is_superuser and one.pk != reader.pk:
            continue
        row = getattr(one, "studio_role", None)
        role = StudioRole.Role(row.role) if row is not None else StudioRole.Role.PHOTOGRAPHER
        came = one.last_login is not None or one.has_usable_password()
        rows.append({"account": one, "name": Visitor(user=one).name, "role": role, "came": came})
    return rows
