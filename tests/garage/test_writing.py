"""Files are written whole or not at all, and nothing of anybody else is destroyed."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

from squibwise.errors import InputError
from squibwise.garage import writing
from squibwise.garage.folders import MOST_DEEP, folder_content
from squibwise.garage.writing import (
    PREPARED,
    NewFile,
    change_file,
    make_folder,
    refuse_places,
    write_files,
    write_folder,
)


def pair(folder: Path, text: str) -> list[NewFile]:
    data = text.encode()
    return [NewFile(path=folder / f"record.{end}", data=data) for end in ("pdf", "json")]


def always(path: Path) -> bool:
    del path
    return True


def content(folder: Path) -> dict[str, str]:
    return {p.name: p.read_text() for p in sorted(folder.iterdir()) if p.is_file()}


def test_files_that_belong_together_are_both_new(tmp_path: Path) -> None:
    write_files(pair(tmp_path, "one"))
    write_files(pair(tmp_path, "two"), may_replace=always)
    assert content(tmp_path) == {"record.json": "two", "record.pdf": "two"}


def test_a_file_that_is_there_is_not_replaced_unasked(tmp_path: Path) -> None:
    (tmp_path / "record.json").write_text("mine")
    with pytest.raises(InputError, match="is there already") as refusal:
        write_files(pair(tmp_path, "new"))
    assert "--force" in refusal.value.remedy
    assert content(tmp_path) == {"record.json": "mine"}


@pytest.mark.parametrize("name", ["scan.txt", "link.txt", "hard.txt", "../case/scan.txt"])
def test_evidence_is_never_replaced_by_whatever_name(tmp_path: Path, name: str) -> None:
    case = tmp_path / "case"
    case.mkdir()
    scan = case / "scan.txt"
    scan.write_text("B0001")
    (case / "link.txt").symlink_to(scan)
    (case / "hard.txt").hardlink_to(scan)
    with pytest.raises(InputError, match="evidence or the case file"):
        write_files([NewFile(path=case / name, data=b"x")], guarded=[scan], may_replace=always)
    assert scan.read_text() == "B0001"


def test_a_place_that_will_be_evidence_is_refused_before_it_is_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="evidence"):
        refuse_places([tmp_path / "missing.txt"], guarded=[tmp_path / "missing.txt"])


def test_a_link_is_replaced_and_what_it_leads_to_is_not_touched(tmp_path: Path) -> None:
    outside = tmp_path / "outside.txt"
    outside.write_text("precious")
    inside = tmp_path / "case"
    inside.mkdir()
    (inside / "record.pdf").symlink_to(outside)
    with pytest.raises(InputError, match="is there already"):
        write_files([NewFile(path=inside / "record.pdf", data=b"new")])
    write_files([NewFile(path=inside / "record.pdf", data=b"new")], may_replace=always)
    assert outside.read_text() == "precious"
    assert not (inside / "record.pdf").is_symlink()


def test_a_temporary_name_that_is_taken_is_not_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The names are random; even one that was guessed and linked outwards does no harm."""
    outside = tmp_path / "outside.txt"
    outside.write_text("precious")
    folder = tmp_path / "received"
    folder.mkdir()

    def guessed(where: Path) -> Path:
        trap = where / f"{PREPARED}guessed"
        if not trap.is_symlink():
            trap.symlink_to(outside)
        return trap

    monkeypatch.setattr(writing, "_beside", guessed)
    with pytest.raises(InputError, match="Not written"):
        write_files([NewFile(path=folder / "record.pdf", data=b"new")])
    assert outside.read_text() == "precious"
    assert not (folder / "record.pdf").exists()


