"""Verdicts, gates and the written record."""

from typing import Any, Literal

import msgspec

from squibwise.model.belief import Assessment, Because
from squibwise.model.cost import Cost
from squibwise.model.origin import Finding, Origin
from squibwise.model.words import Outcome
from squibwise.model.work import Work

SignatureState = Literal["known", "unknown", "none", "wrong"]


class Verdict(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A checked limit.

    Attributes:
        what: Id of the thing checked.
        outcome: ``met``, ``not met`` or ``undecided``.
        text: In plain words, with the figures.
        decide: What would decide it; empty when decided.
        p_met: Probability that the true value meets the limit; None when not a measured limit.
    """

    what: str
    outcome: Outcome
    text: str
    decide: str = ""
    p_met: float | None = None
    because: tuple[Because, ...] = ()
    origin: Origin = Origin()


class Gate(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A condition that must hold before the record may be signed.

    Attributes:
        id: Gate word.
        open: True while it is not fulfilled.
        text: What is asked.
        remedy: What to record to close it.
        missing: What exactly is missing, one entry each; empty when closed.
        grade: ``shown`` by a file, a scan or a reading; ``stated`` by somebody; ``not asked`` of
            this car; ``open``; empty in records of the second layout.
        stated: What it leans on that nobody can see, with who stated it; empty when all is shown.
    """

    id: str
    open: bool
    text: str
    remedy: str = ""
    missing: tuple[str, ...] = ()
    grade: str = ""
    stated: tuple[str, ...] = ()


class Signature(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A signature over a record's digest.

    Attributes:
        by: Name of the person who signed.
        scheme: Signature scheme, such as ``Ed25519``.
        public_key: Public key, base64. A key found in the record itself proves only sameness.
        value: The signature, base64.
    """

    by: str
    scheme: str
    public_key: str
    value: str


class ProofRecord(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The written record, as it is put into JSON.

    Attributes:
        schema: Version of this layout.
        case_id: Case.
        issued_on: ISO date, passed in.
        draft: True while a gate is open.
        content: Everything the record states, plain JSON values.
        gates: All gates, open and closed.
        attachments: SHA-256 of every evidence file, by path.
        made_by: Version of the program that wrote it.
        may_withhold: Parts that a copy may leave out and still verify.
        digest: Head of the tree (RFC 6962) over the parts of everything above.
        salts: What is mixed into each part before it is hashed, so that a part that is left out
            cannot be guessed from its hash.
        withheld: Hash of each part that this copy leaves out.
        signature: Over the digest; None while nobody has signed.
    """

    schema: str
    case_id: str
    issued_on: str
    draft: bool
    content: dict[str, Any]
    gates: tuple[Gate, ...]
    attachments: dict[str, str] = {}
    made_by: str = ""
    may_withhold: tuple[str, ...] = ()
    digest: str = ""
    salts: dict[str, str] = {}
    withheld: dict[str, str] = {}
    signature: Signature | None = None


class Overview(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Everything that is answered about a case, at once."""

    states: Assessment
    todo: Work
    costs: tuple[Cost, ...]
    gates: tuple[Gate, ...]
    verdicts: tuple[Verdict, ...] = ()


class KnownKey(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A public key that this user knows, and whose it is.

    Attributes:
        public_key: Base64.
        name: Whose it is, as this user wrote it.
        since: Since when it is known here, ISO date.
    """

    public_key: str
    name: str
    since: str


class PagesSeen(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What was seen of the pages of a PDF with a record in it.

    Attributes:
        signature: Over the pages: ``good`` when the key of the record made it over these very
            bytes, ``wrong`` when it did not, ``none`` when there is none.
        by_other_version: Another version of the program made the record.
        are_equal: They are those that this version makes of the record.
        not_made: Why none could be made here; empty when they were made, or nobody tried.
        may_lack_font: They differ, and the record has letters that may want a font of its own.
    """

    signature: Literal["good", "wrong", "none"]
    by_other_version: bool
    are_equal: bool = False
    not_made: str = ""
    may_lack_font: bool = False


class Verification(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The answer of ``verify``.

    Attributes:
        valid: The record is whole and as it was issued. It says nothing of who made it.
        signature: ``known``: by a key that is known here; ``unknown``: by one that is not;
            ``none``; ``wrong``: the signature does not belong to the record.
        signer: Name in the signature; the known name where the key is known.
        named: Whom the paper names, where its key is known as that of somebody else.
        fingerprint: Of the key; empty when there is none.
        known_since: ISO date since when the key is known here; empty when it is not.
        withheld: Names of the parts that this copy leaves out.
        stamped: What a time stamp over it says; empty when none was handed in.
        unchecked: Why its pages could not be made again and compared; empty when they were.
        unworked: Why its answers could not be worked out again from its entries; empty when they
            were, as far as a copy holds them.
        day_to_come: It says that it was issued on a day that has not come here.
        problems: What is wrong, or remarkable.
    """

    valid: bool
    signature: SignatureState = "none"
    signer: str = ""
    named: str = ""
    fingerprint: str = ""
    known_since: str = ""
    withheld: tuple[str, ...] = ()
    stamped: str = ""
    unchecked: str = ""
    unworked: str = ""
    day_to_come: bool = False
    problems: tuple[Finding, ...] = ()

    @property
    def is_sure(self) -> bool:
        """Whether it is whole, of a known key in its owner's name, of no day to come, and compared.

        Compared throughout, that is: its pages, and its conclusions with its entries.
        """
        left = self.named or self.unchecked or self.unworked or self.day_to_come
        return self.valid and self.signature == "known" and not left
