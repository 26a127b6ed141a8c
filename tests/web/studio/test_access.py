"""Who reaches the studio's pages: every address, every kind of person, every method."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, reverse

from galleries.web.studio import urls
from tests.cast import Cast

pytestmark = pytest.mark.django_db


def _patterns(entries: object) -> list[URLPattern]:
    found: list[URLPattern] = []
    for entry in entries:  # type: ignore[attr-defined]
        found += _patterns(entry.url_patterns) if isinstance(entry, URLResolver) else [entry]
    return found


PATTERNS = {str(pattern.name): pattern for pattern in _patterns(urls.urlpatterns)}
OF_NO_SITTING = ("studio-size", "studio-own-data", "studio-own-stamp", "studio-own-mail", "studio-own-beginnings")
OF_NO_SITTING += ("studio-own-logo", "studio-own-clauses", "studio-own-cautions", "studio-own-extras")
OF_NO_SITTING += ("studio-own-signing", "studio-file")
OF_A_SITTING = [
    name
    for name in PATTERNS
    if name not in {"studio", "new-sitting", "new-day", "studio-own", "studio-deadlines", "studio-due"}
    and not name.startswith(("studio-colleague", *OF_NO_SITTING))
]
OPEN_TO_GET = {
    *("studio-sitting", "studio-settings", "studio-journal", "studio-upload", "studio-refusals", "studio-desk"),
    *("studio-desk-data", "studio-set", "studio-set-news", "studio-setup", "studio-gel", "studio-people"),
    *("studio-lists", "studio-finals", "studio-delivery", "studio-licence", "studio-usage"),
    "studio-keeping",
}


def address(name: str, slug: str) -> str:
    pattern = PATTERNS[name].pattern
    values: dict[str, object] = {}
    for key, converter in pattern.converters.items():
        values[key] = slug if key == "slug" else 999_999 if type(converter).__name__ == "IntConverter" else "txt"
    return reverse(name, kwargs=values if "slug" in values else {"slug": slug, **values})


def test_strangers_and_colleagues_not_let_in_hear_of_no_sitting(cast: Cast) -> None:
    for user in (cast.stranger, cast.colleague):
        client = cast.client_of(user)
        for name in OF_A_SITTING:
            assert client.get(address(name, cast.sitting.slug)).status_code in {404, 405}, name
            assert client.post(address(name, cast.sitting.slug)).status_code in {404, 405}, name
            assert client.put(address(name, cast.sitting.slug), b"x").status_code in {404, 405}, name


def test_invitees_and_nobody_are_sent_to_the_sign_in(cast: Cast) -> None:
    for client in (Client(), cast.client_of(cast.subject), cast.client_of(cast.representation)):
        for name in OF_A_SITTING:
            answer = client.get(address(name, cast.sitting.slug))
            assert answer.status_code == 302, name
            assert answer.headers["Location"].startswith("/sign-in?next=/studio/"), name


def test_a_script_whose_session_ended_is_told_so_and_not_led_to_another_page(cast: Cast) -> None:
    for name in OF_A_SITTING:
        at = address(name, cast.sitting.slug)
        for method in ("get", "post", "put"):
            answer = getattr(Client(), method)(at, headers={"Accept": "application/json"})
            assert (answer.status_code, answer.headers["Content-Type"]) == (403, "application/json"), (name, method)
            assert "signed out" in answer.json()["error"], (name, method)


@pytest.mark.parametrize("name", OF_A_SITTING)
def test_each_address_knows_its_methods(cast: Cast, name: str) -> None:
    client = cast.client_of(cast.owner)
    at = address(name, cast.sitting.slug)
    assert client.delete(at).status_code == 405
    if name in OPEN_TO_GET:
        assert client.get(at).status_code == 200
    statuses = {client.get(at).status_code, client.post(at).status_code, client.put(at, b"x").status_code}
    assert 405 in statuses  # none takes everything
    assert not statuses & {500, 301}


def test_a_colleague_who_was_let_in_works_on_the_sitting(cast: Cast) -> None:
    cast.sitting.colleagues.add(cast.colleague)
    client = cast.client_of(cast.colleague)
    for name in sorted(OPEN_TO_GET):
        assert client.get(address(name, cast.sitting.slug)).status_code == 200, name
    assert cast.sitting.title in client.get(reverse("studio")).content.decode()


def test_the_list_of_sittings_shows_ones_own_only(cast: Cast) -> None:
    assert cast.sitting.title in cast.client_of(cast.owner).get(reverse("studio")).content.decode()
    assert cast.sitting.title not in cast.client_of(cast.stranger).get(reverse("studio")).content.decode()
    assert Client().get(reverse("studio")).status_code == 302


def test_a_user_who_may_not_sign_in_any_more_is_shut_out(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    cast.owner.is_active = False
    cast.owner.save()
    assert client.get(reverse("studio-sitting", args=[cast.sitting.slug])).status_code in {302, 404}


def test_a_number_no_database_knows_is_simply_not_found(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    for name in OF_A_SITTING:
        if PATTERNS[name].pattern.converters.keys() - {"slug"}:
            at = address(name, cast.sitting.slug).replace("999999", "9" * 30)
            assert client.get(at).status_code in {404, 405}, name
            assert client.post(at).status_code in {400, 404, 405}, name


@pytest.mark.parametrize("language", ["en", "de", "es"])
def test_every_page_answers_in_every_language(cast: Cast, language: str) -> None:
    cast.frame(1, cast.look())
    client = cast.client_of(cast.owner)
    for name in sorted(OPEN_TO_GET):
        answer = client.get(address(name, cast.sitting.slug), headers={"Accept-Language": language})
        assert answer.status_code == 200, name
        if answer.headers["Content-Type"].startswith("text/html"):
            assert f'<html lang="{language}"' in answer.content.decode(), name
