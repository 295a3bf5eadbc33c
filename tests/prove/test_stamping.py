"""Time stamps by RFC 3161, made here by OpenSSL as an authority of our own."""

import datetime as dt
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509 import (
    BasicConstraints,
    Certificate,
    CertificateBuilder,
    KeyUsage,
    NameAttribute,
    random_serial_number,
)
from cryptography.x509 import Name as NameOf
from cryptography.x509.oid import NameOID

from squibwise.cli import files
from squibwise.cli.main import main
from squibwise.errors import InputError
from squibwise.model.proof import Verification
from squibwise.prove.stamping import (
    Stamp,
    read_stamp,
    refuse_later_day,
    refuse_strange_chain,
)

DIGEST = "ea57ddde183d98346049197218fad417af4ed1aad4c35c2b214af108b7914708"
OPENSSL = shutil.which("openssl")
pytestmark = pytest.mark.skipif(OPENSSL is None, reason="no openssl at hand")
CONFIG = """
[tsa]
default_tsa = own
[own]
serial = {place}/serial
crypto_device = builtin
signer_cert = {place}/tsa.pem
signer_key = {place}/tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
ess_cert_id_alg = sha256
[req]
distinguished_name = dn
x509_extensions = ext
prompt = no
[dn]
CN = A made-up authority
[ext]
extendedKeyUsage = critical,timeStamping
"""

Stamper = Callable[..., bytes]


def run(*words: str, place: Path) -> None:
    subprocess.run([str(OPENSSL), *words], cwd=place, check=True, capture_output=True)


@pytest.fixture(scope="session")
def stamp(tmp_path_factory: pytest.TempPathFactory) -> Stamper:
    def make(digest: str = DIGEST, *key: str, bare: bool = False) -> bytes:
        place = tmp_path_factory.mktemp("tsa")
        (place / "c.cnf").write_text(CONFIG.format(place=place), encoding="utf-8")
        (place / "serial").write_text("01\n", encoding="utf-8")
        kind = key or ("rsa:2048",)
        run(
            *("req", "-x509", "-newkey", *kind, "-nodes", "-keyout", "tsa.key", "-out", "tsa.pem"),
            *("-config", "c.cnf", "-days", "2"),
            place=place,
        )
        run("ts", "-query", "-digest", digest, "-sha256", "-cert", "-out", "q", place=place)
        more = ("-token_out",) if bare else ()
        run("ts", "-reply", "-config", "c.cnf", "-queryfile", "q", "-out", "r", *more, place=place)
        return (place / "r").read_bytes()

    return make


@pytest.mark.parametrize("bare", [False, True])
def test_a_stamp_over_the_digest_says_when_and_by_whom(stamp: Stamper, bare: bool) -> None:
    found = read_stamp(stamp(bare=bare), DIGEST)
    assert found.authority == "Common Name: A made-up authority"
    assert len(found.fingerprint) == 64
    assert abs(dt.datetime.now(dt.UTC) - found.at) < dt.timedelta(minutes=5)


def test_a_stamp_by_an_elliptic_key_is_read_too(stamp: Stamper) -> None:
    token = stamp(DIGEST, "ec", "-pkeyopt", "ec_paramgen_curve:P-256")
    assert read_stamp(token, DIGEST).at.tzinfo is not None


def test_a_stamp_over_another_record_is_refused(stamp: Stamper) -> None:
    with pytest.raises(InputError, match="over something else"):
        read_stamp(stamp("00" * 32), DIGEST)


# Source: a civil time is at most 14 hours ahead of UTC (tz database, Pacific/Kiritimati; from
# memory), so a record of the next day may be stamped, one of the day after that may not.
def test_a_record_dated_after_its_stamp_is_refused() -> None:
    noon = Stamp(at=dt.datetime(2026, 3, 9, 12, tzinfo=dt.UTC), authority="A", fingerprint="")
    for day in ("2026-03-01", "2026-03-09", "2026-03-10"):
        refuse_later_day(noon, day)
    with pytest.raises(InputError, match="issued on 2026-03-11, and was stamped 2026-03-09"):
        refuse_later_day(noon, "2026-03-11")


@pytest.mark.parametrize(("named", "code"), [(False, 1), (True, 0)])
def test_a_stamp_by_an_authority_that_nobody_named_needs_a_person(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, named: bool, code: int
) -> None:
    """Anybody can be an authority, as anybody can make a key."""
    sure = Verification(valid=True, signature="known", signer="R. Own", stamped="by somebody")
    monkeypatch.setattr(files, "verified", lambda *_: sure)
    file = tmp_path / "record.json"
    file.write_text("{}")
    more = ("--authority", str(file)) if named else ()
    arguments = ("verify", str(file), "--stamp", str(file), *more)
    assert main(arguments) == code


def test_a_certificate_for_something_else_is_refused(stamp: Stamper) -> None:
    token = stamp()
    with pytest.raises(InputError):
        read_stamp(
            token.replace(b"\x2b\x06\x01\x05\x05\x07\x03\x08", b"\x2b\x06\x01\x05\x05\x07\x03\x01"),
            DIGEST,
        )


