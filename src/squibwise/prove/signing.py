"""Sign a record, and check a signature: Ed25519 over the digest and the name of who signs."""

import base64
import binascii
import hashlib

import msgspec
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from squibwise.errors import InputError
from squibwise.model.proof import ProofRecord, Signature
from squibwise.prove.canonical import canonical

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
