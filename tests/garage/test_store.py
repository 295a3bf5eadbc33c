"""A garage loses nothing, tells what was altered, and gives a case back exactly as it came."""

import datetime as dt
import hashlib
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from squibwise.catalog.load import load_catalog
from squibwise.cli.demo import DEMO_CASES
from squibwise.errors import InputError, UnavailableError
from squibwise.garage import database, store
from squibwise.garage.cases import UNREADABLE, list_cars
from squibwise.garage.checking import check_case, check_garage, refuse_altered
from squibwise.garage.database import backup, connected, is_garage, schema_versions
from squibwise.garage.folders import folder_content, write_content
from squibwise.garage.learning import learn_own
from squibwise.garage.store import NOTHING, Head

NOON = dt.datetime(2026, 3, 2, 12, 0)
RELEASED = Path(__file__).parent / "released"
Garage = sqlite3.Connection


@pytest.fixture
def garage(tmp_path: Path) -> Iterator[Garage]:
    with connected(tmp_path / "garage.db", create=True) as opened:
        yield opened


def put(garage: Garage, text: str, case_id: str = "car", seen: Head | None = None) -> Head:
    content = {"case.toml": text.encode()}
    return store.add(garage, case_id, content, f"wrote {text}", NOON, seen=seen)


def text(garage: Garage, case_id: str = "car") -> str:
    return store.content(garage, case_id)["case.toml"].decode()


@pytest.mark.parametrize("name", sorted(p.name for p in DEMO_CASES.iterdir()))
def test_a_case_folder_comes_back_with_identical_content(
    garage: Garage, tmp_path: Path, name: str
) -> None:
    content = folder_content(DEMO_CASES / name)
    store.add(garage, name, content, "imported", NOON)
    write_content(store.content(garage, name), tmp_path / "out")
    assert folder_content(tmp_path / "out") == content
    assert {"case.toml"} <= set(content)


def test_names_bytes_and_empty_folders_survive(garage: Garage, tmp_path: Path) -> None:
    folder = tmp_path / "Käfer 07"
    (folder / "evidence" / "фото").mkdir(parents=True)
    (folder / "leer").mkdir()
    (folder / "evidence" / "фото" / "a b.bin").write_bytes(bytes(range(256)))
    (folder / "case.toml").write_bytes(b"\xef\xbb\xbf[case]\r\n")
    (folder / "empty.txt").touch()
    store.add(garage, "k", folder_content(folder), "imported", NOON)
    write_content(store.content(garage, "k"), tmp_path / "out")
    assert folder_content(tmp_path / "out") == folder_content(folder)
    assert (tmp_path / "out" / "leer").is_dir()


def test_links_and_devices_in_a_folder_are_refused(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to("/etc/hostname")
    with pytest.raises(InputError, match="is a link or a device"):
        folder_content(tmp_path)
    (tmp_path / "link").unlink()
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="is a link or a device"):
        folder_content(tmp_path)
    (tmp_path / "pipe").unlink()
    (tmp_path / os.fsdecode(b"\xff.txt")).touch()
    with pytest.raises(InputError, match="no readable name"):
        folder_content(tmp_path)


def test_a_folder_that_is_not_there_or_too_full_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(InputError, match="nowhere"):
        folder_content(tmp_path / "nowhere")
    (tmp_path / "a").touch()
    (tmp_path / "b").touch()
    monkeypatch.setattr("squibwise.garage.folders.MOST_FILES", 1)
    with pytest.raises(InputError, match="more than 1 files"):
        folder_content(tmp_path)


def test_every_change_is_an_entry_and_each_undo_goes_one_further_back(garage: Garage) -> None:
    for word in ("one", "two", "three"):
        put(garage, word)
    assert store.undo(garage, "car", NOON).what == "wrote three"
    assert text(garage) == "two"
    assert store.undo(garage, "car", NOON).what == "wrote two"
    assert text(garage) == "one"
    with pytest.raises(InputError, match="nothing is left to take back"):
        store.undo(garage, "car", NOON)
    put(garage, "four")
    assert text(garage) == "four"
    told = [e.what for e in store.history(garage, "car")]
    assert told[3:] == ["took back: wrote three", "took back: wrote two", "wrote four"]
    assert check_garage(garage) == ()


