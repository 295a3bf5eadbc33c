"""What seals a record: canonical bytes (RFC 8785), the tree over its parts, and signatures."""

import base64
import binascii
import hashlib
import hmac
import math
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import msgspec
import rfc8785

from squibwise.errors import InputError
from squibwise.model.proof import ProofRecord, Signature

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

LARGEST = 2**53 - 1
CHANGED = "Do not rely on it. Ask the person who issued it for the original."
DECIMALS = 4
_HASH = re.compile("[0-9a-f]{64}")


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


def leaf_hash(data: bytes) -> bytes:
    """Return the hash of one leaf of a tree.

    Source: RFC 6962 section 2.1: SHA-256 over 0x00 and the data.
    """
    return hashlib.sha256(b"\x00" + data).digest()


def tree_head(leaves: Sequence[bytes]) -> bytes:
    """Return the head of the tree over the hashes of its leaves.

    Source: RFC 6962 section 2.1: SHA-256 over 0x01 and both halves, parted at the largest power of
    two below their number; over nothing for an empty tree. We differ in nothing.
    """
    if not leaves:
        return hashlib.sha256().digest()
    if len(leaves) == 1:
        return leaves[0]
    half = 1 << ((len(leaves) - 1).bit_length() - 1)
    return hashlib.sha256(b"\x01" + tree_head(leaves[:half]) + tree_head(leaves[half:])).digest()


OUTSIDE_DIGEST = ("digest", "salts", "withheld", "signature")
ONE_BY_ONE = ("components", "evidence")
"""Lists whose entries are parts of their own, so that a copy can leave out one of them."""


def seal(record: ProofRecord, salt: bytes = b"") -> ProofRecord:
    """Return a record with a salt for each of its parts and the digest over them.

    Args:
        record: A record that leaves nothing out.
        salt: Secret that keeps what a copy leaves out from being guessed; the same secret gives
            the same record.
    """
    written = {n: canonical(v) for n, v in parts(msgspec.to_builtins(record)).items()}
    salts = {n: _salt(salt, n, data) for n, data in written.items()}
    head = tree_head([_leaf(n, salts[n], written[n]) for n in sorted(written)])
    return msgspec.structs.replace(record, salts=salts, withheld={}, digest=head.hex())


def _salt(secret: bytes, name: str, written: bytes) -> str:
    said = name.encode() + b"\x00" + written
    return hmac.new(secret, said, hashlib.sha256).hexdigest()[:32]


def _leaf(name: str, salt: str, written: bytes) -> bytes:
    """Return the hash of a part: over its canonical object of part, salt and value.

    Args:
        name: Name of the part.
        salt: Its salt.
        written: Canonical bytes of its value.
    """
    head = b'{"part":%b,"salt":%b,"value":' % (canonical(name), canonical(salt))
    return leaf_hash(head + written + b"}")


def parts(record: dict[str, Any]) -> dict[str, Any]:
    """Return the parts of a record, given as JSON, by name: what each leaf of its tree holds."""
    found = {k: v for k, v in record.items() if k not in (*OUTSIDE_DIGEST, "content")}
    for key, value in record["content"].items():
        if key in ONE_BY_ONE and isinstance(value, list):
            found[f"content/{key}"] = len(value)
            found |= {f"content/{key}/{n}": one for n, one in enumerate(value)}
        else:
            found[f"content/{key}"] = value
    return found


def head_of(record: dict[str, Any]) -> str:
    """Return the head of the tree over a record given as JSON, in hex.

    The leaves stand in the order of their names. A part that is left out counts by its hash.

    Raises:
        InputError: A part has no salt, or a part that is left out is there, may not be left out,
            or has no hash.
    """
    salts, withheld = record["salts"], record["withheld"]
    named = parts(record)
    for name in withheld:
        if name not in record["may_withhold"] or named.get(name, 0) is not None or name in salts:
            raise InputError(f"leaves out '{name}', which no copy may", remedy=CHANGED)
        if not _HASH.fullmatch(withheld[name]):
            raise InputError(f"holds no hash of '{name}', which it leaves out", remedy=CHANGED)
    if salts.keys() != named.keys() - withheld.keys():
        raise InputError("does not hold a salt for each of its parts", remedy=CHANGED)
    leaves = [
        bytes.fromhex(withheld[n]) if n in withheld else _leaf(n, salts[n], canonical(named[n]))
        for n in sorted(named)
    ]
    return tree_head(leaves).hex()


def withhold(record: ProofRecord) -> ProofRecord:
    """Return a copy without crash data and prices; its digest and signature stay what they were."""
    value = msgspec.to_builtins(record)
    named, content = parts(value), dict(record.content)
    content["evidence"] = list(content["evidence"])
    left_out = [n for n in record.may_withhold if named[n] is not None]
    for name in left_out:
        _, key, *number = name.split("/")
        if number:
            content[key][int(number[0])] = None
        else:
            content[key] = None
    hashes = {n: _leaf(n, record.salts[n], canonical(named[n])).hex() for n in left_out}
    kept = {n: s for n, s in record.salts.items() if n not in hashes}
    return msgspec.structs.replace(
        record, content=content, salts=kept, withheld=record.withheld | hashes
    )


