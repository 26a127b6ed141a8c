"""What stands in an address is kept by browsers, proxies and logs: no form puts a token or a secret there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

TEMPLATES = sorted((Path(__file__).resolve().parents[2] / "galleries" / "templates").rglob("*.html"))
FORM = re.compile(r"<form\b(?P<head>(?:[^>{]|\{[{%].*?[%}]\})*)>(?P<body>.*?)</form>", re.S)
SECRET = re.compile(r'csrf_token|type="password"|name="(passcode|password|code|token|note)"')


def leaks(html: str) -> list[str]:
    """Forms sent by their address that hold a token or a secret, and buttons that turn a form into such a one."""
    found = re.findall(r'formmethod="get"', html, re.I)
    for form in FORM.finditer(html):
        posted = re.search(r'method="post"', form["head"], re.I)
        if not posted and SECRET.search(form["body"]):
            found.append(form["head"].strip())
    return found


def test_the_search_finds_what_it_is_for() -> None:
    assert leaks('<form action="/x"><input name="passcode"></form>')
    assert leaks('<form method="get">{% csrf_token %}</form>')
    assert leaks('<form method="post"><button formmethod="get"></button></form>')
    assert not leaks(
        '<form method="post" action="{% url \'x\' %}">{% csrf_token %}</form><form><input name="q"></form>'
    )


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_no_form_puts_a_secret_into_an_address(path: Path) -> None:
    assert not leaks(path.read_text(encoding="utf-8"))
