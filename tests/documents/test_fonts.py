"""Letters that no built-in font has: as themselves where the user has a font, else as one note."""

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from squibwise.catalog.load import load_catalog
from squibwise.documents import check_file, record_pdf
from squibwise.model.proof import ProofRecord

Maker = Callable[..., ProofRecord]
CATALOG = load_catalog()
DEBIAN = "/usr/share/fonts-droid-fallback/truetype/DroidSansFallback.ttf"
FONT = Path(os.environ.get("WIDE_FONT", DEBIAN))
JAPANESE, CHINESE = "\u5ea7\u5e2d\u306e\u30e9\u30f3\u30d7", "\u5b89\u5168\u6c14\u56ca\u706f"


def text_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    found = " ".join(p.get_textpage().get_text_range() for p in document)
    document.close()
    return " ".join(found.split())


@pytest.mark.parametrize("title", [JAPANESE, CHINESE])
def test_without_a_font_they_become_one_note(
    issue: Maker, made: dict[str, Any], tmp_path: Path, title: str
) -> None:
    record = issue(case=made["case"](title=f"Car {title}"))
    bare = record_pdf(record, fonts=tmp_path / "none")
    note = f"Car [{len(title)} letters that no font here has, see the attached record]"
    assert note in text_of(bare)
    assert bare == record_pdf(record)


@pytest.mark.skipif(not FONT.is_file(), reason="apt-get install fonts-droid-fallback, or WIDE_FONT")
@pytest.mark.parametrize("title", [JAPANESE, CHINESE])
def test_with_a_font_they_print_as_themselves_and_verify_where_it_is(
    issue: Maker, made: dict[str, Any], tmp_path: Path, title: str
) -> None:
    shutil.copy(FONT, tmp_path)
    record = issue(case=made["case"](title=f"Car {title}"))
    own = record_pdf(record, fonts=tmp_path)
    assert f"Car {title}" in text_of(own)
    assert "no font here" not in text_of(own)
    for pdf in (own, record_pdf(record)):
        assert check_file(pdf, CATALOG, fonts=tmp_path)[0].valid
    elsewhere = check_file(own, CATALOG)[0]
    assert (elsewhere.valid, elsewhere.problems[0].code) == (False, "record-pages")
    assert "perhaps for want of a font" in elsewhere.problems[0].message


def test_a_font_of_ones_own_changes_no_page_that_does_not_need_it(
    issue: Maker, made: dict[str, Any], tmp_path: Path
) -> None:
    (tmp_path / "broken.ttf").write_bytes(b"no font")
    for title in ("Z\u00fcndkreis \u0416", CHINESE):
        record = issue(case=made["case"](title=title))
        assert record_pdf(record, fonts=tmp_path) == record_pdf(record)
