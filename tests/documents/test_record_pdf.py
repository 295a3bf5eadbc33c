"""The pages say what the record says, whatever people wrote, and carry the record."""

import io
import json
import subprocess
from collections.abc import Callable
from typing import Any

import msgspec
import pypdfium2
import pytest
import typst
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.catalog.load import load_catalog
from squibwise.documents import attached as attached_module
from squibwise.documents import attached_record, record_pdf
from squibwise.documents import printable as printable_module
from squibwise.documents import record as record_module
from squibwise.documents import verify_file as verify_file_with
from squibwise.documents.printable import printable
from squibwise.errors import InputError, ModelError
from squibwise.model.belief import Assumption
from squibwise.model.car import Profile
from squibwise.model.cost import Amount, Money
from squibwise.model.evidence import Passed
from squibwise.model.origin import Finding, Origin
from squibwise.model.proof import ProofRecord, Signature, Verification
from squibwise.model.report import CodeLine, Coverage, ReadReport, Unread
from squibwise.present.tell_record import tell_record
from squibwise.prove.recording import sealed_part, to_json
from squibwise.prove.sealing import digest, plain

Maker = Callable[..., ProofRecord]
Made = dict[str, Any]


CATALOG = load_catalog()


def verify_file(data: bytes) -> Verification:
    return verify_file_with(data, CATALOG)


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
    assert record_pdf(draft(issue, made)) == record_pdf(draft(issue, made))


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
    assert "Answers for it: R. Own, 2026-03-10 15:00." in text
    assert "Procedure followed: own manual, R. Own." in text
    assert "Torn and whole. Look again. Explained: another car, R. Own." in text


