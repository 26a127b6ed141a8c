"""What the content credentials of a file say, in plain data."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Action:
    """`name` as the specification has it; `source`: code of a digital source type, or ''."""

    name: str
    source: str


@dataclass(frozen=True)
class Ingredient:
    """A file the picture was made from; `sha256` where it is named by its content, else ''."""

    relationship: str
    title: str
    sha256: str


@dataclass(frozen=True)
class CredentialsRead:
    """`changed`: the file is not as it was signed. `ended`: the certificate's time is over. `known`: signed under one
    of the certificates given. `faults`: further codes of what does not hold. `serial`: decimal, of the certificate."""

    changed: bool
    ended: bool
    known: bool
    faults: tuple[str, ...]
    signer: str
    serial: str
    program: str
    actions: tuple[Action, ...]
    ingredients: tuple[Ingredient, ...]
