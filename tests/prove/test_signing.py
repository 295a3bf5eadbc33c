"""Who signed: Ed25519 by its published vector, and every way to forge that was thought of."""

import base64
import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.model.proof import Gate, KnownKey, ProofRecord, Signature
from squibwise.present.tell_checks import tell_verification
from squibwise.prove import verify
from squibwise.prove.recording import to_json
from squibwise.prove.sealing import fingerprint, public_key, seal, sign
from squibwise.prove.verifying import tell_day_to_come

Maker = Callable[..., ProofRecord]

# Source: RFC 8032, section 7.1, test 1 (secret, public key, signature of the empty message).
SECRET = bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
PUBLIC = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
OF_NOTHING = (
    "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46b"
    "d25bf5f0595bbe24655141438e7a100b"
)


def test_keys_and_signatures_are_those_of_the_standard() -> None:
    assert public_key(SECRET).hex() == PUBLIC
    assert Ed25519PrivateKey.from_private_bytes(SECRET).sign(b"").hex() == OF_NOTHING


def known(name: str = "R. Own") -> tuple[KnownKey, ...]:
    mine = base64.b64encode(public_key(SECRET)).decode()
    return (KnownKey(public_key=mine, name=name, since="2026-01-02"),)


def reseal(record: ProofRecord, **changes: Any) -> ProofRecord:
    """Return a record that somebody changed and whose digest they computed anew."""
    changed = msgspec.structs.replace(record, **changes)
    return seal(changed)


def test_a_signed_record_names_its_key_and_since_when_it_is_known(
    issue: Maker, catalog: Catalog
) -> None:
    data = to_json(sign(issue(), SECRET, "R. Own"))
    answer = verify(data, catalog, known())
    assert (answer.valid, answer.signature, answer.problems) == (True, "known", ())
    assert (answer.signer, answer.known_since) == ("R. Own", "2026-01-02")
    assert answer.fingerprint == fingerprint(known()[0].public_key)


def test_a_key_that_is_not_known_proves_only_sameness(issue: Maker, catalog: Catalog) -> None:
    answer = verify(to_json(sign(issue(), bytes(32), "R. Own")), catalog, known())
    assert (answer.valid, answer.signature) == (True, "unknown")
    assert [p.code for p in answer.problems] == ["record-key-unknown"]


def test_without_a_signature_nobody_can_tell_who_made_it(issue: Maker, catalog: Catalog) -> None:
    answer = verify(to_json(issue()), catalog, known())
    assert (answer.valid, answer.signature) == (True, "none")
    assert "nobody can tell who made this" in answer.problems[0].message


def test_a_draft_or_a_nameless_record_is_not_signed(issue: Maker) -> None:
    draft = msgspec.structs.replace(issue(), draft=True)
    for record, by in ((draft, "R. Own"), (issue(), " ")):
        with pytest.raises(InputError, match="cannot be signed"):
            sign(record, SECRET, by)


def with_texts(record: ProofRecord, **changes: Any) -> dict[str, Any]:
    return record.content | {"texts": record.content["texts"] | changes}


def forgeries(record: ProofRecord) -> dict[str, ProofRecord]:
    signature = record.signature
    assert signature is not None
    fewer = record.gates[:-1]
    softer = (msgspec.structs.replace(record.gates[0], text="All is well."), *record.gates[1:])
    opened = (msgspec.structs.replace(record.gates[0], open=True, missing=()), *record.gates[1:])
    other = {"title": "Another car"}
    return {
        "no gates": reseal(record, gates=()),
        "a gate less": reseal(record, gates=fewer),
        "a gate more": reseal(record, gates=(*record.gates, Gate(id="x", open=False, text="x"))),
        "a gate in other words": reseal(record, gates=softer),
        "an open gate that misses nothing": reseal(record, gates=opened, draft=True),
        "another footer": reseal(record, content=with_texts(record, footer="Safe.")),
        "no limits": reseal(record, content=with_texts(record, limits=[])),
        "another title, signed before": reseal(record, content=record.content | other),
        "another name": msgspec.structs.replace(
            record, signature=msgspec.structs.replace(signature, by="Somebody Else")
        ),
        "another scheme": msgspec.structs.replace(
            record, signature=msgspec.structs.replace(signature, scheme="none")
        ),
        "a known key, another value": msgspec.structs.replace(
            record, signature=msgspec.structs.replace(signature, value="AAAA")
        ),
        "no base64": msgspec.structs.replace(
            record, signature=Signature(by="R", scheme="Ed25519", public_key="é", value="é")
        ),
    }


