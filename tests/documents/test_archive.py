"""The pages keep what PDF/A-3a and PDF/UA-1 ask, as far as a general PDF library can tell.

No validator of either standard was at hand (``docs/record.md`` names one and its command). The
clauses are those of ISO 19005-3 and ISO 14289-1, from memory; the reader is pikepdf.
"""

import hashlib
import io
from collections.abc import Callable, Iterator
from typing import Any

import pikepdf
import pytest
from PIL import Image

from squibwise.documents import record_pdf
from squibwise.model.evidence import Photo
from squibwise.model.proof import ProofRecord
from squibwise.present.tell_record import FORMS

PAINTS = frozenset("Tj TJ ' \" Do sh S s f F f* B B* b b* INLINE IMAGE".split())


@pytest.fixture(scope="module", params=FORMS)
def pdf(request: pytest.FixtureRequest, issue: Callable[..., ProofRecord], made: Any) -> Any:
    """One form of the record of a car with a photograph, opened."""
    name, out = "evidence/bag.png", io.BytesIO()
    Image.new("RGB", (60, 40), (90, 60, 30)).save(out, "PNG")
    data, digest = out.getvalue(), hashlib.sha256(out.getvalue()).hexdigest()
    photo = Photo(id="p", file=name, component="driver.front-bag", note="as fitted")
    evidence = (photo, *made["evidence"]())
    case = made["case"](evidence=evidence, files={name: digest}, copies={name: digest})
    pages = record_pdf(issue(case=case), request.param, {name: data})
    with pikepdf.open(io.BytesIO(pages)) as opened:
        yield opened


def structure(pdf: Any) -> Iterator[Any]:
    """Yield every element of the structure tree."""
    left = [pdf.Root.StructTreeRoot]
    while left:
        element = left.pop()
        yield element
        inner = element.get("/K", [])
        inner = inner if isinstance(inner, pikepdf.Array) else [inner]
        left += [e for e in inner if isinstance(e, pikepdf.Dictionary) and "/S" in e]


def test_nothing_is_locked_and_nothing_runs(pdf: Any) -> None:
    """ISO 19005-3, 6.1.3 (no encryption, an id) and 6.5 (no actions)."""
    assert "/Encrypt" not in pdf.trailer
    assert len(pdf.trailer.ID) == 2
    assert not {"/AA", "/OpenAction", "/AcroForm"} & set(pdf.Root.keys())
    assert "/JavaScript" not in pdf.Root.get("/Names", {})


def test_language_title_and_colours_are_stated(pdf: Any) -> None:
    """ISO 19005-3, 6.2.3 (output intent) and 6.7.4 (language); ISO 14289-1, 7.1 (title)."""
    assert str(pdf.Root.Lang) == "en"
    assert pdf.Root.MarkInfo.Marked
    assert pdf.Root.ViewerPreferences.DisplayDocTitle
    (intent,) = pdf.Root.OutputIntents
    assert intent.S == "/GTS_PDFA1"
    assert len(intent.DestOutputProfile.read_bytes()) > 100
    with pdf.open_metadata() as told:
        assert (told["pdfaid:part"], told["pdfaid:conformance"]) == ("3", "A")
        assert told["pdfuaid:part"] == "1"
        assert told["dc:title"]


def test_every_font_is_in_the_file_and_can_be_read_back(pdf: Any) -> None:
    """ISO 19005-3, 6.2.11.4 (embedding) and 6.2.11.7 (Unicode)."""
    fonts = [o for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and _is(o, "/Font")]
    inner = [o for o in fonts if "/FontDescriptor" in o]
    assert inner
    for font in inner:
        assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(font.FontDescriptor.keys())
    assert all("/ToUnicode" in o for o in fonts if o.Subtype == "/Type0")


def _is(thing: Any, kind: str) -> bool:
    return bool(thing.get("/Type", "") == kind)


def test_every_attachment_is_tied_to_the_document(pdf: Any) -> None:
    """ISO 19005-3, 6.8: relationship, both names, type, and a place in the catalogue's list."""
    held = {str(f.UF): f for f in pdf.Root.AF}
    assert set(held) >= {"record.json"}
    assert set(held) == set(pdf.attachments.keys())
    for name, file in held.items():
        assert file.AFRelationship == ("/Source" if name == "record.json" else "/Data")
        assert str(file.F) == name
        assert "/" in str(file.EF.F.Subtype).removeprefix("/")
        assert str(file.Desc)


def test_whatever_is_painted_is_tagged_or_set_aside(pdf: Any) -> None:
    """ISO 14289-1, 7.1: each mark on the page lies in marked content, each piece of it once."""
    for page in pdf.pages:
        depth, pieces, painted = 0, [], 0
        for operands, operator in pikepdf.parse_content_stream(page):
            word = str(operator)
            if word in ("BDC", "BMC"):
                depth += 1
                named = operands[1] if len(operands) > 1 else {}
                pieces += [int(named["/MCID"])] if "/MCID" in named else []
            elif word == "EMC":
                depth -= 1
            elif word in PAINTS:
                painted += 1
                assert depth > 0, word
        assert painted > 10
        assert depth == 0
        assert len(pieces) == len(set(pieces)) > 2


def test_the_tree_holds_headings_tables_and_told_pictures(pdf: Any) -> None:
    """ISO 14289-1, 7.3 (figures), 7.4 (headings), 7.5 (tables); ISO 32000-1, table 337 (rows)."""
    elements = list(structure(pdf))
    kinds = [str(e.get("/S", "")).removeprefix("/") for e in elements]
    assert kinds.count("H1") >= 1
    assert {"P", "Figure", "Table", "TR", "TD"} <= set(kinds)
    for element, kind in zip(elements, kinds, strict=True):
        if kind == "Figure":
            assert str(element.Alt).strip()
        if kind == "TR":
            assert str(element.P.S) in ("/Table", "/THead", "/TBody", "/TFoot")
