"""A sitting and its photographer's browser, for the tests of the studio's pages; a file may set the scene otherwise."""

from __future__ import annotations

import pytest
from django.test import Client

from tests.cast import Cast, make_cast


@pytest.fixture
def cast() -> Cast:
    return make_cast()


@pytest.fixture
def client(cast: Cast) -> Client:
    return cast.client_of(cast.owner)
