"""The page for the browser says of a record what the program says, file by file."""

import base64
import hashlib
import json
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from playwright.sync_api import Browser

from squibwise import __version__
from squibwise.catalog.load import load_catalog
from squibwise.documents import attached, record_pdf, verify_file
from squibwise.documents.check_page import check_page
from squibwise.model.proof import KnownKey, ProofRecord
from squibwise.present.tell_checks import tell_verification
from squibwise.prove.recording import to_json
from squibwise.prove.sealing import canonical, fingerprint, seal, sign, sign_pages, withhold

Maker = Callable[..., ProofRecord]
CATALOG = load_catalog()
KEY = bytes(range(1, 33))
NODE = shutil.which("node")
pytestmark = pytest.mark.skipif(NODE is None, reason="no engine for JavaScript at hand")


OTHER = bytes(range(2, 34))


@pytest.fixture(scope="module")
def in_browser(tmp_path_factory: pytest.TempPathFactory, browser: Browser) -> Iterator[Any]:
    """Return who gives the page, opened from disk in a real browser, one file and one key."""
    place = tmp_path_factory.mktemp("browser")
    (place / "check.html").write_text(check_page(CATALOG), encoding="utf-8")
    page = browser.new_page(viewport={"width": 390, "height": 844})  # a phone
    page.goto((place / "check.html").as_uri())

    def run(data: bytes, key: str) -> dict[str, Any]:
        page.fill("#key", "")
        page.evaluate("document.getElementById('answer').replaceChildren()")
        given = {"name": "x", "mimeType": "application/octet-stream", "buffer": data}
        page.fill("#key", key)
        page.set_input_files("#file", [given])
        page.wait_for_selector("#answer h2")
        kinds = {"yes": "valid", "perhaps": "not checked", "no": "not valid"}
        kind = page.get_attribute("#answer", "class") or ""
        width = page.evaluate("document.documentElement.scrollWidth")
        told, said = page.inner_text("#answer"), page.text_content("#said") or ""
        return {"verdict": kinds[kind], "told": told, "said": said, "width": width}

    yield run
    page.close()


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
    mine = msgspec.structs.replace(issue(**more), made_by=__version__)
    return sign(seal(mine, b"salt"), KEY, "R. Own")


def test_a_signed_record_is_whole_by_the_key_that_was_typed_in(issue: Maker, ask: Any) -> None:
    record = signed(issue)
    assert record.signature is not None
    mine = fingerprint(record.signature.public_key)
    pdf = record_pdf(record, "record", key=KEY)
    told = ask((to_json(record), mine), (pdf, mine), (pdf, ""), (pdf, "0000 0000 0000 0000"))
    assert [t["verdict"] for t in told] == ["valid", "not checked", "not checked", "not valid"]
    assert told[0]["head"] == "The data are as the key that you typed in signed them:"
    assert told[1]["head"].endswith("; the pages are not compared with them:")
    assert told[2]["head"].startswith("The data are as somebody's key signed them")
    for one in told[:3]:
        assert any("follow from its entries is not worked out here" in x for x in one["lines"])
    assert f'Signed in the name of "R. Own" with the key {mine}.' in told[1]["lines"]


def test_pages_of_another_version_are_not_checked(issue: Maker, ask: Any) -> None:
    record = msgspec.structs.replace(issue(), made_by="0.7.1", issued_on="2999-01-01")
    pdf = record_pdf(sign(seal(record, b"salt"), KEY, "R. Own"), "record", key=KEY)
    signature = sign(record, KEY, "R. Own").signature
    assert signature is not None
    (told,) = ask((pdf, fingerprint(signature.public_key)))
    assert told["verdict"] == "not checked"
    assert 'Version "0.7.1" wrote it, another than made this page.' in told["lines"]
    assert any("issued has not come" in line for line in told["lines"])


