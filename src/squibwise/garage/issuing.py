"""Issue a finished record: signed with the user's own key, for the person who answers for it."""

import base64
import datetime as dt
import hashlib
from pathlib import Path

from squibwise.garage.keys import make_known, own_key
from squibwise.model.case import Case
from squibwise.model.evidence import Passed
from squibwise.model.proof import ProofRecord
from squibwise.prove.sealing import public_key, seal, sign


def sign_finished(record: ProofRecord, case: Case, folder: Path, today: dt.date) -> ProofRecord:
    """Return a finished record signed; a draft as it is.

    The key is made at first use; the salts of the record's tree come from it too.

    Args:
        record: The record.
        case: Where somebody answers for it.
        folder: Where the key lies, beside the garage.
        today: Since when the key is known, when it is new.

    Raises:
        InputError: The key cannot be read or made.
    """
    if record.draft:
        return record
    key = own_key(folder)
    by = [e.by for e in case.evidence if isinstance(e, Passed) and e.what == "release" and e.by][-1]
    result = sign(seal(record, hashlib.sha256(b"salt" + key).digest()), key, by)
    make_known(folder, base64.b64encode(public_key(key)).decode(), by, today)
    return result