def test_no_forgery_is_valid(issue: Maker, catalog: Catalog) -> None:
    record = sign(issue(), SECRET, "R. Own")
    assert verify(to_json(record), catalog, known()).valid
    answers = {
        name: verify(to_json(forged), catalog, known()).valid
        for name, forged in forgeries(record).items()
    }
    assert {name for name, valid in answers.items() if valid} == set()


def test_a_caution_in_other_words_is_seen(issue: Maker, catalog: Catalog) -> None:
    record = issue()
    items = [dict(i) for i in record.content["work"]["items"]]
    caution = {"id": "full-wait", "text": "No need to wait.", "source": "judgement", "basis": None}
    items[0] = items[0] | {"cautions": [caution]}
    content = record.content | {"work": record.content["work"] | {"items": items}}
    answer = verify(to_json(reseal(record, content=content)), catalog)
    assert [p.code for p in answer.problems if p.severity == "error"] == ["record-words"]


PRIME, ORDER = 2**255 - 19, 2**252 + 27742317777372353535851937790883648493
TWIST = -121665 * pow(121666, -1, PRIME) % PRIME
Point = tuple[int, int]


def added(one: Point, other: Point) -> Point:
    (x1, y1), (x2, y2) = one, other
    both = TWIST * x1 * x2 * y1 * y2
    x = (x1 * y2 + x2 * y1) * pow(1 + both, -1, PRIME)
    return x % PRIME, (y1 * y2 + x1 * x2) * pow(1 - both, -1, PRIME) % PRIME


def times(factor: int, point: Point) -> Point:
    total = (0, 1)
    for bit in f"{factor:b}":
        total = added(total, total)
        total = added(total, point) if bit == "1" else total
    return total


def points_of_small_order() -> set[bytes]:
    """Every point that eight times itself is nothing, as a public key is written."""
    for y in range(2, 100):
        square = (y * y - 1) * pow(TWIST * y * y + 1, -1, PRIME) % PRIME
        x = pow(square, (PRIME + 3) // 8, PRIME)
        x = x if x * x % PRIME == square else x * pow(2, (PRIME - 1) // 4, PRIME) % PRIME
        if x * x % PRIME != square:
            continue
        found = {times(n, times(ORDER, (x, y))) for n in range(8)}
        if len(found) == 8:
            return {(b % PRIME | (a & 1) << 255).to_bytes(32, "little") for a, b in found}
    raise AssertionError


# Source: RFC 8032, section 5.1: prime, d, order of the group, addition, how a point is written.
def test_a_key_that_fits_every_text_is_none(issue: Maker, catalog: Catalog) -> None:
    keys = points_of_small_order() | {(PRIME + n).to_bytes(32, "little") for n in (0, 1)}
    assert len(keys) == 10
    nothing = b"\1" + bytes(31)
    Ed25519PublicKey.from_public_bytes(nothing).verify(nothing + bytes(32), b"any text")
    accepted = 0
    for key in keys:
        weak = Signature(
            by="R. Own",
            scheme="Ed25519",
            public_key=base64.b64encode(key).decode(),
            value=base64.b64encode(key + bytes(32)).decode(),
        )
        for case_id in ("one", "two", "three", "four"):
            record = msgspec.structs.replace(reseal(issue(), case_id=case_id), signature=weak)
            trust = KnownKey(public_key=weak.public_key, name="R. Own", since="2026-01-01")
            accepted += verify(to_json(record), catalog, (trust,)).valid
    assert accepted == 0


def test_a_day_that_has_not_come_is_told_and_not_sure(issue: Maker, catalog: Catalog) -> None:
    record = sign(issue(), SECRET, "R. Own")
    answer = verify(to_json(record), catalog, known())
    issued = dt.date.fromisoformat(record.issued_on)
    late, zones = (tell_day_to_come(answer, record, issued - dt.timedelta(days=d)) for d in (2, 1))
    assert (zones, zones.is_sure) == (answer, True)
    assert (late.valid, late.is_sure) == (True, False)
    assert [p.code for p in late.problems] == ["record-day-to-come"]
    assert "a day that has not come" in tell_verification(late, Path("x.pdf")).title


def test_another_name_on_the_paper_than_that_of_the_key_is_told(
    issue: Maker, catalog: Catalog
) -> None:
    answer = verify(to_json(sign(issue(), SECRET, "State Inspector")), catalog, known())
    assert (answer.valid, answer.signature, answer.signer) == (True, "known", "R. Own")
    assert answer.named == "State Inspector"
    assert [p.code for p in answer.problems] == ["record-other-name"]
    first = tell_verification(answer, Path("x.pdf")).title
    assert 'signed by the key of "R. Own"; the paper names "State Inspector"' in first
    same = verify(to_json(sign(issue(), SECRET, "r.  own")), catalog, known())
    assert (same.named, same.problems) == ("", ())
