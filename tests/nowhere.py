"""A mail server that is away."""

from __future__ import annotations

from typing import NoReturn

from django.core.mail.backends.base import BaseEmailBackend


class Backend(BaseEmailBackend):
    def send_messages(self, messages: object) -> NoReturn:
        raise ConnectionRefusedError("no mail server")