def test_a_signed_record_names_who_signed(issue: Maker) -> None:
    signature = Signature(by="R. Own", scheme="Ed25519", public_key="AA==", value="AA==")
    assert "Signed by R. Own" in whole(
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
    assert "Handle as live: • driver front airbag: stage 2" in first
    assert first.index("Handle as live") < first.index("The car")


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
    assert "passenger front airbag sound 60%, fired 30%" in first
    assert "Look along the seam of the panel." in first


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
    assert "the rules that are followed 320.00 50.00 ? 370.00 740.00 30 min" in text
    assert "belt-counter 320.00" in text
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


def with_text(issue: Maker, made: Made, text: str) -> ProofRecord:
    """Return a record with one text in every place where a person or a file can put text."""
    first, *rest = made["evidence"]()
    odd = msgspec.structs.replace(
        first,
        method=text,
        unit=text,
        where=text,
        origin=Origin(file=text, line=1, raw=text, person=text),
    )
    scan = next(e for e in rest if e.id == "scan-9")
    lines = (CodeLine(line=1, raw=text),)
    reading = ReadReport(
        lines=lines, unread=(Unread(line=2, raw=text),), coverage=Coverage(complete=True)
    )
    rest[rest.index(scan)] = msgspec.structs.replace(scan, reading=reading)
    case = made["case"](id=text, title=text, evidence=(odd, *rest), files={text: text})
    item = made["item"](
        "left.curtain:replace",
        "left.curtain",
        "replace",
        done=False,
        title=text,
        passes_when=text,
    )
    return issue(case=case, work=made["work"](item), costs=made["costs"]())


@pytest.mark.parametrize("text", NASTY, ids=range(len(NASTY)))
def test_nothing_a_person_wrote_breaks_the_pages_or_the_record(
    issue: Maker, made: Made, text: str
) -> None:
    record = with_text(issue, made, text)
    pdf = record_pdf(record)
    assert attached_record(pdf) == to_json(record)
    assert verify_file(pdf).valid
    shown = "".join(pages(pdf)).replace(" ", "").replace("\u200b", "")
    expected = "".join(printable(plain(text)).split()).replace("\u200b", "")
    if expected.isascii():
        assert expected[:60] in shown


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


def codes(data: bytes) -> tuple[bool, list[str]]:
    answer = verify_file(data)
    return answer.valid, [p.code for p in answer.problems]


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


def test_something_added_behind_the_end_is_seen(issue: Maker) -> None:
    forged = record_pdf(issue()) + b"\n% added after the fact\n"
    assert codes(forged) == (False, ["record-pages", "record-unsigned"])


@settings(max_examples=10, deadline=None)
@given(data=st.data())
def test_a_changed_byte_in_the_pdf_is_seen(issue: Maker, data: st.DataObject) -> None:
    pdf = record_pdf(issue())
    place = data.draw(st.integers(0, len(pdf) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda b: b != pdf[place]))
    valid, found = codes(pdf[:place] + bytes((byte,)) + pdf[place + 1 :])
    assert not valid or "record-pages" in found


@settings(max_examples=10, deadline=None)
@given(data=st.data())
def test_a_pdf_cut_short_is_refused(issue: Maker, data: st.DataObject) -> None:
    pdf = record_pdf(issue())
    valid, found = codes(pdf[: data.draw(st.integers(5, len(pdf) - 1))])
    assert not valid or "record-pages" in found


def test_a_pdf_without_a_record_is_refused(issue: Maker) -> None:
    document = pypdfium2.PdfDocument.new()
    document.new_page(100, 100)
    target = io.BytesIO()
    document.save(target)
    document.close()
    with pytest.raises(InputError, match="carries 0 records"):
        attached_record(target.getvalue())
    assert codes(target.getvalue()) == (False, ["record-unreadable"])


def test_what_only_begins_like_a_pdf_is_refused() -> None:
    assert codes(b"%PDF-1.7 and nothing more") == (False, ["record-unreadable"])


def test_pages_that_cannot_be_set_are_set_with_everything_spelled_out(
    issue: Maker, made: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(printable_module, "spelled", lambda text: text)
    text = whole(record_pdf(with_text(issue, made, "\u6f22 car")))
    assert "[U+6F22] car" in text


def test_pages_that_cannot_be_set_at_all_are_a_fault_with_the_case_named(
    issue: Maker, made: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(printable_module, "spelled", lambda text: text)
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
    assert "Change of speed no crash, or not known" in text
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
    return msgspec.structs.replace(forged, digest=digest(sealed_part(forged)))


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
    monkeypatch.setattr(printable_module, "_sets", lambda text: bool(tried.append(text)))
    printable({"a": ["".join(map(chr, range(n, n + 600))) for n in range(0x4E00, 0x9F00, 600)]})
    assert len(tried) < 400


def test_a_text_is_cut_before_its_letters_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[str] = []
    monkeypatch.setattr(printable_module, "_shown", {})
    monkeypatch.setattr(printable_module, "_sets", lambda text: bool(tried.append(text)) or True)
    printable("x" * 800 + "\u6f22")
    assert tried == []


@pytest.mark.parametrize("code", [1, -9])
def test_a_pdf_that_exhausts_its_helper_is_refused(
    issue: Maker, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    def ended(*_: Any, **__: Any) -> Any:
        return subprocess.CompletedProcess([], code, b"", b"")

    monkeypatch.setattr(attached_module.subprocess, "run", ended)
    with pytest.raises(InputError, match="more memory"):
        attached_record(b"%PDF-1.7 and more")


def test_a_pdf_that_takes_too_long_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    def slow(*_: Any, **__: Any) -> Any:
        raise subprocess.TimeoutExpired([], 1)

    monkeypatch.setattr(attached_module.subprocess, "run", slow)
    answer = verify_file(b"%PDF-1.7 and more")
    assert not answer.valid
    assert "more time" in answer.problems[0].message


def test_a_blank_page_with_the_record_attached_is_never_valid(issue: Maker) -> None:
    source = '#set document(title: "x", author: "Squibwise")\n#pdf.attach("record.json", bytes('
    source += 'sys.inputs.record), mime-type: "application/json")'
    record = to_json(issue()).decode()
    blank = typst.compile(source.encode(), format="pdf", sys_inputs={"record": record})
    for forged in (blank, blank.replace(b"Typst", b"Typsu")):
        valid, found = codes(forged)
        assert not valid
        assert "record-pages" in found
