"""A form that could not be taken stands there again as it was typed, with the sentence that says why."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from django.db import transaction
from django.http import HttpResponse, QueryDict
from django.test import Client

from galleries.models import Sitting
from galleries.web.kept_form import STANDS_ON, filled
from tests.web.test_hostile_forms import PAGES, Form, forms_of, place  # noqa: F401 - a fixture
from tests.web.test_matrix import INVITEE_PAGES, OF_NO_SITTING, POSTS, STUDIO_PAGES, Place

PAGE = """<!DOCTYPE html><html><body><main id="main"><!-- kept -->
<form action="/a/say" method="post"><input type="hidden" name="do" value="one"><input name="title" value="old"></form>
<details><summary>More</summary>
<form method="post" action="say#top"><input type="hidden" name="do" value="two">
<input type="hidden" name="csrfmiddlewaretoken" value="fresh"><input name="title" value="a &amp; b">
<input type="password" name="secret"><input type="checkbox" name="ok" value="1" checked><textarea name="text">old
&lt;</textarea><select name="which"><option value="x" selected>X &ndash;</option><option value="y">Y</option></select>
</form></details><p>5 &lt; 6 &#8211; 7</p><script>if (1 < 2 && "<p>") run();</script></main></body></html>"""


def again(**sent: str) -> str:
    posted = QueryDict(mutable=True)
    posted.update({"csrfmiddlewaretoken": "stale", **sent})
    page = filled(PAGE, "/a/", "/a/say", posted, "No <b>such</b> day.")
    assert page is not None
    return page


def test_the_form_that_was_sent_is_filled_and_no_other() -> None:
    page = again(do="two", title='"><script>x', text="</textarea>\nTwo\nlines", which="y", secret="hush")
    assert '<details open=""><summary>' in page.replace("<details open>", '<details open="">')
    first, second = page.split("<details")
    assert 'name="title" value="old"' in first
    assert 'value="&quot;&gt;&lt;script&gt;x"' in second
    assert '<textarea name="text">\n&lt;/textarea&gt;\nTwo\nlines</textarea>' in second
    assert '<option value="y" selected>' in second
    assert '<option value="x">' in second
    assert "checked" not in second, "a box that was not ticked is not sent"
    assert "hush" not in page
    assert "stale" not in page
    assert "No &lt;b&gt;such&lt;/b&gt; day." in second
    assert 'role="alert"' not in first


def test_all_the_rest_of_the_page_stays_as_it_was() -> None:
    page = again(do="none of these")
    said = page.index('<p class="problem"')
    assert page[:said] + page[page.index("</p>", said) + len("</p>") :] == PAGE
    assert page.index("<main") < said < page.index("<!-- kept -->")


def test_a_page_without_a_main_part_is_none() -> None:
    assert filled("<p>Words.</p>", "/a/", "/a/say", QueryDict(), "No.") is None


# Sent by a script or by one press with nothing typed, or none of the studio's or an invitee's pages.
NO_FORM = {
    *("studio-parts", "studio-parts-join", "studio-part"),  # files lie in a bucket
    *("studio-retouch-parts", "studio-retouch-join", "studio-retouch-part"),
    *("retouch-parts", "retouch-join", "retouch-part"),
    *("studio-upload-known", "studio-desk-act", "studio-retouch-known", "retouch-known", "studio-crop-set"),
    *("leave", "language", "not-me", "send-invite-again", "second-step-ask", "second-factor-passkey-ask"),
    *("second-factor-begin", "second-factor-leave", "second-factor-confirm", "second-factor-codes"),
    *("second-factor-remove", "second-factor-passkey", "sessions-end-others"),  # these keep their form by themselves
    *("account-data", "account-password"),
    *("studio-own-data", "studio-own-stamp", "studio-own-beginnings", "studio-own-extras", "studio-own-mail"),
    *("studio-colleague-invite", "studio-colleague"),
}


def test_each_address_that_takes_a_form_alone_says_on_which_page_it_stands() -> None:
    alone = {f"studio-{name}" for name in POSTS.split()} | {
        name for name, (takes, *_rest) in INVITEE_PAGES.items() if takes == "post"
    }
    known = {*STUDIO_PAGES, *INVITEE_PAGES, *OF_NO_SITTING}
    assert alone - set(STANDS_ON) - NO_FORM == set()
    assert {*STANDS_ON, *STANDS_ON.values(), *NO_FORM} <= known


TYPED = "typed by nobody"


def spoilt(form: Form) -> dict[str, str]:
    """Every field that a person fills in holds what few fields take."""
    return {name: value if name in {"do", "csrfmiddlewaretoken"} else TYPED for name, value in form.values.items()}


def once_each(forms: Iterator[Form]) -> list[Form]:
    """One of those that differ by a number only; none that ends the visit or is on every page."""
    found = {}
    for form in forms:
        if form.method == "post" and form.action not in {"/leave", "/language"}:
            found[re.sub(r"\d+", "1", form.action), *sorted(form.values)] = form
    return list(found.values())


def answer_to(client: Client, form: Form) -> HttpResponse:
    client.raise_request_exception = False  # what breaks is for test_hostile_forms.py
    with transaction.atomic():
        answer: HttpResponse = client.post(form.action, spoilt(form))
        transaction.set_rollback(True)
    return answer


@pytest.mark.django_db
@pytest.mark.parametrize("stage", ["proofing", "finishing"])
def test_whatever_is_typed_wrong_stands_in_its_page_again(stage: str, place: Place) -> None:  # noqa: F811
    Sitting.objects.update(stage=stage)
    bare, kept = [], 0
    for role in PAGES:
        client = place.cast.client_of(place.person(role, place))
        for form in once_each(forms_of(client, place, role)):
            answer = answer_to(place.cast.client_of(place.person(role, place)), form)  # one may end its own session
            if answer.status_code in {400, 409, 422} and answer.headers["Content-Type"].startswith("text/html"):
                page = answer.content.decode()
                said = "problem" in page or "errorlist" in page
                kept += said
                if not said or 'href="mailto:' in page.partition("<main")[2].partition("</main")[0]:
                    bare.append(f"{form.action} as {role}: {answer.status_code}")
    assert not bare, "\n".join(bare)
    assert kept > 8, kept