def test_devices_pipes_and_folders_are_refused_even_by_force(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.pdf")
    (tmp_path / "folder.pdf").mkdir()
    for name in ("pipe.pdf", "folder.pdf"):
        with pytest.raises(InputError, match="no file that can be replaced"):
            write_files([NewFile(path=tmp_path / name, data=b"x")], may_replace=always)


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such folder"):
        write_files(pair(tmp_path / "nowhere", "x"))


def test_permissions_of_a_replaced_file_are_kept(tmp_path: Path) -> None:
    place = tmp_path / "case.toml"
    place.write_text("a")
    place.chmod(0o600)
    change_file(place, lambda old: old + b"b")
    assert place.stat().st_mode & 0o777 == 0o600
    assert place.read_text() == "ab"


def test_a_change_over_somebody_elses_is_refused(tmp_path: Path) -> None:
    place = tmp_path / "case.toml"
    place.write_text("a")
    seen = hashlib.sha256(b"a").hexdigest()
    change_file(place, lambda old: old + b"b", seen)
    with pytest.raises(InputError, match="changed since it was read"):
        change_file(place, lambda old: old + b"c", seen)
    assert place.read_text() == "ab"


def test_a_change_through_a_link_is_refused(tmp_path: Path) -> None:
    (tmp_path / "outside").write_text("precious")
    (tmp_path / "case.toml").symlink_to(tmp_path / "outside")
    with pytest.raises(InputError, match="is a link"):
        change_file(tmp_path / "case.toml", lambda old: old + b"b")
    with pytest.raises(InputError, match="missing"):
        change_file(tmp_path / "missing", lambda old: old)
    assert (tmp_path / "outside").read_text() == "precious"


def test_a_folder_is_there_with_all_its_files(tmp_path: Path) -> None:
    files = {"case.toml": b"[case]", "evidence/scan.txt": b"B0001"}
    write_folder(tmp_path / "deep" / "car", files, empty=["photos"])
    found = sorted(str(p.relative_to(tmp_path)) for p in tmp_path.rglob("*"))
    assert found == [
        "deep",
        "deep/car",
        "deep/car/case.toml",
        "deep/car/evidence",
        "deep/car/evidence/scan.txt",
        "deep/car/photos",
    ]
    (tmp_path / "empty").mkdir()
    write_folder(tmp_path / "empty", files)
    assert (tmp_path / "empty" / "evidence" / "scan.txt").read_bytes() == b"B0001"


def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "car").mkdir()
    (tmp_path / "car" / "note").write_text("mine")
    with pytest.raises(InputError, match="is not empty"):
        write_folder(tmp_path / "car", {"case.toml": b""})
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="is not empty"):
        write_folder(tmp_path / "link", {"case.toml": b""})
    with pytest.raises(InputError, match="null"):
        write_folder(tmp_path / "a\0b", {"case.toml": b""})


@pytest.mark.parametrize("name", ["../out.txt", "/out.txt", "a/../../out.txt"])
def test_a_path_out_of_the_folder_is_refused_and_leaves_nothing(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="leads out"):
        write_folder(tmp_path / "car", {"case.toml": b"", name: b"x"})
    assert list(tmp_path.iterdir()) == []


def test_a_folder_cannot_be_made_in_a_file(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="file"):
        make_folder(tmp_path / "file")


def test_what_a_killed_writer_left_is_swept_away_and_no_link_is_followed(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "precious").write_text("x")
    folder = tmp_path / "work"
    folder.mkdir()
    writing._beside(folder).write_text("half")
    tree = writing._beside(folder)
    tree.mkdir()
    (tree / "link").symlink_to(outside)
    writing._beside(folder).symlink_to(outside)
    write_files([NewFile(path=folder / "a.pdf", data=b"a")])
    assert [path.name for path in folder.iterdir()] == ["a.pdf"]
    assert (outside / "precious").exists()


