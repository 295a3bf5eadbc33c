"""The pages say what the record says, whatever people wrote, and carry the record."""

import base64
import hashlib
import io
import json
import struct
import subprocess
import zlib
from collections.abc import Callable
from typing import Any

import msgspec
import pypdfium2
import pytest
import typst
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise import __version__
from squibwise.catalog.load import load_catalog
from squibwise.documents import attached as attached_module
from squibwise.documents import attached_record
from squibwise.documents import printable as printable_module
from squibwise.documents import record as record_module
from squibwise.documents import record_pdf as make_pdf
from squibwise.documents import verify_file as verify_file_with
from squibwise.documents.printable import printable
from squibwise.documents.record import without_signature
from squibwise.errors import InputError, ModelError
from squibwise.model.belief import Assumption
from squibwise.model.car import Profile
from squibwise.model.cost import Amount, Money
from squibwise.model.evidence import Passed, Photo, Recorder
from squibwise.model.origin import Finding, Origin
from squibwise.model.proof import KnownKey, ProofRecord, Signature, Verification
from squibwise.model.report import CodeLine, Coverage, ReadReport, Unread
from squibwise.present.tell_record import tell_record
from squibwise.prove.recording import to_json
from squibwise.prove.sealing import plain, seal, sign, withhold

Maker = Callable[..., ProofRecord]
Made = dict[str, Any]


CATALOG = load_catalog()


def verify_file(data: bytes) -> Verification:
    return verify_file_with(data, CATALOG)


_MADE: dict[bytes, bytes] = {}


def record_pdf(record: ProofRecord) -> bytes:
    """Return the pages, made once per record: a second and more each."""
    key = msgspec.json.encode(record)
    if key not in _MADE:
        _MADE[key] = typeset(record)
    return _MADE[key]


def typeset(record: ProofRecord) -> bytes:
    """Return all pages there are: the two, and the annex."""
    return make_pdf(record, "annex")


