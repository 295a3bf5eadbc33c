"""The page for the browser says of a record what the program says, run here by an engine for JS."""

import base64
import json
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from squibwise.catalog.load import load_catalog
from squibwise.documents import record_pdf
from squibwise.documents.check_page import check_page
from squibwise.model.proof import ProofRecord
from squibwise.prove.recording import to_json
from squibwise.prove.sealing import fingerprint, seal, sign, withhold

Maker = Callable[..., ProofRecord]
CATALOG = load_catalog()
KEY = bytes(range(1, 33))
NODE = shutil.which("node")
pytestmark = pytest.mark.skipif(NODE is None, reason="no engine for JavaScript at hand")


@pytest.fixture(scope="session")
def ask(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., list[dict[str, Any]]]:
    """Return who asks the page about many files at once, each with the key that was typed in."""
    place = tmp_path_factory.mktemp("page")
    (script,) = re.findall(r"<script>\n(.*?)</script>", check_page(CATALOG), re.DOTALL)
    asking = (
        "const rows = JSON.parse(require('fs').readFileSync(0, 'utf8'));\n"
        "(async () => { const told = [];\n"
        "for (const [data, key] of rows) told.push(await check(fromBase64(data), key));\n"
        "console.log(JSON.stringify(told)); })();\n"
    )
    (place / "check.js").write_text(script + asking, encoding="utf-8")

    def run(*rows: tuple[bytes, str]) -> list[dict[str, Any]]:
        given = json.dumps([(base64.b64encode(data).decode(), key) for data, key in rows])
        done = subprocess.run(
            [str(NODE), str(Path(place) / "check.js")],
            input=given,
            capture_output=True,
            text=True,
            check=True,
        )
        answer: list[dict[str, Any]] = json.loads(done.stdout)
        return answer

    return run


def signed(issue: Maker, **more: Any) -> ProofRecord:
    return sign(seal(issue(**more), b"salt"), KEY, "R. Own")


def test_a_signed_record_is_whole_by_the_key_that_was_typed_in(issue: Maker, ask: Any) -> None:
    record = signed(issue)
    assert record.signature is not None
    mine = fingerprint(record.signature.public_key)
    pdf = record_pdf(record, "record", key=KEY)
    told = ask((to_json(record), mine), (pdf, mine), (pdf, ""), (pdf, "0000 0000 0000 0000"))
    assert [t["valid"] for t in told] == [True, True, True, False]
    assert told[0]["head"] == "Whole and unchanged, signed with the key you know."
    assert "have not compared" in told[2]["head"]
    assert f"Signed in the name of R. Own with the key {mine}." in told[1]["lines"]


def test_a_copy_that_leaves_out_is_whole_too(issue: Maker, made: Any, ask: Any) -> None:
    copy = withhold(signed(issue, costs=made["costs"]()))
    told, printed = ask((to_json(copy), ""), (record_pdf(copy, "buyer", key=KEY), ""))
    assert told["valid"]
    assert printed["valid"]
    assert any("This copy leaves out" in line for line in told["lines"])


def test_what_is_not_signed_says_so(issue: Maker, ask: Any) -> None:
    record = issue()
    data, pdf = ask((to_json(record), ""), (record_pdf(record), ""))
    assert data["head"] == pdf["head"] == "The digest fits; nobody can tell who made this."
    assert data["valid"]
    assert not pdf["valid"]


def forgeries(record: ProofRecord) -> list[bytes]:
    data = to_json(record)
    assert record.signature is not None
    gates = tuple(msgspec.structs.replace(g, text="All is well.") for g in record.gates)
    unsigned_pages = record_pdf(record, "record")
    return [
        data.replace(b"Own car", b"Any car"),
        data.replace(b'"draft":false', b'"draft":false,"draft":false'),
        json.dumps(json.loads(data), indent=1).encode(),
        to_json(msgspec.structs.replace(record, case_id="another")),
        to_json(sign(seal(msgspec.structs.replace(record, gates=gates)), KEY, "R. Own")),
        to_json(
            msgspec.structs.replace(
                record, signature=msgspec.structs.replace(record.signature, by="Somebody Else")
            )
        ),
        unsigned_pages,
        record_pdf(record, "record", key=KEY).replace(b"Squibwise", b"Squibwisf"),
        b"%PDF-1.7 nothing",
        b"{}",
        b"",
        b"[" * 100,
        b"\xff\xfe",
    ]


def test_no_forgery_is_valid(issue: Maker, ask: Any) -> None:
    told = ask(*((data, "") for data in forgeries(signed(issue))))
    assert [t["head"] for t in told if t["valid"]] == []


def test_nothing_else_can_be_left_out(issue: Maker, ask: Any) -> None:
    value = json.loads(to_json(signed(issue)))
    value["content"]["verdicts"] = None
    del value["salts"]["content/verdicts"]
    value["withheld"]["content/verdicts"] = "00" * 32
    (told,) = ask((json.dumps(value, sort_keys=True, separators=(",", ":")).encode(), ""))
    assert told["lines"] == ["It leaves out 'content/verdicts', which no copy may."]


def test_the_page_stands_by_itself() -> None:
    page = check_page(CATALOG)
    assert "default-src 'none'" in page
    assert not re.findall(r"(?:src|href)=|https?://|innerHTML|eval\(", page)
    assert CATALOG.words.gates[0][1] in page
