"""The record states everything, and any change to it is seen."""

import hashlib
import json
from collections.abc import Callable
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.catalog.load import load_catalog
from squibwise.model.proof import ProofRecord, Signature, Verification
from squibwise.prove import SCHEMA
from squibwise.prove import verify as verify_with
from squibwise.prove.recording import KEYS, to_json
from squibwise.prove.sealing import canonical
from squibwise.prove.verifying import read_record

Maker = Callable[..., ProofRecord]
Made = dict[str, Any]


CATALOG = load_catalog()


def verify(data: bytes) -> Verification:
    return verify_with(data, CATALOG)


def codes(data: bytes) -> tuple[bool, list[str]]:
    answer = verify(data)
    return answer.valid, [p.code for p in answer.problems]


def test_a_finished_car_gives_a_record_that_is_no_draft(issue: Maker) -> None:
    made = issue()
    assert not made.draft
    assert made.issued_on == "2026-03-20"
    assert made.schema == SCHEMA
    assert codes(to_json(made)) == (True, ["record-unsigned"])


def test_an_open_gate_makes_a_draft(issue: Maker, made: Made) -> None:
    item = made["item"]("left.curtain:replace", "left.curtain", "replace", done=False)
    draft = issue(work=made["work"](item))
    assert draft.draft
    valid, found = codes(to_json(draft))
    assert valid
    assert found == ["record-draft", "record-unsigned"]
    assert "replacements" in verify(to_json(draft)).problems[0].message


def test_the_digest_is_sha_256_over_the_canonical_rest(issue: Maker) -> None:
    # Source: FIPS 180-4 by hashlib, RFC 8785 by rfc8785; put together here independently.
    value = json.loads(to_json(issue()))
    claimed = value.pop("digest")
    value.pop("signature")
    assert hashlib.sha256(canonical(value)).hexdigest() == claimed


def test_the_same_inputs_give_the_same_bytes(issue: Maker) -> None:
    assert to_json(issue()) == to_json(issue())


def test_a_record_reads_back_as_it_was(issue: Maker, made: Made) -> None:
    record = issue(costs=made["costs"]())
    assert to_json(read_record(to_json(record))) == to_json(record)


def test_the_buyers_copy_has_no_price(issue: Maker, made: Made) -> None:
    assert issue().content["costs"] is None
    assert "labour-hour" not in to_json(issue()).decode()
    assert len(issue(costs=made["costs"]()).content["costs"]) == 2


def test_the_record_states_components_work_evidence_and_limits(issue: Maker) -> None:
    content = issue().content
    front = next(c for c in content["components"] if c["id"] == "driver.front-bag")
    assert front["title"] == "driver front airbag"
    assert front["after_crash"]["fired"] == 0.99
    assert front["because"][0]["weak"] == "judgement"
    assert [i["done"] for i in content["work"]["items"]] == [True, True, True]
    assert len(content["evidence"]) == 11
    assert len(content["texts"]["limits"]) >= 5
    assert "safe" not in content["texts"]["footer"].split()


def test_readings_are_decimal_text_with_unit_and_uncertainty(issue: Maker) -> None:
    reading = issue().content["evidence"][0]
    assert (reading["value"], reading["u"], reading["unit"]) == ("2.1", "0.05", "ohm")


def test_files_are_named_with_their_hash(issue: Maker) -> None:
    assert issue().attachments == {"evidence/scan-after.txt": "ab" * 32}


def test_cited_sources_and_weak_reasons_are_listed_by_name(issue: Maker) -> None:
    content = issue().content
    named = {s["id"] for s in content["sources"]}
    assert {"judgement", "replacement-letters", "papers-asked-for"} <= named
    assert "phase-in-dates" not in named
    assert {"id": "open circuit on stage 1", "basis": "judgement"} in content["weak"]


def test_a_silent_second_charge_of_a_fired_device_is_listed_as_live(
    issue: Maker, made: Made
) -> None:
    bag = made["belief"](
        "driver.front-bag",
        now=made["FIRED"],
        after=made["FIRED"],
        s1=made["SPENT"],
        s2=made["SILENT"],
    )
    states = made["assessment"](components=(bag,))
    (row,) = issue(assessment=states).content["live_charges"]
    assert (row["stages"], row["looks_spent"]) == (["2"], True)


def test_a_whole_device_is_listed_as_live_too(issue: Maker) -> None:
    rows = {r["component"]: r["looks_spent"] for r in issue().content["live_charges"]}
    assert rows["passenger.front-bag"] is False


