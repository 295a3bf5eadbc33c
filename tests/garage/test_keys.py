"""The user's key is made once, for the user alone; keys of others are kept with a date."""

import datetime as dt
import os
from pathlib import Path

import pytest

from squibwise.errors import InputError
from squibwise.garage.keys import OWN, known_keys, make_known, own_key

DAY = dt.date(2026, 3, 20)


def test_the_key_is_made_at_first_use_and_stays(tmp_path: Path) -> None:
    key = own_key(tmp_path / "new")
    assert len(key) == 32
    assert own_key(tmp_path / "new") == key


@pytest.mark.skipif(os.name != "posix", reason="permissions of this kind are posix")
def test_a_key_that_others_may_read_is_refused(tmp_path: Path) -> None:
    own_key(tmp_path)
    assert (tmp_path / OWN).stat().st_mode & 0o777 == 0o600
    (tmp_path / OWN).chmod(0o644)
    with pytest.raises(InputError, match="others may read"):
        own_key(tmp_path)


def test_a_damaged_key_is_refused_and_never_replaced(tmp_path: Path) -> None:
    own_key(tmp_path)
    (tmp_path / OWN).write_bytes(b"short")
    with pytest.raises(InputError, match="no key"):
        own_key(tmp_path)
    assert (tmp_path / OWN).read_bytes() == b"short"


def test_a_known_key_keeps_its_first_name_and_day(tmp_path: Path) -> None:
    assert known_keys(tmp_path) == ()
    make_known(tmp_path, "AAAA", "R. Own", DAY)
    make_known(tmp_path, "AAAA", "Somebody Else", dt.date(2026, 4, 1))
    make_known(tmp_path, "BBBB", "S. Other", DAY)
    assert [(k.name, k.since) for k in known_keys(tmp_path)] == [
        ("R. Own", "2026-03-20"),
        ("S. Other", "2026-03-20"),
    ]


@pytest.mark.parametrize("name", ["North yard", "north  YARD ", "\uff2eorth yard", " ", "a\x1b[2J"])
def test_a_name_stands_for_one_key_only(tmp_path: Path, name: str) -> None:
    make_known(tmp_path, "AAAA", "North yard", DAY)
    with pytest.raises(InputError, match=r"another key is known as 'North yard'|is no name"):
        make_known(tmp_path, "BBBB", name, DAY)
    assert [k.public_key for k in known_keys(tmp_path)] == ["AAAA"]
    make_known(tmp_path, "BBBB", "North yard 2", DAY)


def test_damaged_known_keys_are_told(tmp_path: Path) -> None:
    (tmp_path / "known-keys.json").write_text("[{", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be read"):
        known_keys(tmp_path)


def test_a_key_that_is_no_file_is_told_and_never_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "signing.key", 0o600)
    with pytest.raises(InputError, match="no file"):
        own_key(tmp_path)
    (tmp_path / "known-keys.json").mkdir()
    with pytest.raises(InputError, match="no file"):
        known_keys(tmp_path)