@given(words=st.lists(st.sampled_from(["a", "b", "c", "undo"]), max_size=12))
def test_undo_is_the_stack_that_one_expects(words: list[str]) -> None:
    garage = sqlite3.connect(":memory:", isolation_level=None)
    for step in schema_versions():
        garage.executescript(step)
    expected = ["first"]
    put(garage, "first")
    for word in words:
        if word == "undo" and len(expected) > 1:
            store.undo(garage, "car", NOON)
            expected.pop()
        elif word != "undo" and word != expected[-1]:
            put(garage, word)
            expected.append(word)
    assert text(garage) == expected[-1]
    assert check_garage(garage) == ()
    garage.close()


def test_nothing_different_is_no_entry(garage: Garage) -> None:
    first = put(garage, "one")
    assert put(garage, "one") == first
    assert len(store.history(garage, "car")) == 1


def test_a_removed_file_is_gone_and_undo_brings_it_back(garage: Garage) -> None:
    store.add(garage, "car", {"case.toml": b"a", "evidence/scan.txt": b"x"}, "imported", NOON)
    store.add(garage, "car", {"case.toml": b"a"}, "without the scan", NOON)
    assert set(store.content(garage, "car")) == {"case.toml"}
    store.undo(garage, "car", NOON)
    assert store.content(garage, "car")["evidence/scan.txt"] == b"x"


def test_originals_are_kept_once(garage: Garage) -> None:
    for name in ("a", "b"):
        store.add(garage, name, {"one": b"same", "two": b"same"}, "imported", NOON)
    assert garage.execute("SELECT count(*) FROM original").fetchone() == (1,)


def test_entries_are_canonical_json_and_chained(garage: Garage) -> None:
    """Source: RFC 8785, section 3.2.3: members sorted, no white space between them."""
    put(garage, "ä")
    put(garage, "two")
    query = "SELECT body, hash FROM entry ORDER BY number"
    (first, first_hash), (second, second_hash) = garage.execute(query).fetchall()
    zeros = "0" * 64
    assert first.startswith(f'{{"after":"{zeros}","at":"2026-03-02T12:00:00","by":"","case":"car",')
    assert hashlib.sha256(first.encode()).hexdigest() == first_hash
    assert f'"previous":"{first_hash}"' in second
    assert hashlib.sha256(second.encode()).hexdigest() == second_hash
    assert store.head(garage, "car") == Head(number=2, hash=second_hash)
    assert f'"previous":"{zeros}"' in first
    assert second.startswith(f'{{"after":"{first_hash}",')


def test_two_who_looked_at_the_same_cannot_both_write(garage: Garage) -> None:
    seen = put(garage, "one")
    put(garage, "theirs", seen=seen)
    with pytest.raises(InputError, match="changed by somebody else"):
        put(garage, "mine", seen=seen)
    with pytest.raises(InputError, match="changed by somebody else"):
        store.undo(garage, "car", NOON, seen=seen)
    with pytest.raises(InputError, match="changed by somebody else"):
        put(garage, "new", seen=NOTHING)
    assert text(garage) == "theirs"


def test_an_unknown_case_names_the_known(garage: Garage) -> None:
    put(garage, "one")
    with pytest.raises(InputError, match="no case 'bus'") as refusal:
        store.history(garage, "bus")
    assert "car" in refusal.value.remedy


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entry SET body = '{}'",
        "DELETE FROM entry",
        "UPDATE original SET content = x'00'",
        "DELETE FROM original",
        "DELETE FROM head",
    ],
)
def test_the_storage_itself_refuses_to_forget(garage: Garage, statement: str) -> None:
    put(garage, "one")
    with pytest.raises(sqlite3.IntegrityError):
        garage.execute(statement)
    assert check_garage(garage) == ()


