"""The certificate that finals are signed with: made here, taken, exchanged, lost. Outside reader: OpenSSL."""

from __future__ import annotations

import subprocess
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec

from galleries.errors import BadInput, Conflict
from galleries.imaging.credentials.origin import Origin
from galleries.imaging.credentials.sign import room
from galleries.models import Studio
from galleries.steps.delivering import certificate, signing
from galleries.steps.people import sealing
from tests import outside

PURPOSE = "emailProtection"


@pytest.fixture(autouse=True)
def home(tmp_path: Path, settings: object, db: None) -> Path:
    settings.SITE_DIR = tmp_path / "home"  # type: ignore[attr-defined]
    (tmp_path / "home").mkdir()
    Studio.objects.create(name="Northlight Rooms", photographer="Tamsin Okonedo-Vale", email="t@northlight.example")
    return tmp_path / "home"


def openssl(*words: str, stdin: str | None = None) -> str:
    ran = subprocess.run([outside.program("openssl"), *words], input=stdin, capture_output=True, text=True, check=True)
    return ran.stdout


def given(folder: Path, *, name: str = "/O=Northlight Rooms", purpose: str = PURPOSE, curve: str = "prime256v1",
          days: int = 30) -> tuple[bytes, bytes]:  # fmt: skip
    """A chain and a key as an authority gives them, made with OpenSSL."""
    new = ["-newkey", "ec", "-pkeyopt", f"ec_paramgen_curve:{curve}", "-nodes", "-sha256"]
    openssl("req", "-x509", *new, "-days", "60", "-subj", "/O=Kelmscott Trust", "-keyout", f"{folder}/ca.key",
            "-out", f"{folder}/ca.pem", "-addext", "keyUsage=critical,keyCertSign")  # fmt: skip
    openssl("req", *new, "-subj", name, "-keyout", f"{folder}/own.key", "-out", f"{folder}/own.csr")
    Path(f"{folder}/own.ext").write_text(
        f"basicConstraints=critical,CA:FALSE\nkeyUsage=critical,digitalSignature\nextendedKeyUsage={purpose}\n"
        "authorityKeyIdentifier=keyid\n"
    )
    openssl("x509", "-req", "-in", f"{folder}/own.csr", "-CA", f"{folder}/ca.pem", "-CAkey", f"{folder}/ca.key",
            "-days", str(days), "-set_serial", "12345", "-extfile", f"{folder}/own.ext",
            "-out", f"{folder}/own.pem")  # fmt: skip
    chain = Path(f"{folder}/own.pem").read_bytes() + Path(f"{folder}/ca.pem").read_bytes()
    return chain, Path(f"{folder}/own.key").read_bytes()


def test_one_is_made_and_openssl_finds_its_chain_sound(home: Path) -> None:
    one = certificate.in_force()
    parts = x509.load_pem_x509_certificates(one.chain.encode())
    (home / "leaf.pem").write_text(parts[0].public_bytes(serialization.Encoding.PEM).decode())
    (home / "root.pem").write_text(one.anchor)
    said = openssl("verify", "-x509_strict", "-purpose", "smimesign", "-CAfile", f"{home}/root.pem", f"{home}/leaf.pem")
    assert said.strip().endswith("OK")
    text = openssl("x509", "-in", f"{home}/leaf.pem", "-noout", "-text")
    assert "E-mail Protection, 1.3.6.1.5.5.7.3.36" in text
    assert "O = Northlight Rooms" in text
    assert "Tamsin" not in text
    assert one.own
    assert not one.ended
    assert certificate.in_force() == one


def test_the_key_is_its_owners_alone_and_lies_sealed(home: Path, settings: object) -> None:
    one = certificate.in_force()
    files = sorted(path.name for path in (home / "signing").iterdir())
    assert files == sorted([f"{one.fingerprint}.key", f"{one.fingerprint}.pem", "current"])
    assert (home / "signing").stat().st_mode & 0o077 == 0
    key = home / "signing" / f"{one.fingerprint}.key"
    assert key.stat().st_mode & 0o077 == 0
    assert all(b"PRIVATE KEY" not in path.read_bytes() for path in (home / "signing").iterdir())
    with pytest.raises(sealing.Unsealable):  # not even by what opens the site's other secrets
        sealing.unseal(key.read_text())
    settings.SECRET_KEY = "another key of the site, as long as it has to be"  # type: ignore[attr-defined]
    with pytest.raises(Conflict, match="cannot be opened"):
        certificate.signer(one)


def test_two_that_make_the_first_at_once_agree(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    studio = Studio.current()
    monkeypatch.setattr(Studio, "current", lambda: studio)  # no table in another thread
    with ThreadPoolExecutor(4) as several:
        names = {one.fingerprint for one in several.map(lambda _: certificate.make(first=True), range(4))}
    assert len(names) == 1
    assert len(list((home / "signing").glob("*.key"))) == 1
    assert certificate.known() == [certificate.current()]


def test_another_takes_its_place_and_the_first_is_still_known(home: Path) -> None:
    first, second = certificate.in_force(), certificate.make()
    assert certificate.current() == second
    assert {one.fingerprint for one in certificate.known()} == {first.fingerprint, second.fingerprint}
    assert [path.stem for path in (home / "signing").glob("*.key")] == [second.fingerprint]  # nobody signs by the first
    with pytest.raises(Conflict):
        certificate.signer(first)


def test_one_of_an_authority_is_taken(tmp_path: Path) -> None:
    chain, key = given(tmp_path)
    one = certificate.take(chain, key)
    assert (one.own, one.serial, one.name) == (False, "12345", "Northlight Rooms")
    assert certificate.current() == one
    assert room(Origin("0" * 64), "", certificate.signer(one)) > 5000


@pytest.mark.parametrize(
    ("how", "why"),
    [
        ({"purpose": "serverAuth"}, "cannot be signed with"), ({"curve": "secp384r1"}, "P-256"),
    ],
)  # fmt: skip
def test_what_readers_would_refuse_is_not_taken(tmp_path: Path, how: dict[str, str], why: str) -> None:
    first = certificate.in_force()
    with pytest.raises(BadInput, match=why):
        certificate.take(*given(tmp_path, **how))  # type: ignore[arg-type]
    assert certificate.current() == first
    assert len(certificate.known()) == 1


def test_what_does_not_belong_together_is_not_taken(tmp_path: Path) -> None:
    chain, key = given(tmp_path)
    own, above = chain.split(b"-----BEGIN", 2)[1:]
    other = ec.generate_private_key(ec.SECP256R1()).private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    cases = [
        (b"no certificate", key, "cannot be read"), (chain, b"no key", "cannot be read"),
        (chain, other, "not that of the first"), (b"-----BEGIN" + own, key, "stands alone"),
        (b"-----BEGIN" + above + b"-----BEGIN" + own, key, "not that of the first"),
        (b"-----BEGIN" + own + certificate.make().anchor.encode(), key, "no chain"),
    ]  # fmt: skip
    for one, private, why in cases:
        with pytest.raises(BadInput, match=why):
            certificate.take(one, private)


def test_an_ended_one_stops_the_next_delivery_with_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(certificate, "DAYS", -1 / 48)
    with pytest.raises(Conflict, match="ended on"):
        signing.wanted()
    Studio.objects.update(sign_finals=False)
    assert signing.wanted() == ""