def test_sweeping_waits_for_nobody_and_leaves_what_is_being_written(tmp_path: Path) -> None:
    left = writing._beside(tmp_path)
    left.write_text("half")
    writing.sweep(tmp_path / "nowhere")
    with writing.preparing(tmp_path) as prepared:
        assert not left.exists()  # its writer was gone
        writing.sweep(tmp_path)
        assert prepared.is_dir()
    left.write_text("half")
    writing.sweep(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_what_only_looks_prepared_is_never_swept_away(tmp_path: Path) -> None:
    """As when evidence is called so, or came with a case of somebody else, leftovers and all."""
    folder, elsewhere = tmp_path / "case", tmp_path / "elsewhere"
    folder.mkdir()
    elsewhere.mkdir()
    names = [f"{PREPARED}scan.txt", f"{PREPARED}{'0' * 32}", writing._beside(elsewhere).name]
    for name in names:
        (folder / name).write_text("the only copy")
    (folder / f"{PREPARED}notes").mkdir()
    (folder / f"{PREPARED}notes" / "note.txt").write_text("x")
    write_files([NewFile(path=folder / "a.pdf", data=b"a")])
    change_file(folder / "a.pdf", lambda old: old)
    write_folder(folder / "new", {"case.toml": b""})
    assert {*names, f"{PREPARED}notes/note.txt"} <= folder_content(folder).keys()


def test_folders_nested_without_end_are_refused(tmp_path: Path) -> None:
    tmp_path.joinpath("evidence", *(["a"] * MOST_DEEP)).mkdir(parents=True)
    (tmp_path / "case.toml").write_text("")
    with pytest.raises(InputError, match="deep"):
        folder_content(tmp_path)


FULL = """
import resource, sys
from pathlib import Path
from squibwise.errors import InputError
from squibwise.garage.writing import NewFile, write_files
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
folder = Path(sys.argv[1])
files = [NewFile(path=folder / n, data=b"n" * s) for n, s in (("a.pdf", 10), ("a.json", 5000))]
try:
    write_files(files, may_replace=lambda path: True)
except InputError as refusal:
    print(refusal)
"""


def test_a_disk_that_refuses_leaves_both_old_and_says_so(tmp_path: Path) -> None:
    for name in ("a.pdf", "a.json"):
        (tmp_path / name).write_text("old")
    command = [sys.executable, "-c", FULL, str(tmp_path)]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert "File too large" in told
    assert "Not written" in told
    assert content(tmp_path) == {"a.pdf": "old", "a.json": "old"}


def test_files_that_cannot_be_moved_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writing, "_MOVE", "import sys; sys.exit(1)")
    with pytest.raises(InputError, match=r"could not be moved into place.*Not written"):
        write_files(pair(tmp_path, "x"))
    assert content(tmp_path) == {}


def test_half_a_move_says_which_half(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    half = "import os,sys\nos.replace(*sys.argv[2:4])\nsys.exit(1)"
    monkeypatch.setattr(writing, "_MOVE", half)
    with pytest.raises(InputError, match=r"Written: .*record\.pdf\. Not written: .*record\.json"):
        write_files(pair(tmp_path, "x"))


def test_two_writers_never_mix_their_pairs(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path\n"
        "from squibwise.garage.writing import NewFile, write_files\n"
        "folder = Path(sys.argv[1])\n"
        "for n in range(15):\n"
        "    data = f'{sys.argv[2]}-{n}'.encode()\n"
        "    files = [NewFile(path=folder / f'r.{e}', data=data) for e in ('pdf', 'json')]\n"
        "    write_files(files, may_replace=lambda path: True)\n"
        "    assert (folder / 'r.pdf').exists()\n"
    )
    commands = [[sys.executable, "-c", script, str(tmp_path), name] for name in "ab"]
    writers = [subprocess.Popen(command) for command in commands]
    assert [w.wait(timeout=60) for w in writers] == [0, 0]
    assert (tmp_path / "r.pdf").read_bytes() == (tmp_path / "r.json").read_bytes()
    assert content(tmp_path).keys() == {"r.pdf", "r.json"}


def test_a_place_that_refuses_from_the_start_says_that_nothing_was_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on a read-only disk: neither writing nor taking away what was prepared is allowed."""

    def refuse(*_: object) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(writing, "_write_new", refuse)
    monkeypatch.setattr(writing, "_remove", refuse)
    with pytest.raises(InputError, match=r"Read-only file system\. Not written: .*pdf.*json"):
        write_files(pair(tmp_path, "x"))
