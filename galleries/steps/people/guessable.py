"""Passwords that guessing comes to soon: those of leaked lists with what people add to them, words of the house."""

from __future__ import annotations

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from zxcvbn import zxcvbn

from galleries.models import Studio

LOOKED_AT = 72  # characters: time grows with their square, and so many are enough to judge by
LEAST = 3  # of zxcvbn's five grades: more than 10^8 guesses


class NotGuessable:
    """One of `AUTH_PASSWORD_VALIDATORS`. Asks nobody: zxcvbn brings 30,000 leaked passwords, names and words."""

    def validate(self, password: str, user: User | None = None) -> None:
        """
        Raises:
            ValidationError: it is guessed too soon.
        """
        known = [word for text in _of_the_house(user) for word in (text, *text.replace("@", " ").split())]
        if zxcvbn(password[:LOOKED_AT], user_inputs=known)["score"] < LEAST:
            raise ValidationError(self.get_help_text(), code="password_guessable")

    def get_help_text(self) -> str:
        return _(
            "It is easily guessed: it is made of words, names or leaked passwords that are tried first."
            " Take several words that do not belong together."
        )


def _of_the_house(user: User | None) -> list[str]:
    studio = Studio.current()
    own = [user.get_username(), user.first_name, user.last_name, user.email] if user is not None else []
    return [text.strip() for text in (studio.name, studio.photographer, studio.email, studio.web, *own) if text.strip()]