SCHEME = "Ed25519"
_RECORD, _PAGES = "squibwise-record", "squibwise-pages"


def sign(record: ProofRecord, key: bytes, by: str) -> ProofRecord:
    """Return a record with a signature over its digest.

    Args:
        record: A finished record; a draft is never signed.
        key: The private key. [32 bytes]
        by: Name of the person who signs; it is part of what is signed. That it names somebody is
            asked by the gate of the release, without which a record is a draft.

    Raises:
        InputError: The record is a draft, or nobody is named.

    Source: RFC 8032, Ed25519. We differ in nothing; what is signed is canonical JSON (RFC 8785).
    """
    if record.draft or not by.strip():
        raise InputError(
            f"the record of {record.case_id} cannot be signed",
            remedy="Close every gate, and record passed 'release' with by = the person's name.",
        )
    value = _private(key).sign(_message(by, record.digest, _RECORD))
    signature = Signature(
        by=by,
        scheme=SCHEME,
        public_key=base64.b64encode(public_key(key)).decode(),
        value=base64.b64encode(value).decode(),
    )
    return msgspec.structs.replace(record, signature=signature)


def public_key(key: bytes) -> bytes:
    """Return the public key of a private one, 32 bytes each."""
    return _private(key).public_key().public_bytes_raw()


def sign_pages(signature: Signature, digest_of_record: str, pages: bytes, key: bytes) -> str:
    """Return a signature over the bytes of pages, by the key that signed their record, base64.

    Args:
        signature: That of the record.
        digest_of_record: What it signs.
        pages: The whole file with the place of this signature blank.
        key: The private key. [32 bytes]
    """
    message = _message(signature.by, digest_of_record, _PAGES, pages)
    return base64.b64encode(_private(key).sign(message)).decode()


def is_signed_by_its_key(record: ProofRecord) -> bool:
    """Return whether a record carries a signature that its own key made over what stands in it."""
    signature = record.signature
    if signature is None or signature.scheme != SCHEME:
        return False
    return _fits(signature, signature.value, _message(signature.by, record.digest, _RECORD))


def are_pages_signed(record: ProofRecord, value: str, pages: bytes) -> bool:
    """Return whether the key of a record signed these pages too; see ``sign_pages``."""
    signature = record.signature
    if signature is None or signature.scheme != SCHEME:
        return False
    return _fits(signature, value, _message(signature.by, record.digest, _PAGES, pages))


def _fits(signature: Signature, value: str, message: bytes) -> bool:
    try:
        key = base64.b64decode(signature.public_key, validate=True)
        made = base64.b64decode(value, validate=True)
        if [base64.b64encode(raw).decode() for raw in (key, made)] != [signature.public_key, value]:
            return False  # spare bits of the last letters were changed
        if _is_of_small_order(key):
            return False
        return _is_signed(key, made, message)
    except (binascii.Error, ValueError):
        return False


def _private(key: bytes) -> "Ed25519PrivateKey":
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.from_private_bytes(key)


def _is_signed(key: bytes, made: bytes, message: bytes) -> bool:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(key).verify(made, message)
    except InvalidSignature:
        return False
    return True


_P = 2**255 - 19
_D = -121665 * pow(121666, -1, _P) % _P


def _is_of_small_order(key: bytes) -> bool:
    """Return whether a public key is one of the points under which a signature fits any text.

    Eight times such a point is nothing: y is 0, 1 or -1, or twice the point has y = 0.

    Source: RFC 8032, section 5.1: p, d and how a point is written. The condition follows from its
    addition formula; points that are written with y >= p fall under it too.
    """
    y2 = pow(int.from_bytes(key, "little") % 2**255, 2, _P)
    return y2 * (y2 - 1) * (_D * y2 * y2 + 2 * y2 - 1) % _P == 0


def in_quotes(name: str) -> str:
    """Return what a signer wrote as a name, apart from what the program says around it."""
    shown = name[:80].replace('"', "'")
    return f'"{shown}"'


def fingerprint(public: str) -> str:
    """Return the first 16 hex digits of the SHA-256 of a public key, in groups of four."""
    digits = hashlib.sha256(public.encode()).hexdigest()[:16]
    return " ".join(digits[n : n + 4] for n in range(0, 16, 4))


def _message(by: str, digest_of_record: str, what_for: str, pages: bytes = b"") -> bytes:
    said = {"by": by, "digest": digest_of_record, "for": what_for, "scheme": SCHEME}
    return canonical(said | ({"pages": hashlib.sha256(pages).hexdigest()} if pages else {}))