def edited(path: Path, *statements: str) -> None:
    """Change a garage behind its back, as somebody with another program would."""
    other = sqlite3.connect(path, isolation_level=None)
    triggers = other.execute(
        "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"
    ).fetchall()
    for name, _ in triggers:
        other.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        other.executescript(statement)
    for _, sql in triggers:
        with suppress(sqlite3.OperationalError):  # its table is none any more
            other.execute(sql)
    other.close()


OLDER = "older"
TAMPERING = {
    "a word in an entry": "UPDATE entry SET body = replace(body, 'wrote two', 'wrote six')",
    "an entry with its hash": "UPDATE entry SET hash = substr(hash, 2) || 'f' WHERE number = 2",
    "a missing entry": "DELETE FROM entry WHERE number = 2",
    "a missing last entry": "DELETE FROM entry WHERE number = 3",
    "two entries exchanged": "UPDATE entry SET number = 9 WHERE number = 2;"
    " UPDATE entry SET number = 2 WHERE number = 3; UPDATE entry SET number = 3 WHERE number = 9",
    "an entry of another case": "UPDATE entry SET case_id = 'bus' WHERE number = 3",
    "no entry at all": "DELETE FROM entry",
    "a case taken off the list": "DELETE FROM head",
    "an entry that is no entry": "UPDATE entry SET body = '[]' WHERE number = 1",
    "an altered original": "UPDATE original SET content = x'00' WHERE rowid = 1",
    "a missing original": "DELETE FROM original WHERE rowid = 1",
    "an older standing": "UPDATE head SET number = 2",
    "the last entry of a case, its standing set back": "DELETE FROM used WHERE number = 3;"
    " DELETE FROM entry WHERE number = 3; UPDATE head SET number = 2,"
    " hash = (SELECT hash FROM entry WHERE number = 2)",
    "the last entry of all forgotten": "DELETE FROM newest",
    "another last entry of all": "UPDATE newest SET hash = (SELECT hash FROM entry LIMIT 1)",
    "a view in the place of a table": "ALTER TABLE head RENAME TO heads;"
    " CREATE VIEW head AS SELECT * FROM heads",
    "a table less": "DROP TABLE used",
    "a table more": "CREATE TABLE more (text TEXT)",
    "a trigger more": "CREATE TRIGGER more AFTER INSERT ON entry BEGIN DELETE FROM remembered; END",
}


@pytest.mark.parametrize("statement", TAMPERING.values(), ids=TAMPERING)
def test_whatever_is_altered_behind_its_back_is_found(tmp_path: Path, statement: str) -> None:
    path = tmp_path / "garage.db"
    with connected(path, create=True) as garage:
        for word in ("one", "two", "three"):
            put(garage, word)
    edited(path, "PRAGMA ignore_check_constraints = ON", statement)
    with connected(path) as garage:
        found, of_case = check_garage(garage), check_case(garage, "car")
        if of_case:
            with pytest.raises(InputError, match="the garage is not as it was written"):
                refuse_altered(garage, "car")
    assert found
    assert {f.code for f in found} == {"garage-damaged"}
    assert bool(of_case) == ("content = x'00'" not in statement)  # refused where it is read


def test_what_was_altered_in_another_case_keeps_none_from_being_signed(tmp_path: Path) -> None:
    path = tmp_path / "garage.db"
    with connected(path, create=True) as garage:
        put(garage, "one", OLDER)
        put(garage, "two")
        refuse_altered(garage, "car")
    edited(path, "UPDATE entry SET body = replace(body, 'wrote one', 'wrote six')")
    with connected(path) as garage:
        assert check_garage(garage)
        refuse_altered(garage, "car")
        with pytest.raises(InputError, match="older: entry 1 was altered"):
            refuse_altered(garage, OLDER)