def pages(pdf: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(pdf)
    try:
        texts = [document[n].get_textpage().get_text_bounded() for n in range(len(document))]
    finally:
        document.close()
    return [" ".join(t.replace("\u200b", "").replace("\x02", "-").split()) for t in texts]


def whole(pdf: bytes) -> str:
    return " ".join(pages(pdf))


def draft(issue: Maker, made: Made) -> ProofRecord:
    item = made["item"]("left.curtain:replace", "left.curtain", "replace", done=False)
    return issue(work=made["work"](item), costs=made["costs"]())


def test_the_same_record_gives_the_same_bytes(issue: Maker, made: Made) -> None:
    assert typeset(draft(issue, made)) == typeset(draft(issue, made))


def test_the_pages_do_not_hang_on_the_order_of_keys(issue: Maker, made: Made) -> None:
    event = msgspec.structs.replace(
        made["assessment"]().event,
        front_passenger={"empty": 0.5, "adult": 0.5, "child-or-small": 0.0},
        causes={"supply": 0.5, "ground": 0.5},
    )
    record = issue(assessment=made["assessment"](event=event))
    assert codes(record_pdf(record)) == (True, ["record-unsigned"])


def test_another_day_of_issue_gives_other_bytes(issue: Maker) -> None:
    later = msgspec.structs.replace(issue(), issued_on="2026-03-21")
    assert record_pdf(later) != record_pdf(issue())


def test_the_attached_record_is_the_record_to_the_byte(issue: Maker) -> None:
    record = issue()
    assert attached_record(record_pdf(record)) == to_json(record)


def test_a_record_given_as_json_is_taken_as_it_is(issue: Maker) -> None:
    data = to_json(issue())
    assert attached_record(data) is data


def test_the_file_claims_to_be_an_archive_and_accessible(issue: Maker) -> None:
    # Source: ISO 19005-3 (PDF/A-3) and ISO 14289-1 (PDF/UA-1) name their mark in the metadata
    # (from memory): pdfaid:part 3, conformance A; pdfuaid:part 1.
    pdf = record_pdf(issue())
    assert b"<pdfaid:part>3</pdfaid:part>" in pdf
    assert b"<pdfaid:conformance>A</pdfaid:conformance>" in pdf
    assert b"<pdfuaid:part>1</pdfuaid:part>" in pdf


def test_every_page_of_a_draft_says_so_and_carries_the_notice(issue: Maker, made: Made) -> None:
    record = draft(issue, made)
    for page in pages(record_pdf(record)):
        assert "DRAFT: 1 of 21 gates open" in page
        assert record.content["texts"]["footer"] in page


def test_a_finished_record_is_no_draft_on_any_page_and_has_room_to_sign(issue: Maker) -> None:
    text = whole(record_pdf(issue()))
    assert "DRAFT" not in text
    assert "No open gate. Signed by:" in text
    assert "Not signed yet" in text


def test_who_answers_which_procedure_and_which_explanation_are_told(
    issue: Maker, made: Made
) -> None:
    said = Passed(id="c", what="contradictions", result="passed", note="another car", by="R. Own")
    book = Passed(id="m", what="maker-procedure", result="passed", note="own manual", by="R. Own")
    row = made["Contradiction"](text="Torn and whole.", evidence=("done-1",), remedy="Look again.")
    case = made["case"](evidence=(*made["evidence"](), said, book))
    states = made["assessment"](contradictions=(row,))
    text = whole(record_pdf(issue(case=case, assessment=states)))
    assert "Answers for it, as typed: R. Own, 2026-03-10 15:00." in text
    assert "Procedure followed: own manual, R. Own." in text
    assert "Torn and whole. Look again. Explained: another car, R. Own." in text


def test_a_signed_record_names_who_signed(issue: Maker) -> None:
    signature = Signature(by="R. Own", scheme="Ed25519", public_key="AA==", value="AA==")
    assert 'Signed by "R. Own"' in whole(
        record_pdf(msgspec.structs.replace(issue(), signature=signature))
    )


def test_the_pages_never_call_a_car_safe(issue: Maker, made: Made) -> None:
    for record in (issue(), draft(issue, made)):
        words = whole(record_pdf(record)).lower().replace(",", " ").replace(".", " ").split()
        assert "safe" not in words


def test_open_gates_their_lacks_and_remedies_are_on_the_pages(issue: Maker, made: Made) -> None:
    record = draft(issue, made)
    text = whole(record_pdf(record))
    gates = [g for g in record.gates if g.open]
    assert gates
    for gate in gates:
        assert gate.text in text
        assert gate.remedy in text
        assert all(m in text for m in gate.missing)


def test_hazards_come_first(issue: Maker, made: Made) -> None:
    bag = made["belief"](
        "driver.front-bag",
        now=made["FIRED"],
        after=made["FIRED"],
        s1=made["SPENT"],
        s2=made["SILENT"],
    )
    record = issue(assessment=made["assessment"](components=(bag,)))
    first = pages(record_pdf(record))[0]
    assert record.content["texts"]["standing"] in first
    assert "not proven spent: driver front airbag (stage 2)." in first
    assert first.index("Handle as live") < first.index("What fired, what was replaced")


def test_doubt_is_on_the_first_page_with_the_look_that_settles_it(issue: Maker, made: Made) -> None:
    look = made["NextLook"](
        component="passenger.front-bag",
        look="cover-torn",
        text="Look along the seam of the panel.",
        minutes=1,
        settles=0.4,
        saving=9.0,
    )
    doubt = made["belief"]("passenger.front-bag", now=made["DOUBT"], s1=made["LIVE"])
    record = issue(assessment=made["assessment"](components=(doubt,), next_looks=(look,)))
    first = pages(record_pdf(record))[0]
    assert "In doubt: passenger front airbag. Look along the seam of the panel." in first


def test_work_stands_in_order_with_holds_cautions_and_conditions(issue: Maker, made: Made) -> None:
    text = whole(record_pdf(draft(issue, made)))
    assert text.index("Switch the power off") < text.index("replace driver.front-bag")
    assert "Wait 3 min first." in text
    assert "After 1." in text
    assert "cautions 1" in text
    assert " ".join(CATALOG.cautions["full-wait"].text.split()) in text
    assert "Record: no cut, no mark" in text


def test_papers_are_listed_and_marked_where_the_evidence_shows_them(issue: Maker) -> None:
    text = whole(record_pdf(issue()))
    assert "Papers to keep with this record" in text
    assert "Result of the lamp check." in text


def usd(amount: int) -> Money:
    return Money(minor=100 * amount, currency="USD")


def priced(made: Made) -> tuple[Any, ...]:
    """Return the costs of the hand-made car with parts, labour and what has no price."""
    first, other = made["costs"]()
    amounts = {
        "parts": Amount(likely=usd(320), at_most=usd(700)),
        "labour": Amount(likely=usd(50), at_most=usd(65)),
        "total": Amount(likely=usd(370), at_most=usd(740)),
        "chance": 0.9,
    }
    named = {"name": "followed", "missing": ("clock spring",), "from_memory": ("front sensor",)}
    return (
        msgspec.structs.replace(first, **amounts, **named),
        msgspec.structs.replace(other, name="belt-counter", **amounts),
    )


def test_costs_are_listed_by_kind_of_rules_with_what_has_no_price(issue: Maker, made: Made) -> None:
    item = made["item"]("left.curtain:replace", "left.curtain", "replace", done=False)
    text = whole(record_pdf(issue(work=made["work"](item), costs=priced(made))))
    assert "the rules that are followed 320 50 ? 370 740 30 min" in text
    assert "belt-counter 320" in text
    assert "Without a price, and in no sum: clock spring" in text
    assert "Priced from the catalogue's wide range: front sensor." in text
    assert "not passed in 90% of cases" in text


def test_the_buyers_copy_shows_no_cost(issue: Maker) -> None:
    text = whole(record_pdf(issue()))
    assert "Still to pay" not in text
    assert "USD" not in text


def test_evidence_reasons_sources_files_and_limits_are_on_the_pages(issue: Maker) -> None:
    record = issue()
    text = whole(record_pdf(record))
    assert "driver.front-bag/1: loop-resistance 2.1 ohm (u 0.05), by substitute-load" in text
    assert "open circuit on stage 1 (judgement) [+12.3 / +8.1 dB]" in text
    assert "Letters of interpretation on deployed airbags" in text
    assert "ab" * 32 in text
    assert record.digest in text
    unbroken = text.replace(" ", "")
    assert all(limit.replace(" ", "") in unbroken for limit in record.content["texts"]["limits"])


def test_rounded_chances_are_never_shown_as_certain(issue: Maker) -> None:
    text = whole(record_pdf(issue()))
    assert "live 99%" in text
    assert "No crash at all under 1%" in text


NASTY = [
    '#panic("x") #eval("1+1") #sys.inputs',
    "*bold* _it_ `raw` $x^2$ @ref <label> // comment /* */ \\ # ] [ } {",
    "= Heading\n- list\n+ enum\n/ term: x",
    '#pdf.attach("evil")#include "/etc/passwd"#read("/etc/passwd")',
    'quote " backslash \\ \\u0041 \\n',
    "x" * 5000,
    "word " * 3000,
    "\u202egnorw\u202c \u200b \ufeff \u0000 \u0007 \x7f \x85",
    "\u6f22\u5b57 \U0001f697 \u0e44\u0e17\u0e22 \u05e9\u05dc\u05d5\u05dd",
    "\u0627\u0644\u0639\u0631\u0628\u064a\u0629 \u0915\u094d\u0937",
    "e\u0301\u0302\u0303" * 20,
    "\ud800 lone",
    "",
    "<script>alert(1)</script> & ' %PDF-1.7 endobj",
]


def with_text(issue: Maker, made: Made, *texts: str) -> ProofRecord:
    """Return a record with texts in every place where a person or a file can put text."""
    first, *rest = made["evidence"]()
    odd = [
        msgspec.structs.replace(
            first,
            id=f"{first.id}{n or ''}",
            method=text,
            unit=text,
            where=text,
            origin=Origin(file=text, line=1, raw=text, person=text),
        )
        for n, text in enumerate(texts)
    ]
    scan = next(e for e in rest if e.id == "scan-9")
    reading = ReadReport(
        lines=tuple(CodeLine(line=n, raw=text) for n, text in enumerate(texts, 1)),
        unread=tuple(Unread(line=n, raw=text) for n, text in enumerate(texts, 21)),
        coverage=Coverage(complete=True),
    )
    rest[rest.index(scan)] = msgspec.structs.replace(scan, reading=reading)
    title, files = " ".join(texts), {text: text for text in texts}
    case = made["case"](id=texts[0], title=title, evidence=(*odd, *rest), files=files)
    items = [
        made["item"](
            f"left.curtain:{'replace' if n == 0 else f'own-{n}'}",
            "left.curtain",
            "replace",
            done=False,
            title=text,
            passes_when=text,
        )
        for n, text in enumerate(texts)
    ]
    return issue(case=case, work=made["work"](*items), costs=made["costs"]())


@pytest.mark.parametrize("texts", [NASTY[n::4] for n in range(4)], ids=range(4))
def test_nothing_a_person_wrote_breaks_the_pages_or_the_record(
    issue: Maker, made: Made, texts: list[str]
) -> None:
    record = with_text(issue, made, *texts)
    pdf = record_pdf(record)
    assert attached_record(pdf) == to_json(record)
    assert verify_file(pdf).valid
    shown = "".join(pages(pdf)).replace(" ", "").replace("\u200b", "")
    for text in texts:
        expected = "".join(printable(plain(text)).split()).replace("\u200b", "")
        assert not expected.isascii() or expected[:60] in shown, text[:60]


def test_markup_is_shown_as_it_was_written(issue: Maker, made: Made) -> None:
    text = whole(record_pdf(with_text(issue, made, "#emph[no] *no* $no$")))
    assert "#emph[no] *no* $no$" in text


@settings(max_examples=8, deadline=None)
@given(st.text(st.characters(), max_size=12))
def test_any_text_can_be_printed(issue: Maker, made: Made, text: str) -> None:
    record = with_text(issue, made, text)
    assert attached_record(record_pdf(record)) == to_json(record)


def test_what_turns_the_direction_of_writing_is_spelled_out(issue: Maker, made: Made) -> None:
    text = whole(record_pdf(with_text(issue, made, "abc\u202edef")))
    assert "abc[U+202E]def" in text


def test_a_long_work_list_breaks_over_pages_with_its_head(issue: Maker, made: Made) -> None:
    rows = [
        made["item"](
            f"step:s{n}",
            None,
            "do",
            done=False,
            title=f"Step number {n} of many",
            tools=("a torque wrench", "a lamp"),
        )
        for n in range(150)
    ]
    found = pages(record_pdf(issue(work=made["work"](*rows))))
    assert len(found) >= 6
    assert sum("Done No. What Wait, time, order, what to record" in page for page in found) >= 4
    assert all(f"Step number {n} of many" in " ".join(found) for n in range(150))


def test_a_scan_with_thousands_of_lines_is_cut_with_a_note(issue: Maker, made: Made) -> None:
    lines = tuple(CodeLine(line=n, raw=f"code {n}") for n in range(1, 3001))
    rows = made["evidence"]()
    reading = ReadReport(lines=lines, coverage=Coverage(complete=True))
    changed = tuple(
        msgspec.structs.replace(e, reading=reading) if e.id == "scan-9" else e for e in rows
    )
    record = issue(case=made["case"](evidence=changed))
    pdf = record_pdf(record)
    assert "and 2800 more line(s) in the attached record" in whole(pdf)
    assert (
        len(json.loads(attached_record(pdf))["content"]["evidence"][7]["reading"]["lines"]) == 3000
    )


@pytest.fixture(autouse=True)
def _pages_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """The hand-made car follows from no entry: that is for ``test_recounting``."""
    monkeypatch.setattr(attached_module, "_recount", lambda *_: ((), ""))


def codes(data: bytes) -> tuple[bool, list[str]]:
    answer = verify_file(data)
    return answer.valid, [p.code for p in answer.problems]


@pytest.mark.usefixtures("helper")
def test_a_pdf_and_its_json_are_verified_alike(issue: Maker) -> None:
    record = issue()
    assert codes(record_pdf(record)) == codes(to_json(record)) == (True, ["record-unsigned"])


def test_a_change_in_the_attached_record_is_seen(issue: Maker) -> None:
    record = issue()
    forged = msgspec.structs.replace(record, content=record.content | {"title": "Another car"})
    assert codes(record_pdf(forged)) == (False, ["record-changed", "record-unsigned"])


def test_pages_of_another_record_around_the_attachment_are_seen(issue: Maker, made: Made) -> None:
    forged = record_module.typeset(draft(issue, made), tell_record(issue()))
    assert "No open gate" in whole(forged)
    assert codes(forged) == (False, ["record-pages", "record-draft", "record-unsigned"])


@pytest.mark.usefixtures("helper")
def test_something_added_behind_the_end_is_seen(issue: Maker) -> None:
    forged = record_pdf(issue()) + b"\n% added after the fact\n"
    assert codes(forged) == (False, ["record-pages", "record-unsigned"])


@pytest.mark.usefixtures("helper")
@settings(max_examples=10, deadline=None)
@given(data=st.data())
def test_a_changed_byte_in_the_pdf_is_seen(issue: Maker, data: st.DataObject) -> None:
    pdf = record_pdf(issue())
    place = data.draw(st.integers(0, len(pdf) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda b: b != pdf[place]))
    valid, found = codes(pdf[:place] + bytes((byte,)) + pdf[place + 1 :])
    assert not valid or "record-pages" in found


@pytest.mark.usefixtures("helper")
@settings(max_examples=10, deadline=None)
@given(data=st.data())
def test_a_pdf_cut_short_is_refused(issue: Maker, data: st.DataObject) -> None:
    pdf = record_pdf(issue())
    valid, found = codes(pdf[: data.draw(st.integers(5, len(pdf) - 1))])
    assert not valid or "record-pages" in found


@pytest.mark.usefixtures("helper")
def test_a_pdf_without_a_record_is_refused(issue: Maker) -> None:
    document = pypdfium2.PdfDocument.new()
    document.new_page(100, 100)
    target = io.BytesIO()
    document.save(target)
    document.close()
    with pytest.raises(InputError, match="carries 0 records"):
        attached_record(target.getvalue())
    assert codes(target.getvalue()) == (False, ["record-unreadable"])


@pytest.mark.usefixtures("helper")
def test_what_only_begins_like_a_pdf_is_refused() -> None:
    assert codes(b"%PDF-1.7 and nothing more") == (False, ["record-unreadable"])


def test_pages_that_cannot_be_set_are_set_with_everything_spelled_out(
    issue: Maker, made: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(printable_module, "spelled", lambda text, _: text)
    text = whole(record_pdf(with_text(issue, made, "\u6f22 car")))
    assert "[U+6F22] car" in text


def test_pages_that_cannot_be_set_at_all_are_a_fault_with_the_case_named(
    issue: Maker, made: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(printable_module, "spelled", lambda text, _: text)
    monkeypatch.setattr(record_module, "ascii_only", lambda value: value)
    with pytest.raises(ModelError, match="could not be set"):
        record_pdf(with_text(issue, made, "\u6f22"))


def test_a_file_too_large_for_a_record_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(attached_module, "LARGEST_BYTES", 10)
    with pytest.raises(InputError, match="too many"):
        attached_record(b"%PDF-1.7 and more")


def test_a_car_of_which_little_is_known_says_so(issue: Maker, made: Made) -> None:
    bare = made["assessment"]()
    event = msgspec.structs.replace(
        bare.event, delta_v_kmh=None, zones={}, causes={"shared-plug:driver": 0.4}
    )
    car = msgspec.structs.replace(made["case"]().car, vin=None, model_year=None, assumed=True)
    record = issue(
        case=made["case"](car=car, region=None, title="", profile=Profile()),
        assessment=msgspec.structs.replace(bare, event=event),
        work=msgspec.structs.replace(made["work"](), profile="unknown"),
    )
    text = whole(record_pdf(record))
    assert "VIN not given" in text
    assert "guessed from the year; nobody stated it" in text
    assert "Change of speed" not in text
    assert text.count("no entry speaks of it") == 4
    assert "Struck nothing that is known" in text
    assert "Shared causes shared plug, driver 40%" in text
    assert "the maker's are not entered: the strictest of every kind of rules" in text
    assert text.startswith("DRAFT own-01 DRAFT: ")


def test_shared_causes_are_told_once_and_apart_from_the_crash_record(
    issue: Maker, made: Made
) -> None:
    told = made["assessment"]()
    causes = {"shared-plug:driver": 0.5, "shared-plug:driver.wheel": 0.5, "crash-record": 0.97}
    event = msgspec.structs.replace(told.event, causes=causes)
    text = whole(record_pdf(issue(assessment=msgspec.structs.replace(told, event=event))))
    assert "Shared causes shared plug, driver wheel 50%" in text
    assert "Crash record in the unit 97%" in text


def test_nothing_is_told_of_a_crash_that_there_likely_was_not(issue: Maker, made: Made) -> None:
    told = made["assessment"]()
    event = msgspec.structs.replace(told.event, no_crash=0.98)
    text = whole(record_pdf(issue(assessment=msgspec.structs.replace(told, event=event))))
    assert "No crash at all 98%" in text
    assert "Change of speed" not in text


def test_a_line_without_a_price_says_so(issue: Maker, made: Made) -> None:
    first, other = priced(made)
    bare = msgspec.structs.replace(first.lines[0], low=None, likely=None, high=None, what="curtain")
    costs = (msgspec.structs.replace(first, lines=(first.lines[0], bare)), other)
    text = whole(record_pdf(issue(costs=costs)))
    assert "labour-hour sure 40.00 50.00 65.00" in text
    assert "curtain sure not priced" in text


def test_amounts_beyond_what_json_numbers_carry_are_printed_whole(issue: Maker, made: Made) -> None:
    huge = Money(minor=10**20 + 1, currency="USD")
    first, other = priced(made)
    line = msgspec.structs.replace(first.lines[0], low=huge, likely=huge, high=huge)
    total = Amount(likely=huge, at_most=huge)
    cost = msgspec.structs.replace(
        first, low=huge, likely=huge, high=huge, lines=(line, line), total=total
    )
    pdf = record_pdf(issue(costs=(cost, other)))
    text = "".join(whole(pdf).split())
    assert "sure1,000,000,000,000,000,000.01" in text
    assert verify_file(pdf).valid


def test_weak_facts_are_listed_with_value_and_range(issue: Maker, made: Made) -> None:
    taken = Assumption(text="Looks settle it.", fact="release.settled-by-eye", source="judgement")
    missing = Assumption(text="Nothing known.", fact="no.such-fact", source="judgement")
    states = made["assessment"](assumptions=(taken, missing))
    text = whole(record_pdf(issue(assessment=states)))
    assert "Looks settle it. (judgement)" in text
    assert "release.settled-by-eye = 0.5, 0.3 to 0.7 (judgement)." in text


def test_findings_about_the_input_are_on_the_pages(issue: Maker, made: Made) -> None:
    finding = Finding(
        code="x",
        severity="warning",
        message="Line 7 is odd.",
        remedy="Look at it.",
        origin=Origin(file="case.toml", line=7),
    )
    text = whole(record_pdf(issue(case=made["case"](findings=(finding,)))))
    assert "warning Line 7 is odd. Look at it. case.toml:7" in text


def test_a_long_list_of_what_is_missing_is_counted(issue: Maker, made: Made) -> None:
    rows = [made["item"](f"step:s{n}", None, "do", done=False, title=f"S{n}") for n in range(30)]
    text = whole(record_pdf(issue(work=made["work"](*rows))))
    assert "Every step of the procedure is done. 30 open" in text
    assert "and 22 more, all in the list of work or the record" in text


def with_new_digest(record: ProofRecord, content: dict[str, Any]) -> ProofRecord:
    """Return a forged record whose digest was computed anew, as a careful forger does."""
    forged = msgspec.structs.replace(record, content=content)
    return seal(forged)


PARTS = ["car", "components", "work", "costs", "event", "evidence"]
ODD = [None, "x", [{}], {"x": 1}]


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("odd", ODD, ids=repr)
def test_a_forged_record_of_another_shape_never_stops_the_check(
    issue: Maker, made: Made, part: str, odd: Any
) -> None:
    record = draft(issue, made)
    forged = with_new_digest(record, record.content | {part: odd})
    valid, found = codes(record_module.typeset(forged, tell_record(record)))
    assert not valid
    assert found[0] in ("record-unreadable", "record-pages")


def test_many_letters_that_no_font_has_become_one_note() -> None:
    told = printable({"a": "\u6f22\u5b57\u6f22\u5b57 car", "b": "\u6f22\u5b57"})
    assert told["a"] == "[4 letters that no font here has, see the attached record] car"
    assert told["b"] == "[U+6F22][U+5B57]"


def test_letters_are_tried_by_blocks_and_not_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[str] = []
    monkeypatch.setattr(printable_module, "_shown", {})
    monkeypatch.setattr(printable_module, "_sets", lambda text, _: bool(tried.append(text)))
    printable({"a": ["".join(map(chr, range(n, n + 600))) for n in range(0x4E00, 0x9F00, 600)]})
    assert len(tried) < 400


def test_a_text_is_cut_before_its_letters_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[str] = []
    monkeypatch.setattr(printable_module, "_shown", {})
    monkeypatch.setattr(printable_module, "_sets", lambda text, _: bool(tried.append(text)) or True)
    printable("x" * 800 + "\u6f22")
    assert tried == []


@pytest.mark.parametrize(
    ("code", "told", "words"),
    [
        (-9, b"", "more memory"),
        (1, b"MemoryError\n", "more memory"),
        (1, b"lib._core._ArrayMemoryError: Unable to allocate 9 MiB\n", "more memory"),
        (1, b"", "nothing of the file"),
    ],
)
def test_a_pdf_whose_helper_ends_without_an_answer_is_refused(
    monkeypatch: pytest.MonkeyPatch, code: int, told: bytes, words: str
) -> None:
    def ended(*_: Any, **__: Any) -> Any:
        return subprocess.CompletedProcess([], code, b"", told)

    monkeypatch.setattr(attached_module, "run_apart", ended)
    with pytest.raises(InputError, match=words):
        attached_record(b"%PDF-1.7 and more")


@pytest.mark.usefixtures("helper")
def test_an_attachment_that_unpacks_without_end_is_not_unpacked() -> None:
    """300 MB of noughts in a PDF of 300 kB: the process that opens it has no room for them."""
    packed = zlib.compress(b"0" * 300_000_000, 9)
    assert len(packed) < 400_000
    pdf = b"".join(
        (
            b"%PDF-1.7\n1 0 obj<</Type/Catalog/Pages 2 0 R/Names<</EmbeddedFiles<</Names",
            b"[(record.json) 4 0 R]>>>>>>endobj\n",
            b"2 0 obj<</Type/Pages/Kids[5 0 R]/Count 1>>endobj\n",
            b"5 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 9 9]>>endobj\n",
            b"3 0 obj<</Length %d/Filter/FlateDecode>>stream\n" % len(packed),
            packed + b"\nendstream endobj\n",
            b"4 0 obj<</Type/Filespec/F(record.json)/EF<</F 3 0 R>>>>endobj\n",
            b"trailer<</Root 1 0 R/Size 6>>\n%%EOF\n",
        )
    )
    with pytest.raises(InputError, match="more memory"):
        attached_record(pdf)


def test_a_pdf_that_takes_too_long_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(attached_module, "run_apart", lambda *_: None)
    answer = verify_file(b"%PDF-1.7 and more")
    assert not answer.valid
    assert "memory or time" in answer.problems[0].message


def test_a_blank_page_with_the_record_attached_is_never_valid(issue: Maker) -> None:
    source = '#set document(title: "x", author: "Squibwise")\n#pdf.attach("record.json", bytes('
    source += 'sys.inputs.record), mime-type: "application/json")'
    record = to_json(issue()).decode()
    blank = typst.compile(source.encode(), format="pdf", sys_inputs={"record": record})
    for forged in (blank, blank.replace(b"Typst", b"Typsu")):
        valid, found = codes(forged)
        assert not valid
        assert "record-pages" in found


def box_page(pdf: bytes) -> int:
    """Return on which page the box stands that says who signed and how to check it."""
    return next(n for n, page in enumerate(pages(pdf), start=1) if "To check it" in page)


def test_without_the_annex_there_are_two_pages_and_the_signature_ends_the_first(
    issue: Maker, made: Made
) -> None:
    for record in (issue(), draft(issue, made)):
        pdf = make_pdf(record)
        assert len(pages(pdf)) == 2
        assert box_page(pdf) == 1
        assert "Parts that were fitted" in pages(pdf)[1]
        assert verify_file(pdf).valid


def test_a_first_page_that_is_a_little_too_long_is_set_smaller(issue: Maker, made: Made) -> None:
    bags = [made["belief"](f"row2-left.seat-bag-{n}", after=made["FIRED"]) for n in range(2, 15)]
    told = tuple(
        Finding(code=f"case-other-{what}", severity="warning", message="what was found of it " * 9)
        for what in ("year", "vin")
    )
    states = made["assessment"](components=tuple(bags))
    pdf = make_pdf(issue(assessment=states, case=made["case"](findings=told)))
    assert (box_page(pdf), len(pages(pdf))) == (1, 2)


def test_a_first_page_that_overflows_leaves_no_page_to_the_signature_alone(
    issue: Maker, made: Made
) -> None:
    of_the_car = (
        "vin-check-digit-elsewhere case-other-year case-other-vin case-component-added "
        "part-not-in-equipment stages-fewer"
    ).split()
    told = tuple(
        Finding(code=c, severity="warning", message="what was found of it " * 30)
        for c in of_the_car
    )
    bags = [made["belief"](f"row2-left.seat-bag-{n}", after=made["FIRED"]) for n in range(2, 22)]
    states = made["assessment"](components=tuple(bags))
    pdf = make_pdf(issue(assessment=states, case=made["case"](findings=told)))
    found = pages(pdf)
    assert box_page(pdf) == 2
    assert "Parts that were fitted" in found[1]
    assert [f"Page {n} of {len(found)}" in page for n, page in enumerate(found, start=1)] == [
        True
    ] * len(found)


def test_the_first_page_says_what_fired_and_was_replaced_and_what_nothing_shows(
    issue: Maker, made: Made
) -> None:
    bag = made["belief"]("driver.front-bag", after=made["FIRED"], s1=made["LIVE"])
    other = made["belief"]("passenger.front-bag", after=made["FIRED"], now=made["FIRED"])
    first = pages(make_pdf(issue(assessment=made["assessment"](components=(bag, other)))))[0]
    assert "driver front airbag fired, replaced" in first
    assert "passenger front airbag fired, NOT replaced" in first
    assert "Fired and not on record as replaced: passenger front airbag." in first
    first = pages(make_pdf(issue()))[0]
    assert "Only stated, shown by no scan" in first
    assert "driver front airbag replaced: R. Own, 2026-03-10" in first
    assert "Used parts that hold an inflator or pretensioner" in first
    assert "the maker's figure 3" in first


def test_the_second_page_tells_where_each_part_comes_from(issue: Maker) -> None:
    second = pages(make_pdf(issue()))[1]
    assert "driver front airbag 9Z-1147-A recycled, yard, donor 0Z9HB5A26KR000999" in second
    assert "2.10 ohm lies within 1.5 to 3.5 ohm" in second
    assert "scan-9: complete, its tests have run, and it names no fault." in second


@pytest.mark.parametrize("reader", ["inspector", "insurer", "buyer"])
def test_each_reader_has_one_page_of_answers(issue: Maker, reader: Any) -> None:
    pdf = make_pdf(issue(), reader)
    (page,) = pages(pdf)
    asked = [q for q in CATALOG.questions.values() if reader in q.readers]
    assert len(asked) >= 6
    assert all(q.text in page for q in asked)
    assert "Who answers for this record? R. Own, 2026-03-10 (stated, not shown)" in page
    assert "Not answered." in page
    assert verify_file(pdf).valid


def test_a_buyers_copy_holds_no_crash_data_on_paper_or_inside(issue: Maker, made: Made) -> None:
    row = Recorder(id="edr", record="stored", delta_v_long_kmh=-31.7)
    case = made["case"](evidence=(row, *made["evidence"]()))
    copy = withhold(issue(case=case, costs=priced(made)))
    pdf = make_pdf(copy, "annex")
    assert verify_file(pdf).valid
    text = whole(pdf) + attached_record(pdf).decode()
    assert "31.7" not in text
    assert "delta_v_kmh" not in text
    assert "This copy leaves out crash data" in whole(pdf)


KEY = bytes(range(32))


@pytest.mark.parametrize(
    ("made_by", "told"),
    [
        ("0.7.0", (True, "another version made them", ["record-pages-signed"])),
        (
            "0.8.0 ",
            (True, "another version made them", ["record-version-unknown", "record-pages-signed"]),
        ),
        (__version__, (False, "", ["record-pages"])),
    ],
)
def test_pages_that_their_key_signed_and_this_version_does_not_make(
    issue: Maker,
    monkeypatch: pytest.MonkeyPatch,
    made_by: str,
    told: tuple[bool, str, list[str]],
) -> None:
    record = sign(seal(msgspec.structs.replace(issue(), made_by=made_by), b"salt"), KEY, "R. Own")
    assert record.signature is not None
    signed = make_pdf(record, "record", key=KEY)
    mine = (KnownKey(public_key=record.signature.public_key, name="R. Own", since="2026-01-01"),)
    assert "record-pages" not in [p.code for p in verify_file_with(signed, CATALOG, mine).problems]
    real = attached_module._apart
    monkeypatch.setattr(
        attached_module,
        "_apart",
        lambda what, *more: b"other pages" if what == "pages" else real(what, *more),
    )
    answer = verify_file_with(signed, CATALOG, mine)
    assert (answer.valid, answer.unchecked, [p.code for p in answer.problems]) == told
    assert not verify_file_with(signed, CATALOG).valid  # signed by whom nobody knows
    forged = signed.replace(b"Squibwise", b"Squibwisf")
    assert not verify_file_with(forged, CATALOG, mine).valid


def test_a_signature_over_the_pages_that_is_rubbish_is_seen(issue: Maker) -> None:
    record = sign(issue(), KEY, "R. Own")
    signed = make_pdf(record, "record", key=KEY)
    _, _, value = without_signature(signed)
    other = base64.b64encode(bytes(range(64))).decode()
    answer = verify_file(signed.replace(value.encode(), other.encode()))
    assert (answer.valid, answer.problems[0].code) == (False, "record-pages")


def test_another_form_written_into_the_file_is_seen(issue: Maker) -> None:
    forged = make_pdf(issue()).replace(b"squibwise-pages record", b"squibwise-pages annexx")
    assert not verify_file(forged).valid


def png(width: int, height: int) -> bytes:
    rows = b"".join(b"\0" + bytes((90, 60, 30)) * width for _ in range(height))

    def chunk(kind: bytes, data: bytes) -> bytes:
        check = zlib.crc32(kind + data)
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", check)

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + parts


def with_photo(issue: Maker, made: Made, data: bytes) -> ProofRecord:
    name = "evidence/bag.png"
    photo = Photo(id="p", file=name, component="driver.front-bag", note="as fitted", by="R. Own")
    files = {"evidence/scan-after.txt": "ab" * 32, name: hashlib.sha256(data).hexdigest()}
    return issue(case=made["case"](evidence=(photo, *made["evidence"]()), files=files))


@pytest.mark.usefixtures("helper")
def test_photographs_are_printed_attached_and_checked(issue: Maker, made: Made) -> None:
    data = png(40, 30)
    record = with_photo(issue, made, data)
    pdf = make_pdf(record, "record", {"evidence/bag.png": data})
    assert "1: driver front airbag, as fitted, R. Own" in whole(pdf)
    assert "1 photograph in it." in pages(pdf)[0]
    document = pypdfium2.PdfDocument(pdf)
    names = [document.get_attachment(n).get_name() for n in range(document.count_attachments())]
    document.close()
    assert sorted(names) == ["photo-1.png", "record.json"]
    assert verify_file(pdf).valid
    other = {"evidence/bag.png": png(41, 30)}
    assert b"photo-1.png" not in make_pdf(record, "record", other)
    forged = record_module.typeset(record, tell_record(record), "record", other)
    assert not verify_file(forged).valid


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x89PNG\r\n\x1a\n" + bytes(40),
        b"\xff\xd8\xff\xe0\x00\x10JFIF",
        png(40, 30)[:-30],
        b"\x89PNG\r\n\x1a\n" + struct.pack(">I4sII", 13, b"IHDR", 60_000, 60_000) + bytes(20),
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
    ],
)
def test_a_picture_that_cannot_be_printed_is_named_and_left_out(
    issue: Maker, made: Made, data: bytes
) -> None:
    pdf = make_pdf(with_photo(issue, made, data), "record", {"evidence/bag.png": data})
    assert "1: driver front airbag, as fitted" in whole(pdf)
    assert verify_file(pdf).valid


# Source: ISO/IEC 15948 and ISO/IEC 10918-1 (from memory); the JPEG header is hand-made.
def test_the_size_of_a_picture_stands_in_its_header() -> None:
    assert record_module.count_pixels(png(40, 30)) == 1200
    head = b"\xff\xd8\xff\xe0\x00\x04ab\xff\xc0\x00\x0b\x08\x00\x1e\x00\x28\x01" + bytes(9)
    assert record_module.count_pixels(head) == 1200
    assert record_module.count_pixels(b"GIF89a") == 0
