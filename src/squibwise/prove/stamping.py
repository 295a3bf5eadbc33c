"""A time stamp of a third party over a record: what it says, and whether it is over this record."""

import datetime as dt
import hashlib
from typing import Any

import msgspec
from asn1crypto import cms, tsp, x509
from cryptography import x509 as certificates
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, padding, rsa

from squibwise.errors import InputError
from squibwise.model.proof import ProofRecord

_ASK = "Ask the time stamp authority for a token over the digest, with its certificate in it."
_HASHES: dict[str, type[hashes.HashAlgorithm]] = {
    "sha256": hashes.SHA256,
    "sha384": hashes.SHA384,
    "sha512": hashes.SHA512,
}


class Stamp(msgspec.Struct, frozen=True, kw_only=True):
    """What a time stamp says.

    Attributes:
        at: When the authority saw the digest.
        authority: Name in its certificate; anybody can write a certificate.
        fingerprint: SHA-256 of that certificate, in hex: to compare with the authority's own.
        chain: Its certificate, and the others that the token holds, DER.
    """

    at: dt.datetime
    authority: str
    fingerprint: str
    chain: tuple[bytes, ...] = ()


def read_stamp(token: bytes, digest: str) -> Stamp:
    """Return what a time stamp says of a record's digest.

    Args:
        token: A response or a bare token, DER.
        digest: Digest of the record, hex.

    Raises:
        InputError: It is no time stamp, is over something else, or is not signed by its own
            certificate.

    Source: RFC 3161 section 2.4.2 (TSTInfo), RFC 5652 section 5.4 (what is signed). We check that
    the certificate is one for time stamping; who stands behind it, ``refuse_strange_chain`` asks.
    """
    try:
        return _read(token, digest)
    except (ValueError, TypeError, KeyError, IndexError, UnsupportedAlgorithm) as error:
        raise InputError(f"the time stamp cannot be read: {error}", remedy=_ASK) from error


def tell_stamp(
    token: bytes, record: ProofRecord, trusted: bytes | None = None, trusted_name: str = ""
) -> str:
    """Return what a time stamp over a record says, in words.

    Args:
        token: The time stamp.
        record: What it must be over.
        trusted: Certificate under which the stamp's must be issued; None = any.
        trusted_name: What that certificate is called here.

    Raises:
        InputError: It is no stamp over this record, of a later day, or not under that certificate.
    """
    found = read_stamp(token, record.digest)
    refuse_later_day(found, record.issued_on)
    under = ""
    if trusted is not None:
        refuse_strange_chain(found, trusted)
        under = f", issued under {trusted_name}; revocation is not checked"
    return (
        f"{found.authority} states that it existed on {found.at.isoformat(' ', 'seconds')}; "
        f"certificate {found.fingerprint}{under}"
    )


def refuse_strange_chain(stamp: Stamp, trusted: bytes) -> None:
    """Refuse a stamp whose certificate was not issued under a certificate that the user trusts.

    Args:
        stamp: As it was read.
        trusted: A certificate, or several, as PEM or DER.

    Raises:
        InputError: It holds no certificate, or no chain of issuers leads to one of them.

    Source: RFC 5280 section 6.1, of which we check at the time of the stamp: each signature and
    name of issuer, validity, that an issuer may issue, and the length of path. We do not check
    revocation, name constraints or policies.
    """
    try:
        anchors = _certificates(trusted)
        others = [certificates.load_der_x509_certificate(c) for c in stamp.chain]
        is_led = _leads(others[0], others[1:], anchors, stamp.at, 0)
    except (ValueError, TypeError, UnsupportedAlgorithm, IndexError) as error:
        raise InputError(f"the certificate cannot be read: {error}", remedy=_ROOT) from error
    if not is_led:
        raise InputError(
            "the certificate of the time stamp was not issued under the one you named, or not for "
            "that time",
            remedy=_ROOT,
        )


_ROOT = "Get the authority's own certificate from its site, by another way than the record."
_LONGEST_CHAIN = 8


def _certificates(data: bytes) -> list[certificates.Certificate]:
    if b"-----BEGIN" in data:
        return certificates.load_pem_x509_certificates(data)
    return [certificates.load_der_x509_certificate(data)]


def _leads(
    one: certificates.Certificate,
    others: list[certificates.Certificate],
    anchors: list[certificates.Certificate],
    at: dt.datetime,
    below: int,
) -> bool:
    """Return whether issuers lead from a certificate to one that is trusted.

    Args:
        one: The certificate.
        others: Those that may stand between.
        anchors: Those that are trusted.
        at: When all of them must have been valid.
        below: Issuers between the stamp's own certificate and this one's issuer.
    """
    if not one.not_valid_before_utc <= at <= one.not_valid_after_utc:
        return False
    if one in anchors:
        return True
    issuers = [c for c in (*anchors, *others) if c != one and _issued(one, c, below)]
    return below < _LONGEST_CHAIN and any(
        _leads(c, others, anchors, at, below + 1) for c in issuers
    )