@pytest.mark.parametrize("beside", ["signing.key", "known-keys.json"])
def test_an_emptied_file_beside_keys_is_no_new_garage(tmp_path: Path, beside: str) -> None:
    path = tmp_path / "garage.db"
    path.touch()
    (tmp_path / beside).write_bytes(b"k")
    told = f"holds nothing at all, beside {beside}"
    with pytest.raises(InputError, match=told) as refused, connected(path, create=True):
        pytest.fail("it was opened")
    assert "backup" in refused.value.remedy
    assert path.stat().st_size == 0
    assert is_garage(path)
    (tmp_path / beside).unlink()
    assert not is_garage(path)  # its first use was killed, or met a full disk
    with pytest.raises(InputError, match="there is no garage"), connected(path):
        pytest.fail("it was opened")
    assert learn_own(None, tmp_path, path, load_catalog(), "1").told is False
    assert path.stat().st_size == 0
    with connected(path, create=True) as garage:
        assert check_garage(garage) == ()


def test_a_trigger_taken_out_is_found(tmp_path: Path) -> None:
    path = tmp_path / "garage.db"
    with connected(path, create=True) as garage:
        put(garage, "one")
        garage.execute("DROP TRIGGER entry_stays")
        (found,) = check_garage(garage)
    assert "'entry_stays' is not as this program made it" in found.message


WITHOUT_IT = """
DELETE FROM used WHERE case_id = 'older'; DELETE FROM entry WHERE case_id = 'older';
DELETE FROM head WHERE case_id = 'older';
"""


def test_a_whole_case_taken_out_is_missed_by_what_was_written_after_it(tmp_path: Path) -> None:
    path = tmp_path / "garage.db"
    with connected(path, create=True) as garage:
        put(garage, "one", OLDER)
        put(garage, "two")
        assert check_garage(garage) == ()
    edited(path, "PRAGMA foreign_keys = OFF", WITHOUT_IT)
    with connected(path) as garage:
        (found,) = check_garage(garage)
    assert found.message.startswith("car: what was written just before entry 1, in any case,")


def test_an_entry_rewritten_with_its_hash_breaks_the_one_after_it(tmp_path: Path) -> None:
    path = tmp_path / "garage.db"
    with connected(path, create=True) as garage:
        for word in ("one", "two"):
            put(garage, word)
        body = garage.execute("SELECT body FROM entry WHERE number = 1").fetchone()[0]
    forged = body.replace("wrote one", "wrote 111")
    digest = hashlib.sha256(forged.encode()).hexdigest()
    rewrite = f"UPDATE entry SET body = '{forged}', hash = '{digest}' WHERE number = 1"  # noqa: S608
    edited(path, rewrite)
    with connected(path) as garage:
        assert "entry 2 does not follow" in check_garage(garage)[0].message


def test_what_was_altered_is_not_used(tmp_path: Path) -> None:
    path = tmp_path / "garage.db"
    with connected(path, create=True) as garage:
        put(garage, "one")
    edited(path, "UPDATE original SET content = x'00'")
    with connected(path) as garage, pytest.raises(InputError, match="was altered"):
        store.content(garage, "car")
    edited(path, "UPDATE entry SET body = '{'")
    with connected(path) as garage, pytest.raises(InputError, match="was altered"):
        store.content(garage, "car")


