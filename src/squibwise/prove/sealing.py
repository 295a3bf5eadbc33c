"""Plain JSON, its canonical bytes (RFC 8785), the tree over them, and Ed25519 signatures."""

import base64
import binascii
import hashlib
import math
from typing import Any

import msgspec
import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from squibwise.errors import InputError
from squibwise.model.proof import ProofRecord, Signature

LARGEST = 2**53 - 1
DECIMALS = 4


def canonical(value: Any) -> bytes:  # noqa: ANN401 - any JSON value
    """Return the canonical bytes of a JSON value.

    Raises:
        InputError: It holds something that JSON cannot carry exactly: an integer beyond 2^53,
            a number that is not finite, or broken text.

    Source: RFC 8785; integers, which it leaves to ECMAScript doubles, are refused beyond 2^53.
    """
    try:
        return rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, RecursionError) as error:
        raise InputError(
            f"cannot be written as canonical JSON: {error}", remedy="Write such numbers as text."
        ) from error


def digest(value: Any) -> str:  # noqa: ANN401 - any JSON value
    """Return the SHA-256 over the canonical bytes of a JSON value, in hex."""
    return hashlib.sha256(canonical(value)).hexdigest()


def plain(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """Return a JSON value whose numbers and text survive every reader.

    Fractions are rounded to four decimals, never to a certain 0 or 1; numbers
    beyond 2^53 or not finite become text; text that is not Unicode is written escaped.
    """
    if isinstance(value, bool) or value is None:
        return value
    if isinstance(value, float):
        return _rounded(value) if abs(value) <= LARGEST else str(value)  # NaN becomes text too
    if isinstance(value, int):
        return value if abs(value) <= LARGEST else str(value)
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode("utf-8")
    if isinstance(value, dict):
        return {plain(str(k)): plain(v) for k, v in value.items()}
    return [plain(v) for v in value]


def exact(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """Return a JSON value whose fractions are text, digit for digit as they were recorded."""
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, dict):
        return {k: exact(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [exact(v) for v in value]
    return value


def _rounded(value: float) -> float:
    """Return a rounded fraction; what is neither 0 nor 1 stays so."""
    result = round(value, DECIMALS)
    if result != value and result in (0.0, 1.0):
        step = 10.0**-DECIMALS
        return round(result + math.copysign(step, value - result), DECIMALS)
    return result


SCHEME = "Ed25519"
_FOR = "squibwise-record"


def sign(record: ProofRecord, key: bytes, by: str) -> ProofRecord:
    """Return a record with a signature over its digest.

    Args:
        record: A finished record; a draft is never signed.
        key: The private key. [32 bytes]
        by: Name of the person who signs; it is part of what is signed.

    Raises:
        InputError: The record is a draft, or nobody is named.

    Source: RFC 8032, Ed25519. We differ in nothing; what is signed is canonical JSON (RFC 8785).
    """
    if record.draft or not by.strip():
        raise InputError(
            f"the record of {record.case_id} cannot be signed",
            remedy="Close every gate, and record passed 'release' with by = the person's name.",
        )
    value = Ed25519PrivateKey.from_private_bytes(key).sign(_message(record, by))
    signature = Signature(
        by=by,
        scheme=SCHEME,
        public_key=base64.b64encode(public_key(key)).decode(),
        value=base64.b64encode(value).decode(),
    )
    return msgspec.structs.replace(record, signature=signature)


def public_key(key: bytes) -> bytes:
    """Return the public key of a private one, 32 bytes each."""
    return Ed25519PrivateKey.from_private_bytes(key).public_key().public_bytes_raw()


def is_signed_by_its_key(record: ProofRecord) -> bool:
    """Return whether a record carries a signature that its own key made over what stands in it."""
    signature = record.signature
    if signature is None or signature.scheme != SCHEME:
        return False
    try:
        key = base64.b64decode(signature.public_key, validate=True)
        value = base64.b64decode(signature.value, validate=True)
        Ed25519PublicKey.from_public_bytes(key).verify(value, _message(record, signature.by))
    except (InvalidSignature, binascii.Error, ValueError):
        return False
    return True


def fingerprint(public: str) -> str:
    """Return the first 16 hex digits of the SHA-256 of a public key, in groups of four."""
    digits = hashlib.sha256(public.encode()).hexdigest()[:16]
    return " ".join(digits[n : n + 4] for n in range(0, 16, 4))


def _message(record: ProofRecord, by: str) -> bytes:
    return canonical({"by": by, "digest": record.digest, "for": _FOR, "scheme": SCHEME})
