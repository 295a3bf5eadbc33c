"""Plain text of any encoding becomes numbered lines; what is no text gets one clear message."""

import pytest

from squibwise.errors import InputError
from squibwise.intake.importers import extract
from squibwise.intake.importers.base import MAX_BYTES, MAX_LINES, MAX_TEXT_BYTES
from squibwise.intake.importers.text import close_up

GERMAN = "Fahrerairbag Zündkreis geöffnet, Widerstand zu groß\nB0001"
POLISH = "Poduszka kierowcy: obwód otwarty, usterka bieżąca, złącze"


def texts(data: bytes, name: str = "scan.txt") -> list[str]:
    return [line.text for line in extract(data, name).lines]


@pytest.mark.parametrize(
    "encoding",
    ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "cp850"],
)
def test_a_german_text_reads_the_same_in_every_encoding(encoding: str) -> None:
    assert texts(GERMAN.encode(encoding)) == GERMAN.split("\n")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1250"])
def test_a_polish_text_reads_the_same_in_every_encoding(encoding: str) -> None:
    assert texts(POLISH.encode(encoding)) == [POLISH]


def test_a_french_text_in_latin_1_keeps_its_accents() -> None:
    line = "Résistance trop élevée, côté gauche, fenêtre"
    assert texts(line.encode("latin-1")) == [line]


@pytest.mark.parametrize("encoding", ["cp1252", "cp1250", "cp850"])
def test_a_guessed_encoding_is_said(encoding: str) -> None:
    found = extract("Gurtstraffer geöffnet, größer".encode(encoding), "scan.txt")
    assert [f.code for f in found.findings] == ["encoding-doubtful"]
    assert found.findings[0].origin.file == "scan.txt"


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_numbers_are_those_an_editor_shows(newline: str) -> None:
    found = extract(newline.join(["B0001", "", "B0002"]).encode(), "scan.txt")
    assert [(line.number, line.text) for line in found.lines] == [(1, "B0001"), (3, "B0002")]


def test_a_form_feed_does_not_shift_the_numbers() -> None:
    found = extract(b"B0001\nB0002\x0cpage 2\nB0003", "scan.txt")
    assert [(line.number, line.text) for line in found.lines][1:] == [
        (2, "B0002 page 2"),
        (3, "B0003"),
    ]


@pytest.mark.parametrize("data", [b"", b" \r\n\t ", "\ufeff".encode(), "\ufeff\n".encode("utf-16")])
def test_an_empty_file_is_refused(data: bytes) -> None:
    with pytest.raises(InputError, match=r"scan\.txt: the file is empty") as caught:
        extract(data, "scan.txt")
    assert caught.value.remedy
    assert caught.value.exit_code == 2


def test_a_binary_file_is_refused() -> None:
    with pytest.raises(InputError, match="not text") as caught:
        extract(bytes(range(256)) * 40, "scan.txt")
    assert caught.value.remedy


def test_a_file_of_50_mb_is_refused() -> None:
    with pytest.raises(InputError, match=r"50\.0 MB is more than") as caught:
        extract(b"x" * (50 << 20), "scan.txt")
    assert "Cut" in caught.value.remedy


def test_a_text_larger_than_a_report_is_refused() -> None:
    assert MAX_TEXT_BYTES < MAX_BYTES
    with pytest.raises(InputError, match="text report"):
        extract(b"B0001 open\n" * (MAX_TEXT_BYTES // 10), "scan.txt")


def test_more_lines_than_a_report_has_are_refused() -> None:
    with pytest.raises(InputError, match=f"more than {MAX_LINES} lines"):
        extract(b"x\n" * (MAX_LINES + 1), "scan.txt")


def test_a_long_line_loses_nothing() -> None:
    codes = [f"B{n:04X}" for n in range(2_000)]
    found = extract(", ".join(codes).encode(), "scan.txt")
    assert [f.code for f in found.findings] == ["line-too-long"]
    assert {line.number for line in found.lines} == {1}
    read = " ".join(line.text for line in found.lines).replace(",", " ").split()
    assert read == codes


def test_a_long_line_without_spaces_loses_nothing() -> None:
    found = extract(b"y" * 10_001, "scan.txt")
    assert "".join(line.text for line in found.lines) == "y" * 10_001


def test_a_few_damaged_characters_do_not_cost_the_rest() -> None:
    data = ("geöffnet größer Zünder übrig " * 5).encode() + b"\xff\nB0001"
    found = extract(data, "scan.txt")
    assert found.lines[-1].text == "B0001"
    assert found.lines[0].text.startswith("geöffnet größer")
    assert [f.code for f in found.findings] == ["encoding-doubtful"]


def test_the_colours_of_a_terminal_are_taken_out() -> None:
    assert texts(b"\x1b[1;31mB0001\x1b[0m open") == ["B0001 open"]


def test_formatted_text_is_refused_with_what_to_do() -> None:
    with pytest.raises(InputError, match="RTF") as caught:
        extract(rb"{\rtf1\ansi B0001 open}", "scan.rtf")
    assert "plain text" in caught.value.remedy


def test_stray_control_characters_become_spaces() -> None:
    assert texts(b"B0001\x00open " + b"and a longer text " * 5 + b"\n")[0].startswith("B0001 open")


@pytest.mark.parametrize(
    ("spaced", "closed"),
    [
        ("B 0 0 0 1   D r i v e r   b a g   o p e n", "B0001 Driver bag open"),
        ("B0001 Driver bag open", "B0001 Driver bag open"),
        ("59 02 FF 80 01 11 2F 80 02 13 2F", "59 02 FF 80 01 11 2F 80 02 13 2F"),
        ("4 1 1 2 3 1 2 4  4 1 1", "4 1 1 2 3 1 2 4  4 1 1"),
        ("5 9  0 2  F F  8 0  0 1  1 1", "5 9  0 2  F F  8 0  0 1  1 1"),
    ],
)
def test_spaced_out_letters_are_closed_up_and_nothing_else(spaced: str, closed: str) -> None:
    assert close_up(spaced) == closed
