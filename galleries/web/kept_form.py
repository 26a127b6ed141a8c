"""The page that a form stood on, shown again where the form could not be taken: what was typed is in its place, and the
sentence that says why stands on top of it.

The page is made by its own view, with its own guard; then the form that was sent is found in it, by where it leads and
by its hidden fields, and filled. Passwords are not filled in again. Words for which the page has no field any more
stand under the sentence, to be copied.
"""

from __future__ import annotations

import copy
from collections.abc import Collection
from dataclasses import dataclass, field
from html import escape
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

from django.http import HttpRequest, HttpResponse, QueryDict
from django.template.defaultfilters import linebreaksbr
from django.urls import NoReverseMatch, Resolver404, ResolverMatch, resolve, reverse
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _

from galleries.errors import DomainError

# Where a form stands whose address takes nothing but the form. All others stand on the page of their own address.
STANDS_ON = {
    **dict.fromkeys(
        ("studio-publish", "studio-look-add", "studio-say", "studio-reference-add", "studio-reference-remove"),
        "studio-sitting",
    ),
    **dict.fromkeys(("studio-look-remove", "studio-look-copy"), "studio-look"),
    "studio-sitting-copy": "studio-settings",
    **dict.fromkeys(("studio-day-sitters", "studio-day-show", "studio-day-remind"), "studio-day"),
    "studio-day-back": "studio-day-frames",
    "studio-refusals-clear": "studio-upload",
    "studio-set-look": "studio-set",
    **dict.fromkeys(
        (
            "studio-team",
            "studio-invite",
            "studio-invite-letter",
            "studio-invite-link",
            "studio-invite-revoke",
            "studio-invite-prolong",
        ),
        "studio-people",
    ),
    "studio-invite-pass-on": "studio-people",
    "studio-remind": "studio-due",
    "studio-extras-paid": "studio-extras",
    **dict.fromkeys(("studio-close", "studio-reopen", "studio-objection-end"), "studio-lists"),
    **dict.fromkeys(
        ("studio-stray-settle", "studio-stray-drop", "studio-finals-act", "studio-note-done", "studio-version-made"),
        "studio-finals",
    ),
    "studio-brief": "studio-final",
    **dict.fromkeys(("studio-lab-profile", "studio-prepare", "studio-delivery-change"), "studio-delivery"),
    "studio-usage-answer": "studio-usage",
    "studio-work-again": "studio-work",
    **dict.fromkeys(("studio-letter-link", "studio-letter-again"), "studio-letter"),
    **dict.fromkeys(("studio-size-copy", "studio-size-retire"), "studio-sizes"),
    **dict.fromkeys(
        (
            *("studio-own-data", "studio-own-stamp", "studio-own-logo", "studio-own-clauses", "studio-own-beginnings"),
            *("studio-own-mail", "studio-own-signing", "studio-colleague-invite", "studio-colleague"),
            *("studio-own-cautions", "studio-own-extras"),
        ),
        "studio-own",
    ),
    "session-end": "sessions",
    **dict.fromkeys(("done", "look-say", "marks"), "sheet"),
    **dict.fromkeys(("accept-licence", "passcode", "ask-use"), "delivery"),
    "accept-terms": "retouching",
}
# What a form says of the question that its page was asked: without it the form would not be on the page.
ASKED = {"ask-use": "may"}
# What people of the sitting write in forms.
WRITTEN = ("note", "text", "details", "other", "sentence", "words", "reason")
# Hidden fields that say what was seen, not which thing is meant: they are others once that was replaced.
SEEN = {"version", "sha256"}
FILLED = {"text", "email", "number", "date", "url", "tel", "search", "time", ""}
# The browser goes there, however far down the page it stands.
ON_TOP = '<p class="problem" role="alert" data-kept-form="" tabindex="-1" autofocus="">{}</p>'