def paths(value: Any, here: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the path of every leaf of a JSON value."""
    if isinstance(value, dict):
        return [p for k, v in value.items() for p in paths(v, (*here, k))] or [here]
    if isinstance(value, list):
        return [p for k, v in enumerate(value) for p in paths(v, (*here, k))] or [here]
    return [here]


def changed(value: Any, path: tuple[Any, ...], new: Any) -> Any:
    copy = json.loads(json.dumps(value))
    inner = copy
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = new
    return copy


other = st.none() | st.booleans() | st.integers(-5, 5) | st.text(max_size=4) | st.floats(0, 1)


@settings(max_examples=120, deadline=None)
@given(data=st.data())
def test_any_single_changed_value_is_seen(issue: Maker, made: Made, data: st.DataObject) -> None:
    value = json.loads(to_json(issue(costs=made["costs"]())))
    leaves = [p for p in paths(value) if p[0] != "signature"]
    path = data.draw(st.sampled_from(leaves))
    new = data.draw(other)
    forged = changed(value, path, new)
    if canonical(forged) == canonical(value):
        return
    assert verify(json.dumps(forged).encode()).valid is False


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_any_single_changed_byte_is_seen(issue: Maker, data: st.DataObject) -> None:
    whole = to_json(issue())
    place = data.draw(st.integers(0, len(whole) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda b: b != whole[place]))
    forged = whole[:place] + bytes((byte,)) + whole[place + 1 :]
    try:
        same = json.loads(forged) == json.loads(whole)
    except ValueError:
        same = False
    assert same or verify(forged).valid is False


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_record_cut_short_is_refused(issue: Maker, data: st.DataObject) -> None:
    whole = to_json(issue())
    end = data.draw(st.integers(0, len(whole) - 1))
    assert codes(whole[:end]) == (False, ["record-unreadable"])


def test_a_key_added_to_the_content_is_seen(issue: Maker) -> None:
    value = json.loads(to_json(issue()))
    value["content"]["extra"] = "all is well"
    assert codes(json.dumps(value).encode()) == (False, ["record-unreadable"])


def test_the_keys_of_the_content_are_the_ones_that_are_asked_for(issue: Maker) -> None:
    assert set(issue().content) == KEYS


def test_an_added_value_is_seen(issue: Maker) -> None:
    value = json.loads(to_json(issue()))
    value["content"]["car"]["extra"] = "all is well"
    assert codes(json.dumps(value).encode()) == (False, ["record-changed", "record-unsigned"])


def test_another_order_of_keys_and_white_space_is_no_change(issue: Maker) -> None:
    value = json.loads(to_json(issue()))
    turned = json.dumps(dict(reversed(value.items())), indent=2).encode()
    assert verify(turned).valid


def test_a_gate_closed_by_hand_is_seen_even_with_a_new_digest(issue: Maker, made: Made) -> None:
    item = made["item"]("left.curtain:replace", "left.curtain", "replace", done=False)
    value = json.loads(to_json(issue(work=made["work"](item))))
    value["draft"] = False
    sealed = {k: v for k, v in value.items() if k not in ("digest", "signature")}
    value["digest"] = hashlib.sha256(canonical(sealed)).hexdigest()
    assert codes(json.dumps(value).encode()) == (False, ["record-inconsistent", "record-unsigned"])


def test_a_key_that_stands_twice_is_refused(issue: Maker) -> None:
    text = to_json(issue()).decode().replace('"draft":false', '"draft":true,"draft":false')
    answer = verify(text.encode())
    assert not answer.valid
    assert "'draft' stands twice" in answer.problems[0].message


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "not JSON at line 1"),
        (b"\xff\xfe{}", "byte 0 is not UTF-8"),
        (b"[1, 2]", "not a record"),
        (b'{"a": NaN}', "NaN is not a number"),
        (b"[" * 100_000, "not a record"),
        (b'{"a": ' + b"9" * 5000 + b"}", "not a record"),
        (b"{}", "missing required field"),
        (b"%PDF-1.7", "not JSON"),
    ],
)
def test_what_is_no_record_is_refused_with_a_reason(data: bytes, says: str) -> None:
    answer = verify(data)
    assert not answer.valid
    assert says in answer.problems[0].message
    assert answer.problems[0].remedy


def test_another_layout_is_refused(issue: Maker) -> None:
    data = to_json(msgspec.structs.replace(issue(), schema="squibwise-record-99"))
    assert "layout 'squibwise-record-99'" in verify(data).problems[0].message


@pytest.mark.parametrize("day", ["soon", "2026-02-30", "20260320", ""])
def test_a_day_of_issue_that_is_none_is_refused(issue: Maker, day: str) -> None:
    data = to_json(msgspec.structs.replace(issue(), issued_on=day))
    assert codes(data) == (False, ["record-unreadable"])
    assert "is not a day of issue" in verify(data).problems[0].message


def test_a_made_up_signature_is_wrong(issue: Maker) -> None:
    signature = Signature(by="R. Own", scheme="Ed25519", public_key="AA==", value="AA==")
    data = to_json(msgspec.structs.replace(issue(), signature=signature))
    assert codes(data) == (False, ["record-signature-wrong"])


nasty = st.text(st.characters(), max_size=20)


@settings(max_examples=40, deadline=None)
@given(nasty, st.floats(allow_nan=False))
def test_whatever_a_person_writes_can_be_recorded(
    issue: Maker, made: Made, text: str, value: float
) -> None:
    first, *rest = made["evidence"]()
    odd = msgspec.structs.replace(first, value=value, method=text, unit=text)
    case = made["case"](title=text, evidence=(odd, *rest), files={text or "f": "00"})
    assert verify(to_json(issue(case=case))).valid
