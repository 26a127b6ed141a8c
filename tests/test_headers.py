"""The header that says what a page may load."""

from __future__ import annotations

import pytest
from csp.constants import HEADER
from csp.decorators import csp_update
from csp.middleware import CSPMiddleware
from django.http import HttpRequest, HttpResponse
from django.test import RequestFactory

from portal.headers import OnePolicy


def directives(header: str) -> set[str]:
    return {one.strip() for one in header.split(";") if one.strip()}


def plain(_request: HttpRequest) -> HttpResponse:
    return HttpResponse()


def own(_request: HttpRequest) -> HttpResponse:
    return HttpResponse(headers={HEADER: "default-src 'self'"})


@csp_update({"img-src": ["data:"]})
def more(_request: HttpRequest) -> HttpResponse:
    return HttpResponse()


@pytest.mark.parametrize("view", [plain, own, more])
def test_each_answer_has_the_policy_that_the_library_composes(view: object) -> None:
    request = RequestFactory().get("/")
    answer, librarys = OnePolicy(view)(request), CSPMiddleware(view)(request)  # type: ignore[arg-type]
    assert directives(answer.headers[HEADER]) == directives(librarys.headers[HEADER])
    assert len(directives(answer.headers[HEADER])) == (1 if view is own else 11)
    assert ("data:" in answer.headers[HEADER]) is (view is more)


def test_reports_only_and_places_without_a_policy_are_left_to_the_library(settings: object) -> None:
    policy = settings.CONTENT_SECURITY_POLICY  # type: ignore[attr-defined]
    settings.CONTENT_SECURITY_POLICY = {**policy, "EXCLUDE_URL_PREFIXES": ("/bare",)}  # type: ignore[attr-defined]
    assert HEADER not in OnePolicy(plain)(RequestFactory().get("/bare")).headers
    assert HEADER in OnePolicy(plain)(RequestFactory().get("/")).headers