def page_again(request: HttpRequest, error: DomainError, status: int) -> HttpResponse | None:
    """None where there is no such page, or it is not to be had now."""
    match = request.resolver_match
    if match is None:
        return None
    try:
        at = _page_of(match, request.path)
        shown = copy.copy(request)
        shown.method, shown.path, shown.path_info = "GET", at, at
        shown.GET = _asked(request, match)  # type: ignore[assignment]
        shown._post, shown._files = QueryDict(), MultiValueDict()  # type: ignore[attr-defined]
        shown.resolver_match = resolve(at)
        shown.stands_again = True  # type: ignore[attr-defined]
        page = shown.resolver_match.func(shown, *shown.resolver_match.args, **shown.resolver_match.kwargs)
    except (DomainError, NoReverseMatch, Resolver404):
        return None
    if page.status_code != 200 or page.streaming or not page.headers.get("Content-Type", "").startswith("text/html"):
        return None
    again = filled(page.content.decode(), at, request.path, request.POST, str(error))
    if again is None:
        return None
    page.content = again.encode()
    page.status_code = status
    return page  # type: ignore[no-any-return]


def _asked(request: HttpRequest, match: ResolverMatch) -> QueryDict:
    name = ASKED.get(match.url_name or "", "")
    asked = QueryDict(mutable=True)
    if name in request.POST:
        asked[name] = request.POST[name]
    return asked


def written(posted: QueryDict, but: Collection[str] = ()) -> list[str]:
    """What was typed into a form, each text by itself; nothing of the fields named in `but`."""
    texts = [posted.get(name, "").strip() for name in WRITTEN if name not in but]
    return [text for text in texts if len(text) > 2]


def _page_of(match: ResolverMatch, path: str) -> str:
    page = STANDS_ON.get(match.url_name or "")
    if page is None:
        return path
    for names in (match.kwargs, {"slug"}):
        try:
            return reverse(page, kwargs={name: match.kwargs[name] for name in names if name in match.kwargs})
        except NoReverseMatch:
            continue
    return reverse(page)


@dataclass
class _Form:
    """One form of a page. `place`: the number of its start tag, `inside`: those of the details it is in."""

    place: int
    action: str
    inside: list[int]
    hidden: dict[str, str] = field(default_factory=dict)
    names: set[str] = field(default_factory=set)


class _Forms(HTMLParser):
    """The forms of a page, by the numbers of their start tags."""

    def __init__(self, page: str, at: str) -> None:
        super().__init__(convert_charrefs=False)
        self.found: list[_Form] = []
        self._at, self._count, self._open, self._details = at, 0, False, list[int]()
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._count += 1
        values = {name: value or "" for name, value in attrs}
        if tag == "details":
            self._details.append(self._count)
        elif tag == "form":
            action = urlsplit(urljoin(self._at, values.get("action", ""))).path
            self.found.append(_Form(self._count, action, list(self._details)))
            self._open = values.get("method", "").lower() == "post"
        elif self._open and (name := values.get("name", "")) and tag in {"input", "select", "textarea"}:
            if values.get("type") == "hidden":
                self.found[-1].hidden[name] = values.get("value", "")
            else:
                self.found[-1].names.add(name)

    def handle_endtag(self, tag: str) -> None:
        if tag == "details" and self._details:
            self._details.pop()
        elif tag == "form":
            self._open = False