def test_any_damaged_page_is_found_or_the_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "garage.db"
    with connected(path, create=True) as garage:
        for number in range(40):
            put(garage, f"{number} " * 60)
    whole = path.read_bytes()
    missed = []
    for place in range(0, len(whole), max(1, len(whole) // 60)):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 0x41]) + whole[place + 1 :])
        if not _noticed(path) and not _same(path, whole, place):
            missed.append(place)
    assert missed == []


def _noticed(path: Path) -> bool:
    try:
        with connected(path) as garage:
            return bool(check_garage(garage))
    except (InputError, UnavailableError, UnicodeDecodeError):
        return True


def _same(path: Path, whole: bytes, place: int) -> bool:
    """Tell whether a byte carries nothing: all that is stored still reads the same."""
    del whole, place
    with connected(path) as garage:
        told = [e.what for e in store.history(garage, "car")]
        return len(told) == 40 and text(garage) == "39 " * 60


def test_a_backup_is_whole_while_others_write(tmp_path: Path) -> None:
    path = tmp_path / "garage.db"
    with connected(path, create=True) as garage:
        put(garage, "one")
        with connected(path) as other:
            other.execute("BEGIN IMMEDIATE")
            backup(garage, tmp_path / "copy.db")
            other.execute("ROLLBACK")
        put(garage, "two")
        with pytest.raises(InputError, match="is there already"):
            backup(garage, tmp_path / "copy.db")
        with pytest.raises(InputError, match="There is no backup"):
            backup(garage, tmp_path / "nowhere" / "copy.db")
    with connected(tmp_path / "copy.db") as copy:
        assert check_garage(copy) == ()
        assert text(copy) == "one"


def test_a_backup_that_fails_midway_leaves_no_file(tmp_path: Path) -> None:
    class Failing:
        def backup(self, target: sqlite3.Connection) -> None:
            target.execute("CREATE TABLE half (a)")
            raise sqlite3.OperationalError("database or disk is full")

    with pytest.raises(InputError, match=r"disk is full\. There is no backup"):
        backup(Failing(), tmp_path / "copy.db")  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == []


KILLED = """
import os, signal, sys
from pathlib import Path
from squibwise.garage import database


class Dying:
    def backup(self, target):
        target.execute("CREATE TABLE half (a)")
        os.kill(os.getpid(), signal.SIGKILL)


database.backup(Dying(), Path(sys.argv[1]))
"""


def test_a_killed_backup_does_not_stand_in_the_way_of_the_next(tmp_path: Path) -> None:
    copies = tmp_path / "copies"
    copies.mkdir()
    command = [sys.executable, "-c", KILLED, str(copies / "copy.db")]
    assert subprocess.run(command, check=False).returncode == -signal.SIGKILL
    (left,) = copies.iterdir()
    assert left.name != "copy.db"
    with connected(tmp_path / "garage.db", create=True) as garage:
        put(garage, "one")
        backup(garage, copies / "copy.db")
    assert [path.name for path in copies.iterdir()] == ["copy.db"]


WRITER = """
import datetime as dt, sys
from pathlib import Path
from squibwise.garage import store
from squibwise.garage.database import connected
for n in range(20):
    with connected(Path(sys.argv[1])) as garage:
        what = f"{sys.argv[2]}-{n}"
        store.add(garage, "car", {"case.toml": what.encode()}, what, dt.datetime(2026, 3, 2))
"""


def test_of_two_writers_none_loses_an_entry(tmp_path: Path) -> None:
    path = tmp_path / "garage.db"
    with connected(path, create=True) as garage:
        put(garage, "one")
    commands = [[sys.executable, "-c", WRITER, str(path), name] for name in "ab"]
    writers = [subprocess.Popen(command) for command in commands]
    assert [w.wait(timeout=120) for w in writers] == [0, 0]
    with connected(path) as garage:
        told = [e.what for e in store.history(garage, "car")]
        assert check_garage(garage) == ()
    assert sorted(told[1:]) == sorted(f"{name}-{n}" for name in "ab" for n in range(20))
    for name in "ab":
        mine = [w for w in told if w.startswith(name)]
        assert mine == [f"{name}-{n}" for n in range(20)]


def test_the_settings_are_the_safe_ones(garage: Garage) -> None:
    """Source: sqlite.org, pragma documentation: synchronous 2 is FULL."""
    names = ("journal_mode", "synchronous")
    asked = {name: garage.execute(f"PRAGMA {name}").fetchone()[0] for name in names}
    assert asked == {"journal_mode": "wal", "synchronous": 2}
    assert garage.execute("PRAGMA foreign_keys").fetchone() == (1,)
    tables = "SELECT name, strict FROM pragma_table_list WHERE name NOT LIKE 'sqlite_%'"
    assert all(strict for _, strict in garage.execute(tables))


def test_another_programs_file_a_folder_and_a_link_are_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.db").write_text("not a database at all, only some text that is long enough")
    foreign = sqlite3.connect(tmp_path / "theirs.db")
    foreign.execute("CREATE TABLE t (x)")
    foreign.close()
    (tmp_path / "link.db").symlink_to(tmp_path / "theirs.db")
    for name in ("notes.db", "theirs.db", "link.db", "", "missing.db"):
        with pytest.raises(InputError), connected(tmp_path / name):
            pass
    with pytest.raises(InputError), connected(tmp_path / "no" / "garage.db", create=True):
        pass
    assert not (tmp_path / "missing.db").exists()


def test_a_garage_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "garage.db"
    with connected(path, create=True) as garage:
        garage.execute("PRAGMA user_version = 99")
    with pytest.raises(UnavailableError, match="newer version"), connected(path):
        pass


@pytest.mark.parametrize("released", sorted(RELEASED.glob("*.sql")), ids=lambda p: p.stem)
def test_a_garage_of_every_released_schema_is_brought_up_to_date(
    tmp_path: Path, released: Path
) -> None:
    path = tmp_path / "garage.db"
    old = sqlite3.connect(path)
    old.executescript(released.read_text(encoding="utf-8"))
    old.close()
    with connected(path) as garage:
        assert garage.execute("PRAGMA user_version").fetchone() == (len(schema_versions()),)
        assert check_garage(garage) == ()
        assert text(garage) == "two"
        put(garage, "three")
        assert store.undo(garage, "car", NOON).what == "wrote three"


def test_a_step_that_fails_leaves_the_old_schema(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "garage.db"
    with connected(path, create=True) as garage:
        put(garage, "one")
    steps = schema_versions()
    better = "CREATE TABLE note (text TEXT) STRICT;\n"
    worse = better + "CREATE NONSENSE;\n"
    monkeypatch.setattr(database, "schema_versions", lambda: (*steps, worse))
    with pytest.raises(InputError), connected(path):
        pass
    monkeypatch.setattr(database, "schema_versions", lambda: (*steps, better))
    with connected(path) as garage:
        assert garage.execute("PRAGMA user_version").fetchone() == (len(steps) + 1,)
        assert garage.execute("SELECT count(*) FROM note").fetchone() == (0,)
        assert text(garage) == "one"


def test_every_schema_step_has_its_released_sample() -> None:
    numbers = {p.name for p in RELEASED.glob("*.sql")}
    assert numbers == {f"{n}.sql" for n in range(1, len(schema_versions()) + 1)}


def fill(path: Path) -> None:
    """Write more than the file may grow by."""
    with connected(path) as garage:
        pages = garage.execute("PRAGMA page_count").fetchone()[0]
        garage.execute(f"PRAGMA max_page_count = {pages}")
        put(garage, "long " * 100_000)


def write_without_leave(path: Path) -> None:
    with connected(path) as garage:
        garage.execute("PRAGMA query_only = ON")
        put(garage, "two")


@pytest.mark.parametrize(
    ("act", "remedy"), [(fill, "Make room"), (write_without_leave, "may write to")]
)
def test_a_disk_that_refuses_is_told_and_nothing_entered_is_lost(
    tmp_path: Path, act: Callable[[Path], None], remedy: str
) -> None:
    path = tmp_path / "garage.db"
    with connected(path, create=True) as garage:
        put(garage, "one")
    with pytest.raises(InputError, match="Nothing of this was written") as refusal:
        act(path)
    assert remedy in refusal.value.remedy
    with connected(path) as garage:
        assert (check_garage(garage), text(garage)) == ((), "one")


def test_copying_a_closed_garage_copies_all_of_it(tmp_path: Path) -> None:
    """When the last one closes it, everything is in the one file: people copy one file."""
    with connected(tmp_path / "garage.db", create=True) as garage:
        put(garage, "one")
    shutil.copy(tmp_path / "garage.db", tmp_path / "copy.db")
    with connected(tmp_path / "copy.db") as copy:
        assert text(copy) == "one"


def test_what_is_remembered_is_kept_under_its_key_and_may_be_replaced(garage: Garage) -> None:
    assert store.recall(garage, "k") is None
    store.remember(garage, "k", "one")
    store.remember(garage, "k", "two")
    assert store.recall(garage, "k") == "two"


# Source: RFC 8785, section 3.2.3, sorting example: keys in order of their UTF-16 code units.
SORTED_KEYS = ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]


def test_paths_in_an_entry_stand_in_the_order_of_the_standard() -> None:
    files: dict[str, str | None] = dict.fromkeys(sorted(SORTED_KEYS, reverse=True), "00" * 32)
    entry = store.Entry(
        case="c", number=1, previous=store.START, at="2026-01-01", what="x", files=files
    )
    body, digest = store.seal(entry)
    assert list(json.loads(body)["files"]) == SORTED_KEYS
    assert hashlib.sha256(body.encode("utf-8")).hexdigest() == digest
    # Source: RFC 8785, section 3.2.2.2: control characters escaped short, others as they are.
    assert '"\\r":' in body
    assert '"\u20ac":' in body


OUTSIDE = ["../x", "..", ".", "", "a/b", "/abs", "a\\b", "C:x", "a\x1b[2J", "a\0b", "x" * 101]


DEVICES = ["CON", "nul", "Com1", "lpt9.x", "aux.tar.gz"]


@pytest.mark.parametrize(
    "case_id", [*OUTSIDE, ".hidden", "-o", " a", "a ", "a.", "é" * 101, *DEVICES]
)
def test_an_id_that_leads_elsewhere_is_taken_by_nobody(garage: Garage, case_id: str) -> None:
    with pytest.raises(InputError, match="cannot be the name"):
        put(garage, "one", case_id)
    assert store.case_ids(garage) == ()


def test_ids_that_people_use_are_taken(garage: Garage) -> None:
    used = (
        "harrow-07",
        "Käfer 07",
        "_x",
        "фото",
        "a..b",
        "golf (blue)",
        "2",
        "R.'s & S., #3",
        "condor",
        "com",
    )
    for case_id in used:
        put(garage, "one", case_id)
    assert store.case_ids(garage) == tuple(sorted(used))


@pytest.mark.parametrize("case_id", ["../x", "/abs/x"])
def test_a_strangers_garage_lays_nothing_out_elsewhere(
    garage: Garage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, case_id: str
) -> None:
    put(garage, "[case]")
    with monkeypatch.context() as patch:
        patch.setattr(store, "refuse_case_id", lambda _: None)
        put(garage, "[case]", case_id)
    with pytest.raises(InputError, match="cannot be the name"):
        store.content(garage, case_id)
    assert store.case_ids(garage) == ("car",)
    assert [c.id for c in list_cars(garage)] == ["car"]
    assert "names" in check_garage(garage)[0].message
    learned = learn_own(None, tmp_path, tmp_path / "garage.db", load_catalog(), "1")
    assert learned.findings == ()


def test_a_path_inside_an_entry_leads_nowhere_else(garage: Garage, tmp_path: Path) -> None:
    for n, path in enumerate(("../x", "/x", "a\0b", "a/../../x", "//")):
        content = {"case.toml": b"", path: b"x"}
        store.add(garage, f"car-{n}", content, "wrote", NOON)
        with pytest.raises(InputError, match="leads out"):
            write_content(store.content(garage, f"car-{n}"), tmp_path / "out")
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith("out")] == []


@pytest.mark.parametrize(
    "text", ["case = 1\n", "case=[1]\n", "[case]\ntitle = " + "9" * 5000, "x = " + "[" * 3000, "]"]
)
def test_a_case_file_without_a_head_is_told_in_the_list(garage: Garage, text: str) -> None:
    put(garage, text)
    put(garage, "[case]\ntitle = 'Mine'\n", "other")
    titles = {c.id: c.title for c in list_cars(garage)}
    assert titles == {"car": UNREADABLE, "other": "Mine"}
