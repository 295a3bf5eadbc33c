"""The user's own key, made at first use, what it signs, and the keys of others that are known."""

import base64
import datetime as dt
import hashlib
import os
import secrets
import stat
import unicodedata
from contextlib import suppress
from pathlib import Path

import msgspec

from squibwise.errors import InputError
from squibwise.garage.database import KNOWN_KEYS, SIGNING_KEY
from squibwise.garage.writing import NewFile, make_folder, write_files
from squibwise.model.case import Case
from squibwise.model.evidence import Passed
from squibwise.model.proof import KnownKey, ProofRecord
from squibwise.prove.sealing import fingerprint, public_key, seal, sign

OWN, KNOWN = SIGNING_KEY, KNOWN_KEYS
_BYTES = 32


def own_key(folder: Path) -> bytes:
    """Return the user's private key; it is made at first use and only this user may read it.

    Raises:
        InputError: It cannot be read or made, or others may read it.
    """
    path = folder / OWN
    if not os.path.lexists(path):
        make_folder(folder)
        with suppress(FileExistsError):  # another run made it meanwhile
            _make(path)
    try:
        mode = path.lstat().st_mode
        key = path.read_bytes() if stat.S_ISREG(mode) else None
    except OSError as error:
        raise InputError(
            f"{path}: {error.strerror}.", remedy="Make it readable for you."
        ) from error
    if key is None:
        remedy = "Put the key itself there, from a backup."
        raise InputError(f"{path}: this is a link, a folder or a device, no file.", remedy=remedy)
    if os.name == "posix" and mode & 0o077:
        raise InputError(f"{path}: others may read the key.", remedy=f"chmod 600 '{path}'")
    if len(key) != _BYTES:
        raise InputError(f"{path}: this is no key.", remedy="Put the key back from a backup.")
    return key


def _make(path: Path) -> None:
    flags = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(secrets.token_bytes(_BYTES))
        file.flush()
        os.fsync(file.fileno())


def known_keys(folder: Path) -> tuple[KnownKey, ...]:
    """Return the keys that the user knows; none when no file is there.

    Raises:
        InputError: The file is damaged.
    """
    path = folder / KNOWN
    if not os.path.lexists(path):
        return ()
    if not path.is_file():
        remedy = "Move it away; what was known comes back from a backup."
        raise InputError(f"{path}: this is no file.", remedy=remedy)
    try:
        return msgspec.json.decode(path.read_bytes(), type=tuple[KnownKey, ...])
    except (OSError, msgspec.DecodeError) as error:
        remedy = "Put it back from a backup, or move it away and make the keys known again."
        raise InputError(f"{path}: cannot be read: {error}.", remedy=remedy) from error


def make_known(folder: Path, public_key: str, name: str, today: dt.date) -> None:
    """Keep a key as known, with whose it is and since when; one that is known stays as it is.

    Raises:
        InputError: It is no name, another key is known by it already, or the folder or the disk
            refuses.
    """
    known = known_keys(folder)
    if any(k.public_key == public_key for k in known):
        return
    if not name.strip() or not name.isprintable():
        raise InputError(f"{ascii(name)[:60]} is no name.", remedy="Say whose key it is.")
    same = next((k for k in known if _alike(k.name) == _alike(name)), None)
    if same is not None:
        message = f"another key is known as '{same.name}' since {same.since}; nothing was kept."
        remedy = (
            f"Compare {fingerprint(public_key)} with its owner by another route; if it is a second "
            f"key of the same person, keep it as '{same.name} 2'."
        )
        raise InputError(message, remedy=remedy)
    make_folder(folder)
    new = KnownKey(public_key=public_key, name=name, since=today.isoformat())
    data = msgspec.json.encode((*known, new))
    write_files([NewFile(path=folder / KNOWN, data=data)], may_replace=lambda _: True)


def _alike(name: str) -> str:
    """Return a name as the eye takes it: without case, spacing and forms of a letter."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


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