def _issued(one: certificates.Certificate, issuer: certificates.Certificate, below: int) -> bool:
    """Return whether a certificate is signed by another that may issue it."""
    try:
        one.verify_directly_issued_by(issuer)
        may = issuer.extensions.get_extension_for_class(certificates.BasicConstraints).value
    except (ValueError, TypeError, InvalidSignature, certificates.ExtensionNotFound):
        return False
    return may.ca and (may.path_length is None or below <= may.path_length) and _may_sign(issuer)


def _may_sign(issuer: certificates.Certificate) -> bool:
    """Return whether a certificate's key may sign others: where nothing is said of it, it may."""
    try:
        usage = issuer.extensions.get_extension_for_class(certificates.KeyUsage).value
    except certificates.ExtensionNotFound:
        return True
    return usage.key_cert_sign


def refuse_later_day(stamp: Stamp, issued_on: str) -> None:
    """Refuse a record that says it was issued after it was stamped.

    Raises:
        InputError: The day of issue is later than the stamp, in whatever part of the world.
    """
    latest = (stamp.at + _FURTHEST_EAST).date()
    if dt.date.fromisoformat(issued_on) > latest:
        text = f"the record says it was issued on {issued_on}, and was stamped {stamp.at:%Y-%m-%d}"
        raise InputError(text, remedy="Its dates are not true: do not rely on them.")


_FURTHEST_EAST = dt.timedelta(hours=14)  # the largest offset of a civil time from UTC


def _read(token: bytes, digest: str) -> Stamp:
    signed = _signed_data(token)
    said = signed["encap_content_info"]["content"].parsed
    imprint = said["message_imprint"]
    if imprint["hashed_message"].native != bytes.fromhex(digest):
        raise InputError("the time stamp is over something else", remedy=_ASK)
    signer = signed["signer_infos"][0]
    certificate = _certificate_of(signer, signed)
    content = signed["encap_content_info"]["content"].contents
    _check_signature(signer, certificate, content)
    at: dt.datetime = said["gen_time"].native
    return Stamp(
        at=at,
        authority=certificate.subject.human_friendly,
        fingerprint=hashlib.sha256(certificate.dump()).hexdigest(),
        chain=(certificate.dump(), *(c.chosen.dump() for c in signed["certificates"])),
    )


def _signed_data(token: bytes) -> Any:  # noqa: ANN401 - a record of the ASN.1 library
    """Return the signed part of a token, or of the response that carries one."""
    try:
        info = cms.ContentInfo.load(token, strict=True)
        kind = info["content_type"].native
    except ValueError:
        info = tsp.TimeStampResp.load(token, strict=True)["time_stamp_token"]
        kind = info["content_type"].native
    if kind != "signed_data":
        raise InputError("this is no time stamp", remedy=_ASK)
    signed = info["content"]
    if signed["encap_content_info"]["content_type"].native != "tst_info":
        raise InputError("what is signed is no time stamp", remedy=_ASK)
    return signed


def _certificate_of(signer: Any, signed: Any) -> x509.Certificate:  # noqa: ANN401
    """Return the certificate that a signer names; it must be for time stamping and nothing else."""
    wanted = signer["sid"].chosen
    for choice in signed["certificates"] or ():
        found = choice.chosen
        by_number = isinstance(wanted, cms.IssuerAndSerialNumber) and (
            found.serial_number == wanted["serial_number"].native
            and found.issuer == wanted["issuer"]
        )
        by_key = found.key_identifier is not None and found.key_identifier == wanted.native
        if by_number or by_key:
            usage = found.extended_key_usage_value
            if usage is None or usage.native != ["time_stamping"]:
                raise InputError("its certificate is not for time stamping", remedy=_ASK)
            return found
    raise InputError("the time stamp does not hold its certificate", remedy=_ASK)


def _check_signature(signer: Any, certificate: x509.Certificate, content: bytes) -> None:  # noqa: ANN401
    attributes = signer["signed_attrs"]
    name = signer["digest_algorithm"]["algorithm"].native
    stated = next(a["values"][0].native for a in attributes if a["type"].native == "message_digest")
    if hashlib.new(name, content).digest() != stated:
        raise InputError("what the time stamp says was changed", remedy=_ASK)
    key = certificates.load_der_x509_certificate(certificate.dump()).public_key()
    kind = signer["signature_algorithm"]
    is_bare = kind["algorithm"].native == "rsassa_pkcs1v15"  # the hash stands beside it then
    algorithm = _HASHES[name if is_bare else kind.hash_algo]()
    value, data = signer["signature"].native, attributes.untag().dump()
    try:
        if isinstance(key, rsa.RSAPublicKey):
            key.verify(value, data, padding.PKCS1v15(), algorithm)
        elif isinstance(key, ec.EllipticCurvePublicKey):
            key.verify(value, data, ec.ECDSA(algorithm))
        else:
            raise InputError("its kind of key is not known here", remedy=_ASK)
    except InvalidSignature as error:
        raise InputError("its signature was not made over it", remedy=_ASK) from error
