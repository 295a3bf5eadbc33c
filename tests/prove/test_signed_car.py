"""A finished demo car, released and verified from the command line: signed, and by which key."""

import importlib.util
from pathlib import Path
from typing import Any

import msgspec
import pytest

from squibwise import case as line
from squibwise.catalog.load import Catalog
from squibwise.cli import files
from squibwise.documents import record_pdf

_PLACE = Path(__file__).parent / "test_finished_car.py"
_SPEC = importlib.util.spec_from_file_location("finished_car", _PLACE)
assert _SPEC is not None
assert _SPEC.loader is not None
_CAR: Any = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_CAR)


def test_a_finished_record_is_signed_and_verified_by_its_key(
    catalog: Catalog, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SQUIBWISE_GARAGE", str(tmp_path / "mine" / "garage.db"))
    case = line.open_case(_CAR.CASES / "clover-05", catalog)
    draft = line.release(case, catalog, _CAR.TODAY)
    assert files.signed(draft, case).signature is None
    done = _CAR.finished(case, line.work(case, catalog).items)
    record = files.signed(line.release(done, catalog, _CAR.TODAY), done)
    paper = tmp_path / "record.pdf"
    paper.write_bytes(record_pdf(record))
    mine = files.verified(paper, catalog, None)
    assert (mine.valid, mine.signature, mine.signer) == (True, "known", "R. Own")
    monkeypatch.setenv("SQUIBWISE_GARAGE", str(tmp_path / "theirs" / "garage.db"))
    assert files.verified(paper, catalog, None).signature == "unknown"
    assert files.verified(paper, catalog, "the yard").signer == "the yard"
    assert files.verified(paper, catalog, None).known_since
    forged = msgspec.structs.replace(record, case_id="another")
    paper.write_bytes(record_pdf(forged))
    assert not files.verified(paper, catalog, "the yard").valid
