"""The garage from the command line: in, out, back, whole, copied."""

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from squibwise.cli import output, stored
from squibwise.garage import store
from squibwise.garage.folders import folder_content

Line = Callable[..., Any]


def test_a_case_goes_in_and_comes_out_identical(run: Line, cases: Path, tmp_path: Path) -> None:
    done = run("import", cases / "harrow-07", "--by", "R", "--json")
    assert (done.code, done.json()["case"], done.json()["number"]) == (0, "harrow-07", 1)
    assert run("export", "harrow-07", tmp_path / "out").code == 0
    assert folder_content(tmp_path / "out") == folder_content(cases / "harrow-07")
    assert run("export", "harrow-07", tmp_path / "out").code == 2


@pytest.mark.parametrize("command", ["assess", "work", "cost", "check"])
def test_an_id_answers_what_the_folder_answers(
    run: Line, cases: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    run("import", cases / "clover-05")
    monkeypatch.chdir(tmp_path)
    by_id = run(command, "clover-05", "--json")
    by_folder = run(command, cases / "clover-05", "--json")
    assert (by_id.code, by_id.json()) == (by_folder.code, by_folder.json())


def test_the_record_of_an_id_is_that_of_the_folder(
    run: Line, cases: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run("import", cases / "clover-05")
    monkeypatch.chdir(tmp_path)
    run("release", "clover-05", "-o", "a.pdf")
    run("release", cases / "clover-05", "-o", "b.pdf")
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_a_changed_folder_is_one_more_entry_and_can_be_taken_back(
    run: Line, cases: Path, tmp_path: Path
) -> None:
    run("import", cases / "sorrel-03")
    run("export", "sorrel-03", tmp_path / "sorrel-03")
    toml = tmp_path / "sorrel-03" / "case.toml"
    toml.write_text(toml.read_text(encoding="utf-8") + "# a word\n", encoding="utf-8")
    assert run("import", tmp_path / "sorrel-03", "--json").json()["number"] == 2
    assert run("import", tmp_path / "sorrel-03", "--json").json()["number"] == 2
    assert run("garage", "back", "sorrel-03").code == 0
    entries = run("garage", "history", "sorrel-03", "--json").json()["entries"]
    assert [e["kind"] for e in entries] == ["changed", "changed", "undone"]
    assert "taken back" in run("garage", "history", "sorrel-03").out
    run("export", "sorrel-03", tmp_path / "as-it-was")
    assert folder_content(tmp_path / "as-it-was") == folder_content(cases / "sorrel-03")
    assert run("garage", "back", "sorrel-03").code == 2


def test_the_list_names_the_cases(run: Line, cases: Path) -> None:
    run("import", cases / "sorrel-03", "--as", "mine")
    listed = run("garage", "list", "--json").json()["cases"]
    assert [c["case"] for c in listed] == ["mine"]
    assert "mine" in run("garage", "list").out


def test_a_damaged_garage_is_told_and_exits_with_one(
    run: Line, cases: Path, garage_of_nobody: Path
) -> None:
    run("import", cases / "sorrel-03")
    assert run("garage", "check").code == 0
    other = sqlite3.connect(garage_of_nobody)
    other.execute("DROP TRIGGER original_stays")
    other.execute("UPDATE original SET content = x'00'")
    other.commit()
    other.close()
    done = run("garage", "check")
    assert done.code == 1
    assert "not as written" in done.out
    assert run("assess", "sorrel-03").code == 2


def test_a_case_with_an_entry_cut_off_is_neither_signed_nor_handed_out_unasked(
    run: Line, cases: Path, tmp_path: Path, garage_of_nobody: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run("import", cases / "sorrel-03")
    monkeypatch.chdir(tmp_path)
    run("saw", "sorrel-03", "driver.front-bag", "damaged")
    with closing(sqlite3.connect(garage_of_nobody)) as other, other:
        (kept,) = other.execute("SELECT sql FROM sqlite_schema WHERE name = 'entry_remains'")
        other.execute("DROP TRIGGER entry_remains")
        other.execute("DELETE FROM used WHERE number = 2")
        other.execute("DELETE FROM entry WHERE number = 2")
        other.execute("UPDATE head SET number = 1, hash = (SELECT hash FROM entry)")
        other.execute(kept[0])
    for words in (("release", "sorrel-03", "-o", "r.pdf"), ("export", "sorrel-03", "out")):
        done = run(*words)
        assert done.code == 2
        assert "the garage is not as it was written. newest: the last entry of all" in done.err
        assert "`squibwise garage check` tells all that is damaged." in done.err
    assert not list(tmp_path.glob("r.*"))
    assert not (tmp_path / "out").exists()
    copied = run("garage", "backup", "copy.db")
    assert copied.code == 1
    assert "It is not as it was written, 1 thing: keep the earlier backups" in copied.out
    assert run("assess", "sorrel-03").code < 2
    assert run("export", "sorrel-03", "out", "--altered").code == 0
    assert folder_content(tmp_path / "out") == folder_content(cases / "sorrel-03")


def test_a_backup_is_a_garage(
    run: Line, cases: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run("import", cases / "sorrel-03")
    copy = tmp_path / "copy.db"
    done = run("garage", "backup", copy)
    assert (done.code, done.out.split()) == (0, f"The garage is copied to {copy}.".split())
    assert run("garage", "backup", copy).code == 2
    monkeypatch.setenv(stored.PLACE, str(copy))
    assert run("garage", "check").code == 0


def test_a_garage_that_is_made_beside_keys_is_told_to_be_new(
    run: Line, cases: Path, garage_of_nobody: Path
) -> None:
    garage_of_nobody.parent.mkdir()
    (garage_of_nobody.parent / "known-keys.json").write_text("[]")
    first, second = (run("import", cases / name).out for name in ("sorrel-03", "clover-05"))
    assert "If there was one, put its backup there." in " ".join(first.split())
    assert "backup" not in second


def test_without_a_garage_or_a_case_it_says_what_to_do(run: Line, tmp_path: Path) -> None:
    assert "import" in run("garage", "list").err
    assert run("import", tmp_path).code == 2
    assert run("assess", "nothing-of-that-name").code == 2


def test_without_the_variable_it_is_in_the_users_own_folder(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv(stored.PLACE)
    assert stored.garage_file().name == "garage.db"
    assert "squibwise" in str(stored.garage_file()).lower()


def test_what_is_entered_for_an_id_is_an_entry_of_the_garage(
    run: Line, cases: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run("import", cases / "sorrel-03")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "block.txt").write_text(
        '[[evidence]]\nkind = "look"\ncomponent = "driver.front-bag"\nseen = "intact"\n'
    )
    assert run("saw", "sorrel-03", "driver.front-bag", "intact", "--by", "R").code == 0
    assert run("add", "sorrel-03", "block.txt").code == 0
    run("export", "sorrel-03", "out")
    assert (tmp_path / "out" / "case.toml").read_text("utf-8").count('seen = "intact"') == 2
    assert run("undo", "sorrel-03").code == 0
    entries = run("garage", "history", "sorrel-03", "--json").json()["entries"]
    assert [e["what"].split()[0] for e in entries] == ["imported", "saw", "add", "undo"]
    assert run("undo", "no-such-case").code == 2
    twice = run("undo", "sorrel-03"), run("undo", "sorrel-03")
    assert twice[0].out.startswith("`saw driver.front-bag intact` was taken back: 1 entry out of")
    assert "case 'sorrel-03' of" in twice[0].out
    assert twice[1].err.startswith("squibwise: sorrel-03/case.toml: no command has written")


def test_what_is_said_of_a_case_of_the_garage_is_in_it_already(
    run: Line, cases: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run("import", cases / "sorrel-03")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "scan.txt").write_text("B0004-1B driver knee bag, present\n")
    held, answer = [], output.answer

    def note_then_answer(*args: Any, **options: Any) -> int:
        with stored.opened_garage() as garage:
            held.append(store.history(garage, "sorrel-03")[-1].what)
        return answer(*args, **options)

    monkeypatch.setattr(output, "answer", note_then_answer)
    told = run("add", "sorrel-03", "scan.txt").out
    run("undo", "sorrel-03")
    assert held == ["add scan.txt", "undo"]
    assert "1 entry written into case 'sorrel-03' of the garage." in told
    assert "squibwise brief sorrel-03 looks at it; squibwise undo sorrel-03 takes it back." in told


def test_a_report_is_not_copied_through_a_link(run: Line, cases: Path, tmp_path: Path) -> None:
    case = tmp_path / "received"
    case.mkdir()
    (case / "case.toml").write_bytes((cases / "sorrel-03" / "case.toml").read_bytes())
    (tmp_path / "outside").mkdir()
    (case / "evidence").symlink_to(tmp_path / "outside")
    done = run("add", case, cases / "harrow-07" / "evidence" / "scan-before.txt")
    assert done.code == 2
    assert list((tmp_path / "outside").iterdir()) == []


SIGNED = """
[[evidence]]
kind = "passed"
what = "release"
result = "passed"
by = "R"
time = 2027-01-01T12:00:00
"""


def test_finished_cases_of_the_garage_teach_without_being_asked(
    run: Line, cases: Path, tmp_path: Path
) -> None:
    for name in ("harrow-07", "mallow-02", "sorrel-03"):
        shutil.copytree(cases / name, tmp_path / name)
    for name in ("harrow-07", "mallow-02"):
        toml = tmp_path / name / "case.toml"
        toml.write_text(toml.read_text("utf-8") + SIGNED, encoding="utf-8")
    for name in ("harrow-07", "mallow-02", "sorrel-03"):
        assert run("import", tmp_path / name).code == 0
    at = cases / "clover-05"
    alone = run("assess", at, "--own", "none", "--json").json()
    taught = run("assess", at, "--json").json()
    assert "own_cases" not in alone
    assert taught["own_cases"]["cases"] == 2
    assert run("assess", at, "--json").json() == taught, "what is remembered is what was learned"
    assert "Learned from 2 of your own finished cases" in run("assess", at).out
    for old, new in (("0.", "9."), ("{", "{broken")):
        with closing(sqlite3.connect(stored.garage_file())) as other, other:
            other.execute(
                "UPDATE remembered SET value = replace(value, ?, ?) WHERE key NOT LIKE '%:%'",
                (old, new),
            )
        assert run("assess", at, "--json").json() == taught, "only what the user learned counts"
    assert run("assess", "mallow-02", "--json").json()["own_cases"]["cases"] == 1
    named = run("assess", at, "--own", tmp_path, "--json").json()["own_cases"]
    assert named["cases"] == 3


def test_a_garage_without_finished_cases_teaches_nothing_and_says_nothing(
    run: Line, cases: Path
) -> None:
    run("import", cases / "harrow-07")
    assert "own_cases" not in run("assess", cases / "clover-05", "--json").json()


def test_a_bare_id_is_told_in_brief_and_the_history_names_who(
    run: Line, cases: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run("import", cases / "clover-05")
    monkeypatch.chdir(tmp_path)
    bare, brief = run("clover-05", "--json"), run("brief", "clover-05", "--json")
    assert (bare.code, bare.json()) == (brief.code, brief.json())
    run("saw", "clover-05", "driver.front-bag", "intact", "--by", "R")
    entries = run("garage", "history", "clover-05", "--json").json()["entries"]
    assert [e["by"] for e in entries] == ["", "R"]


def test_a_pair_of_two_issues_is_told(run: Line, cases: Path, tmp_path: Path) -> None:
    pdf, data = tmp_path / "r.pdf", tmp_path / "r.json"
    run("release", cases / "clover-05", "-o", pdf)
    first = data.read_bytes()
    assert "record-pair-differs" not in run("verify", pdf, "--json").out
    toml = tmp_path / "clover-05" / "case.toml"
    shutil.copytree(cases / "clover-05", toml.parent)
    toml.write_text(toml.read_text(encoding="utf-8").replace("title = ", "title = 'X' #", 1))
    run("release", toml.parent, "-o", pdf)
    second = data.read_bytes()
    data.write_bytes(first)
    for file in (pdf, data):
        answer = run("verify", file, "--json").json()
        assert answer["valid"]
        assert "record-pair-differs" in [p["code"] for p in answer["problems"]]
    told = run("verify", pdf, "--data", data)
    assert (told.code, data.read_bytes()) == (1, second)
    assert "record-pair-differs" not in run("verify", pdf, "--json").out


def test_the_data_of_a_record_goes_over_nothing_else(
    run: Line, cases: Path, tmp_path: Path
) -> None:
    pdf, other = tmp_path / "r.pdf", tmp_path / "other.json"
    run("release", cases / "clover-05", "-o", pdf)
    other.write_text("{}")
    told = run("verify", pdf, "--data", other)
    assert (told.code, other.read_text()) == (2, "{}")
    assert "is not an earlier one of this case" in told.err
    assert "does not end in .json" in run("verify", pdf, "--data", tmp_path / "r.txt").err
    pdf.write_bytes(pdf.read_bytes().replace(b"Squibwise", b"Squibwisf"))
    assert run("verify", pdf, "--data", tmp_path / "new.json").code == 2
    assert not (tmp_path / "new.json").exists()


@pytest.mark.parametrize("name", ["../../x", "a/b", "..", "", "x" * 300, "\x1b[2J"])
def test_an_id_that_leads_elsewhere_is_refused(run: Line, cases: Path, name: str) -> None:
    told = run("import", cases / "clover-05", "--as", name)
    assert (told.code, "cannot be the name of a case" in told.err) == (2, True)
    assert "\x1b" not in told.err


@pytest.mark.parametrize("text", ["case = 1\n", "case = [1]\n"])
def test_a_case_file_whose_case_is_no_table_is_not_put_in(
    run: Line, tmp_path: Path, text: str
) -> None:
    (tmp_path / "odd").mkdir()
    (tmp_path / "odd" / "case.toml").write_text(text)
    told = run("import", tmp_path / "odd")
    assert (told.code, "no table" in told.err) == (2, True)


def test_what_is_no_case_folder_is_said_as_what_it_is(
    run: Line, cases: Path, tmp_path: Path
) -> None:
    (tmp_path / "odd").mkdir()
    toml = cases / "clover-05" / "case.toml"
    for name, there in (("case.toml", toml), ("gone", tmp_path / "nothing")):
        link = tmp_path / "odd" / name
        link.symlink_to(there)
        told = run("import", tmp_path / "odd")
        assert (told.code, f"{name}' is a link" in told.err) == (2, True)
        link.unlink()
        (tmp_path / "odd" / "case.toml").write_bytes(toml.read_bytes())
    os.mkfifo(tmp_path / "odd" / "scan.txt")
    assert "is a link or a device" in run("import", tmp_path / "odd").err
    assert "is a file, not a folder" in run("import", toml).err
    assert "is not there" in run("import", tmp_path / "nothing").err


@pytest.mark.parametrize("command", ["assess", "brief", "undo"])
def test_an_id_longer_than_any_name_is_told(run: Line, cases: Path, command: str) -> None:
    run("import", cases / "clover-05")
    told = run(command, "x" * 300)
    assert (told.code, "did not foresee" in told.err) == (2, False)