class _Filler(HTMLParser):
    """Writes the page anew, sign by sign as it was but for one form (`form`; None: the sentence goes on top)."""

    def __init__(self, page: str, form: _Form | None, posted: QueryDict, sentence: str) -> None:
        super().__init__(convert_charrefs=False)
        self._form, self._posted = form, posted
        self._sentence = ON_TOP.format(escape(sentence)) + _quoted(written(posted, form.names if form else ()))
        self._count, self._open, self._select, self._dropping, self.stands = 0, False, "", False, False
        self.parts: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._count += 1
        raw, values = self.get_starttag_text() or "", dict(attrs)
        form = self._form
        if form is not None and tag == "details" and self._count in form.inside:
            values.setdefault("open", None)
            raw = _tag(tag, values)
        self.parts.append(self._of_the_form(tag, values, raw) if self._open else raw)
        if (form is not None and self._count == form.place) or (form is None and tag == "main" and not self.stands):
            self._open = form is not None
            self.parts.append(self._sentence)
            self.stands = True

    def _of_the_form(self, tag: str, values: dict[str, str | None], raw: str) -> str:
        name, kind = values.get("name") or "", (values.get("type") or "").lower()
        if tag == "select":
            self._select = name
        elif tag == "option" and self._select in self._posted:
            return _tag(tag, _with(values, "selected", self._is_sent(self._select, values)))
        elif tag == "textarea" and name in self._posted:
            self._dropping = True
            return f"{raw}\n{escape(self._posted.get(name, ''), quote=False)}"
        elif tag == "input" and kind in {"checkbox", "radio"} and name:
            return _tag(tag, _with(values, "checked", self._is_sent(name, values)))
        elif tag == "input" and kind in FILLED and name in self._posted:
            sent = self._posted.getlist(name)
            return _tag(tag, {**values, "value": sent[0]}) if len(sent) == 1 else raw
        return raw

    def _is_sent(self, name: str, values: dict[str, str | None]) -> bool:
        return (values.get("value") or ("on" if "value" not in values else "")) in self._posted.getlist(name)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self._dropping = False
        elif tag == "select":
            self._select = ""
        elif tag == "form":
            self._open = False
        self.parts.append(f"</{tag}>")

    def handle_data(self, data: str) -> None:
        self._keep(data)

    def handle_entityref(self, name: str) -> None:
        self._keep(f"&{name};")

    def handle_charref(self, name: str) -> None:
        self._keep(f"&#{name};")

    def handle_comment(self, data: str) -> None:
        self.parts.append(f"<!--{data}-->")

    def handle_decl(self, decl: str) -> None:
        self.parts.append(f"<!{decl}>")

    def _keep(self, text: str) -> None:
        if not self._dropping:
            self.parts.append(text)


def _quoted(texts: list[str]) -> str:
    if not texts:
        return ""
    sentence = escape(_("Your words were not taken. They stand here, so that you can copy them:"))
    return f"<p>{sentence}</p>" + "".join(f"<blockquote>{linebreaksbr(text)}</blockquote>" for text in texts)


def _with(values: dict[str, str | None], name: str, there: bool) -> dict[str, str | None]:
    rest = {key: value for key, value in values.items() if key != name}
    return {**rest, name: None} if there else rest


def _tag(tag: str, values: dict[str, str | None]) -> str:
    parts = (name if value is None else f'{name}="{escape(value)}"' for name, value in values.items())
    return f"<{' '.join((tag, *parts))}>"


def filled(page: str, at: str, sent_to: str, posted: QueryDict, sentence: str) -> str | None:
    """The page at the address `at` with the form that was sent to `sent_to` as it was sent; None: it has no main part.

    Of several forms that lead there it is the one whose hidden fields are those sent and which has most of the rest.
    """
    there = [form for form in _Forms(page, at).found if form.action == sent_to and _takes(form, posted)]
    fitting = [form for form in there if _fits(form, posted)] or [form for form in there if _fits(form, posted, SEEN)]
    best = max(fitting, key=lambda form: len(form.names & set(posted)), default=None)
    written = _Filler(page, best, posted, sentence)
    return "".join(written.parts) if written.stands else None


def _takes(form: _Form, posted: QueryDict) -> bool:
    """Has it a field for anything that was sent, or none to fill in at all? Another form of that address has not."""
    return not form.names or bool(form.names & set(posted))


def _fits(form: _Form, posted: QueryDict, but: Collection[str] = ()) -> bool:
    names = set(form.hidden) - {"csrfmiddlewaretoken", *but}
    return all(posted.get(name) == form.hidden[name] for name in names) and set(but) & set(form.hidden) <= set(posted)
