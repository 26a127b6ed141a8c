"""The service units of the grown way, read as systemd reads them (systemd.unit(5), systemd.service(5))."""

from __future__ import annotations

from pathlib import Path

import pytest

GROWN = Path(__file__).resolve().parents[1] / "deploy" / "grown"
SERVICES = sorted(path.name for path in GROWN.glob("*.service"))


def said(name: str) -> dict[str, list[str]]:
    """Each setting with its values in order: a name may stand more than once."""
    found: dict[str, list[str]] = {}
    for line in (GROWN / name).read_text().splitlines():
        if line and line[0] not in "#[":
            key, _equals, value = line.partition("=")
            found.setdefault(key, []).append(value)
    return found


@pytest.mark.parametrize("name", SERVICES)
def test_each_has_a_limit_of_memory_and_walls(name: str) -> None:
    unit = said(name)
    assert unit["MemoryMax"][0][-1] in "MG"
    assert unit["NoNewPrivileges"] == ["yes"]
    assert unit["ProtectSystem"] == ["strict"]
    assert unit.get("User") == ["portal"] or unit.get("DynamicUser") == ["yes"]


@pytest.mark.parametrize("name", ["portal-web@.service", "portal-worker@.service", "portal-beat.service"])
def test_nobody_works_on_tables_of_another_release(name: str) -> None:
    unit = said(name)
    (check,) = unit["ExecStartPre"]
    assert check.endswith("manage.py migrate --check")
    assert "portal-tables.service" in " ".join(unit["After"])
    assert (unit["Restart"], unit["StartLimitIntervalSec"]) == (["always"], ["0"])  # until they are
    assert any(word.endswith("manage.py migrate --no-input") for word in said("portal-tables.service")["ExecStart"])


def test_what_is_named_is_there() -> None:
    units = {path.name for path in GROWN.iterdir()}
    for name in [*SERVICES, "portal.target"]:
        unit = said(name)
        for word in " ".join(unit.get("Wants", []) + unit.get("After", []) + unit.get("PartOf", [])).split():
            if word.startswith("portal"):
                stem, _at, rest = word.partition("@")
                assert (f"{stem}@.{rest.rpartition('.')[2]}" if rest else word) in units, (name, word)
    sockets = {f"unix:/run/portal-web-{one}/web.sock" for one in "12"}
    assert all(f"server {one};" in (GROWN / "nginx.conf").read_text() for one in sockets)
    (serve,) = said("portal-web@.service")["ExecStart"]
    assert "--uds /run/portal-web-%i/web.sock --uds-permissions 0o660" in serve