def test_no_changed_byte_of_what_is_said_passes(stamp: Stamper) -> None:
    token = stamp()
    place = token.index(bytes.fromhex(DIGEST))
    time = token.index(b"20", place)
    for at in (place + 3, time + 3, len(token) - 5):
        forged = bytearray(token)
        forged[at] ^= 1
        with pytest.raises(InputError):
            read_stamp(bytes(forged), DIGEST)


@pytest.mark.parametrize("data", [b"", b"0", b"\x30\x03\x02\x01\x00", b"%PDF-1.7", bytes(5000)])
def test_what_is_no_stamp_is_refused(data: bytes) -> None:
    with pytest.raises(InputError):
        read_stamp(data, DIGEST)


USES = (
    "digital_signature content_commitment key_encipherment data_encipherment key_agreement "
    "key_cert_sign crl_sign encipher_only decipher_only"
).split()
DAY = dt.datetime(2026, 3, 9, tzinfo=dt.UTC)


def certificate(
    name: str, key: ec.EllipticCurvePrivateKey, issuer: Any = None, **odd: Any
) -> Certificate:
    """Return a made-up certificate, signed by the issuer (certificate, key) or by itself."""
    named = NameOf([NameAttribute(NameOID.COMMON_NAME, name)])
    above, signing = issuer or (None, key)
    built = CertificateBuilder(
        issuer_name=above.subject if above else named,
        subject_name=named,
        public_key=key.public_key(),
        serial_number=random_serial_number(),
        not_valid_before=odd.get("since", DAY - dt.timedelta(days=9)),
        not_valid_after=odd.get("until", DAY + dt.timedelta(days=9)),
    )
    limits = BasicConstraints(ca=odd.get("ca", True), path_length=odd.get("length"))
    usage = dict.fromkeys(USES, False) | {"key_cert_sign": odd.get("issues", True)}
    built = built.add_extension(limits, critical=True).add_extension(KeyUsage(**usage), True)
    return built.sign(signing, SHA256())


def chain(**odd: Any) -> tuple[list[Certificate], Certificate]:
    """Return leaf and middle, and the root: the middle one odd where it is said so."""
    keys = [ec.generate_private_key(ec.SECP256R1()) for _ in range(3)]
    root = certificate("root", keys[0], length=odd.pop("root_length", None))
    signer = odd.pop("signed_by", keys[0])
    middle = certificate("middle", keys[1], (root, signer), **odd)
    return [certificate("leaf", keys[2], (middle, keys[1]), ca=False), middle], root


def stamped(held: list[Certificate], at: dt.datetime = DAY) -> Stamp:
    ders = tuple(c.public_bytes(Encoding.DER) for c in held)
    return Stamp(at=at, authority="A", fingerprint="", chain=ders)


@pytest.mark.parametrize("form", [Encoding.PEM, Encoding.DER])
def test_a_chain_of_issuers_leads_to_the_one_that_is_trusted(form: Encoding) -> None:
    held, root = chain()
    refuse_strange_chain(stamped(held), root.public_bytes(form))
    refuse_strange_chain(stamped(held[:1]), held[1].public_bytes(form))
    refuse_strange_chain(stamped(held[:1]), held[0].public_bytes(form))


# Source: RFC 5280 section 6.1.3 (signature, validity) and 6.1.4 (k, l, n).
@pytest.mark.parametrize(
    "odd",
    [
        {"ca": False},
        {"issues": False},
        {"until": DAY - dt.timedelta(days=1)},
        {"since": DAY + dt.timedelta(days=1)},
        {"root_length": 0},
        {"signed_by": ec.generate_private_key(ec.SECP256R1())},
    ],
)
def test_a_chain_with_a_bad_link_is_refused(odd: dict[str, Any]) -> None:
    held, root = chain(**odd)
    with pytest.raises(InputError, match="was not issued under the one you named"):
        refuse_strange_chain(stamped(held), root.public_bytes(Encoding.PEM))


def test_a_chain_to_another_root_or_of_another_time_or_without_its_middle_is_refused() -> None:
    (held, root), (_, other) = chain(), chain()
    late = DAY + dt.timedelta(days=30)
    for stamp_, anchor in (
        (stamped(held), other),
        (stamped(held, late), root),
        (stamped(held[:1]), root),
    ):
        with pytest.raises(InputError, match="was not issued under"):
            refuse_strange_chain(stamp_, anchor.public_bytes(Encoding.DER))
    for data in (b"", b"-----BEGIN nothing", b"x" * 40):
        with pytest.raises(InputError, match="certificate"):
            refuse_strange_chain(stamped(held), data)


def test_the_stamp_of_openssl_leads_to_its_own_certificate(stamp: Stamper) -> None:
    found = read_stamp(stamp(), DIGEST)
    refuse_strange_chain(found, found.chain[0])
    _, other = chain()
    with pytest.raises(InputError, match="was not issued under"):
        refuse_strange_chain(found, other.public_bytes(Encoding.PEM))