def test_a_copy_that_leaves_out_is_whole_too(issue: Maker, made: Any, ask: Any) -> None:
    copy = withhold(signed(issue, costs=made["costs"]()))
    assert copy.signature is not None
    mine = fingerprint(copy.signature.public_key)
    told, printed = ask((to_json(copy), ""), (record_pdf(copy, "buyer", key=KEY), mine))
    assert (told["verdict"], printed["verdict"]) == ("valid", "not checked")
    assert any("This copy leaves out" in line for line in told["lines"])


def test_what_is_not_signed_says_so(issue: Maker, ask: Any) -> None:
    record = issue()
    data, pdf = ask((to_json(record), ""), (record_pdf(record), ""))
    title = tell_verification(verify_file(record_pdf(record), CATALOG), Path("x.pdf")).title
    assert data["head"] == pdf["head"] == title == "The digest fits; nobody can tell who made this:"
    assert data["verdict"] == "valid"
    assert pdf["verdict"] == "not checked"
    assert pdf["lines"][-1].startswith("Its pages are not checked: this page cannot make them")


def altered(record: ProofRecord) -> dict[str, bytes]:
    """Return files that somebody altered, by what was done, and the few that are as issued."""
    data = to_json(record)
    assert record.signature is not None
    value = json.loads(data)
    pdf, draft_pages = record_pdf(record, "record", key=KEY), record_pdf(record, "record")
    bare = msgspec.structs.replace(record, signature=None)
    return _as_text(data, value) | {
        "as issued": data,
        "as issued, printed": pdf,
        "copy": to_json(withhold(record)),
        "signed record, pages not signed": draft_pages,
        "not signed": to_json(bare),
        "not signed, printed": record_pdf(bare),
        "another case id": _written(value, case_id="another"),
        "gates in other words, signed anew": _resealed(
            record, gates=tuple(msgspec.structs.replace(g, text="All well.") for g in record.gates)
        ),
        "a gate less, signed anew": _resealed(record, gates=record.gates[1:]),
        "a caution in other words, signed anew": _reworded(record, "cautions"),
        "a question less, signed anew": _reworded(record, "answers"),
        "a paper less, signed anew": _reworded(record, "papers"),
        "the footer in other words, signed anew": _reworded(record, "texts"),
        "a key more in the content, signed anew": _reworded(record, "more"),
        "no day of issue, signed anew": _resealed(record, issued_on="2026-02-30"),
        "may leave out more, signed anew": _resealed(
            record, may_withhold=(*record.may_withhold, "content/parts")
        ),
        "may leave out a look, signed anew": _resealed(
            record, may_withhold=(*record.may_withhold, "content/evidence/1")
        ),
        "in another's name": _signature(record, by="Somebody Else"),
        "signature of another scheme": _signature(record, scheme="Ed448"),
        "spare bits of the signature": _signature(
            record, value=_spare_bits(record.signature.value)
        ),
        "space in the signature": _signature(record, value=f"{record.signature.value} "),
        "signed by another key": to_json(sign(seal(bare, b"salt"), OTHER, "R. Own")),
        "a key that fits every text": _signature(
            record,
            public_key=base64.b64encode(b"\1" + bytes(31)).decode(),
            value=base64.b64encode(b"\1" + bytes(63)).decode(),
        ),
        "printed, signed by another key": record_pdf(
            sign(seal(bare, b"salt"), OTHER, "R. Own"), "record", key=OTHER
        ),
        "pages in other words": pdf.replace(b"Squibwise", b"Squibwisf"),
        "pages with bytes behind": pdf + b"\n% more\n",
        "pages with rubbish for a signature": re.sub(
            rb"(squibwise-pages record )[A-Za-z0-9+/]{86}==", rb"\1" + b"B" * 86 + b"==", pdf
        ),
        "not signed, pages altered": record_pdf(bare).replace(b"Squibwise", b"Squibwisf"),
        "not signed, rubbish for a signature": record_pdf(bare).replace(
            b"A" * 86 + b"==", b"B" * 86 + b"=="
        ),
        "half a PDF": pdf[: len(pdf) // 2],
        "no record in it": b"%PDF-1.7 nothing",
    }


def _as_text(data: bytes, value: dict[str, Any]) -> dict[str, bytes]:
    """Return the JSON written otherwise, of which some is the same record and some is not."""
    return {
        "a title changed": data.replace(b"Own car", b"Any car"),
        "a key twice": data.replace(b'"draft":false', b'"draft":false,"draft":false'),
        "a key twice, escaped": data.replace(b'"draft":false', b'"draft":false,"dr\\u0061ft":true'),
        "indented": json.dumps(value, indent=1).encode(),
        "keys in another order": json.dumps(dict(reversed(value.items()))).encode(),
        "letters escaped": data.replace(b'"Own car', b'"\\u004fwn car'),
        "byte order mark": b"\xef\xbb\xbf" + data,
        "UTF-16": data.decode().encode("utf-16"),
        "white space behind": data + b"\n \n",
        "text behind": data + b"{}",
        "a number not finite": data.replace(b'"draft":false', b'"draft":NaN'),
        "a salt changed": _written(value, salts=value["salts"] | {"gates": "00" * 16}),
        "a salt more": _written(value, salts=value["salts"] | {"more": "00" * 16}),
        "another layout": _written(value, schema="squibwise-record-9"),
        "a key more": _written(value, more=1),
        "a draft": _written(value, draft=True),
        "verdicts left out": _left_out(value, "content/verdicts"),
        "may leave out everything": _written(value, may_withhold="content/verdicts gates"),
        "no gates": _written(value, gates=[]),
        "gates no list": _written(value, gates="none"),
        "nothing": b"",
        "an empty record": b"{}",
        "depth": b"[" * 100_000,
        "no text": b"\xff\xfe",
        "the second layout": _second_layout(value),
    }


def _written(value: dict[str, Any], **changes: Any) -> bytes:
    return json.dumps(value | changes, ensure_ascii=False).encode()


def _resealed(record: ProofRecord, **changes: Any) -> bytes:
    bare = msgspec.structs.replace(record, signature=None, **changes)
    return to_json(sign(seal(bare, b"salt"), KEY, "R. Own"))


def _reworded(record: ProofRecord, what: str) -> bytes:
    """Return the record with other fixed words, the digest and signature made anew over it."""
    content = json.loads(json.dumps(record.content))
    if what == "cautions":
        item = next(i for i in content["work"]["items"] if i["cautions"])
        item["cautions"][0]["text"] = "Nothing can happen."
    elif what == "texts":
        content["texts"]["footer"] = "Nothing can happen."
    elif what == "more":
        content["more"] = "Approved."
    else:
        content[what] = content[what][1:]
    return _resealed(record, content=content)


def _signature(record: ProofRecord, **changes: Any) -> bytes:
    assert record.signature is not None
    other = msgspec.structs.replace(record.signature, **changes)
    return to_json(msgspec.structs.replace(record, signature=other))


def _spare_bits(text: str) -> str:
    """Return base64 of the same bytes whose last letter is another: four of its bits are spare."""
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
    last = letters[letters.index(text[85]) ^ 1]
    changed = f"{text[:85]}{last}=="
    assert base64.b64decode(changed) == base64.b64decode(text)
    return changed


def _left_out(value: dict[str, Any], part: str) -> bytes:
    """Return a record that leaves out a part that no copy may."""
    content = value["content"] | {part.removeprefix("content/"): None}
    salts = {k: v for k, v in value["salts"].items() if k != part}
    return _written(value, content=content, salts=salts, withheld={part: "00" * 32})


def _second_layout(value: dict[str, Any]) -> bytes:
    """Return the record in the layout before, whose digest is over everything at once."""
    gone = ("made_by", "may_withhold", "salts", "withheld", "digest", "signature")
    rest = {k: v for k, v in value.items() if k not in gone} | {"schema": "squibwise-record-2"}
    newer = ("reasons", "parts", "answers", "photos")
    rest["content"] = {k: v for k, v in rest["content"].items() if k not in newer}
    return _written(rest, digest=hashlib.sha256(canonical(rest)).hexdigest(), signature=None)


def test_the_page_agrees_with_the_program_on_every_altered_file(
    issue: Maker, in_browser: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a real browser: the same verdict, but for pages that only making them again shows right.

    Such pages the page calls not checked, whatever they are, and never valid.
    """
    monkeypatch.setattr(attached, "_recount", lambda *_: ((), ""))  # of a hand-made car
    record = signed(issue)
    assert record.signature is not None
    mine = fingerprint(record.signature.public_key)
    known = KnownKey(public_key=record.signature.public_key, name="R. Own", since="2026-01-01")
    files = altered(record)
    assert len(files) >= 50
    said = {"not valid": 0, "valid": 0, "not checked": 0}
    for name, data in files.items():
        is_slow = data.startswith(b"%PDF-") and not name.startswith("as issued")
        for key, keys in ((mine, [known]),) if is_slow else ((mine, [known]), ("", [])):
            result, told = verify_file(data, CATALOG, keys), in_browser(data, key)
            said[told["verdict"]] += 1
            assert told["width"] <= 390, name  # nothing runs off the screen of a phone
            if told["verdict"] == "not checked":
                assert data.startswith(b"%PDF-"), name
                continue
            assert told["verdict"] == "not valid" or not data.startswith(b"%PDF-"), name
            expected = result.valid and (not key or result.signature != "unknown")
            assert (told["verdict"] == "valid") is expected, (name, key, told, result)
    assert said["valid"] >= 12
    assert said["not valid"] >= 60
    assert 1 <= said["not checked"] <= 8


def test_the_answer_to_an_older_question_is_never_shown(
    issue: Maker, browser: Browser, tmp_path: Path
) -> None:
    """A slow check of the file before, or of half a key, must not stand beside the newer one."""
    (tmp_path / "check.html").write_text(check_page(CATALOG), encoding="utf-8")
    page = browser.new_page()
    page.goto((tmp_path / "check.html").as_uri())
    page.evaluate(
        "() => { const real = check;"
        " check = async (bytes, key) => { const told = await real(bytes, key);"
        " if (bytes.length < 3) await new Promise((done) => { window.go = done; });"
        " window.ended = (window.ended || 0) + 1; return told; }; }"
    )
    kind = "application/octet-stream"
    page.set_input_files("#file", [{"name": "old", "mimeType": kind, "buffer": b"{}"}])
    page.wait_for_function("!!window.go")
    data = to_json(signed(issue))
    page.set_input_files("#file", [{"name": "new", "mimeType": kind, "buffer": data}])
    page.wait_for_selector("#answer h2")
    before = page.inner_text("#answer")
    page.evaluate("window.go()")
    page.wait_for_function("window.ended === 2")
    assert page.get_attribute("#answer", "class") == "yes"
    assert page.inner_text("#answer") == before
    page.close()


def test_the_page_shows_what_the_data_say_beside_pages_that_their_signer_painted(
    issue: Maker, made: Any, in_browser: Any
) -> None:
    """Pages of two letters swapped, signed anew by who signed the record: only the data tell."""
    bag = msgspec.structs.replace(made["evidence"]()[4], serial="S-7\u202e1\x1b", seller="<b>yard")
    record = signed(issue, case=made["case"](evidence=(*made["evidence"](), bag)))
    assert record.signature is not None
    blank = record_pdf(record, "record").replace(b"Squibwise", b"Squibwisf")
    value = sign_pages(record.signature, record.digest, blank, KEY)
    painted = blank.replace(b"A" * 86 + b"==", value.encode())
    assert painted != blank
    told = in_browser(painted, fingerprint(record.signature.public_key))
    assert told["verdict"] == "not checked"
    assert told["said"].startswith("Read this, not the pages: what the record itself says")
    for text in (
        "driver front airbag: 9Z-1147-A, serial S-7\u25a11\u25a1, recycled, donor 0Z9",
        "<b>yard",
        "driver front airbag: fired, replaced by its entries",
        "lamp-check: stated",
        "second-scan: met",
        "0Z9HB5A26KR000417, model year 2019",
    ):
        assert text in told["said"]
    assert in_browser(painted + b"x", "0000 0000 0000 0000")["said"] == ""


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
