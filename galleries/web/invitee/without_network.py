"""What a device is told of the pages that somebody invited opens on it, for the time without a network."""

from __future__ import annotations

from functools import cache, lru_cache
from os.path import commonprefix
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from galleries.access import Visitor
from galleries.models import Sitting


def device(visitor: Visitor, sitting: Sitting) -> dict[str, Any]:
    """Whose device it is, until when it may keep anything, and the script that does it. The person's key names what is
    kept for them; empty for somebody of the studio, for whom nothing is."""
    invite = visitor.invite
    sheet, plan, worker = _addresses(sitting.slug)
    return {
        "person": f"{sitting.pk}-{invite.pk}" if invite else "",
        "until": invite.expires_at.isoformat() if invite else "",
        "sheet": sheet,
        "plan": plan,
        "worker": worker,
        **before(visitor, to_desk=invite is not None and invite.is_representation),
    }


def before(visitor: Visitor | None, *, to_desk: bool) -> dict[str, Any]:
    """What lies outside a sitting that this device gets the house's words for: links, what the foot of every page
    sends (leave, another language), and an agent's desk. Nothing is kept for them but words, so they are told of
    nobody; somebody of the studio is told none."""
    worker, links, foot, desk = _outside()
    places = [links, foot, *([desk] if to_desk else [])]
    return {"words_worker": worker, "before": places if visitor is None or visitor.invite else []}


@lru_cache(maxsize=512)
def _addresses(slug: str) -> tuple[str, str, str]:
    return reverse("sheet", args=[slug]), reverse("plan", args=[slug]), reverse("outbox-worker")


@cache
def _outside() -> tuple[str, str, str, str]:
    links = reverse("open-invite", args=["-"]).removesuffix("-")
    foot = commonprefix([reverse("leave"), reverse("language")])  # noqa: RUF071 - a worker's scope is a prefix
    return reverse("words-worker"), links, foot, reverse("desk")


def words() -> dict[str, str]:
    """What stands in place of a page, and of the answer to a form, that cannot be had."""
    return {
        "needs_network": _("This page needs the network"),
        "opens_again": _("It opens as soon as the network is back."),
        "try_again": _("Try again"),
        "not_sent": _("This was not sent"),
        "stays": _("There is no network, so this was not sent. It stays here: press again once the network is back."),
        "send_again": _("There is no network. Go back, and send it once the network is there again."),
    }


def words_of_pages() -> dict[str, str]:
    """`words`, and what stands in place of a picture, and beside a file, that could not be had."""
    return {
        **words(),
        "picture_waits": _("Comes when the network is back."),
        "picture_failed": _("The picture could not be loaded."),
        "fetch_waits": _("There is no network, so nothing was fetched. Press again once it is back."),
        "fetch_failed": _("That did not work. Try again."),
        "as_it_is_now": _("Show this page as it is now"),
    }
