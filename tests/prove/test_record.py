"""The record states everything, and any change to it is seen."""

import hashlib
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise import __version__
from squibwise.catalog.load import load_catalog
from squibwise.catalog.texts import hash_words
from squibwise.model.evidence import Recorder
from squibwise.model.proof import ProofRecord, Signature, Verification
from squibwise.prove import SCHEMA
from squibwise.prove import verify as verify_with
from squibwise.prove.recording import KEYS, to_json
from squibwise.prove.sealing import (
    OUTSIDE_DIGEST,
    canonical,
    head_of,
    leaf_hash,
    seal,
    tree_head,
    withhold,
)
from squibwise.prove.sealing import parts as sealed_parts
from squibwise.prove.verifying import VERSIONS, read_record

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


def test_the_digest_is_the_head_of_a_tree_over_the_parts(issue: Maker) -> None:
    # Source: FIPS 180-4 by hashlib, RFC 8785 by rfc8785, RFC 6962 section 2.1; put together here
    # independently, level by level instead of by halves.
    value = json.loads(to_json(issue()))
    parts = {k: v for k, v in value.items() if k not in OUTSIDE_DIGEST and k != "content"}
    for key, one in value["content"].items():
        if key in ("components", "evidence"):
            parts |= {f"content/{key}/{n}": x for n, x in enumerate(one)}
            one = len(one)
        parts[f"content/{key}"] = one
    level = []
    for name in sorted(parts):
        leaf = {"part": name, "salt": value["salts"][name], "value": parts[name]}
        level.append(hashlib.sha256(b"\0" + rfc8785.dumps(leaf)).digest())
    while len(level) > 1:
        pairs = [level[n : n + 2] for n in range(0, len(level), 2)]
        level = [hashlib.sha256(b"\1" + b"".join(p)).digest() if p[1:] else p[0] for p in pairs]
    assert level[0].hex() == value["digest"]


# Source: reference implementation of RFC 6962 (open transparency-log library): eight leaves and
# the heads of the trees over the first none, one ... eight of them.
LEAVES = ["", "00", "10", "2021", "3031", "40414243", "5051525354555657"]
LEAVES.append("606162636465666768696a6b6c6d6e6f")
WHOLE = "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"
HEADS = [
    "e3b0c442",
    "6e340b9c",
    "fac54203",
    "aeb6bcfe",
    "d37ee418",
    "4e3bbb1f",
    "76e67dad",
    "ddb89be4",
]


def test_heads_of_trees_are_the_published_ones() -> None:
    hashes = [leaf_hash(bytes.fromhex(leaf)) for leaf in LEAVES]
    found = [tree_head(hashes[:n]).hex() for n in range(9)]
    assert [h[:8] for h in found[:8]] == HEADS
    assert found[8] == WHOLE


# Source: the same library: one leaf, and one node over two leaves.
def test_a_leaf_and_a_node_are_hashed_as_published() -> None:
    leaf = "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"
    assert leaf_hash(b"L123456").hex() == leaf
    node = "aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb"
    assert hashlib.sha256(b"\x01N123N456").hexdigest() == node
    assert tree_head([b"N123", b"N456"]).hex() == node


def with_recorder(made: Made) -> Any:
    row = Recorder(id="edr", record="stored", delta_v_long_kmh=-31.7, driver_belt="latched")
    return made["case"](evidence=(row, *made["evidence"]()))


def test_a_copy_without_crash_data_and_prices_verifies_by_the_same_digest(
    issue: Maker, made: Made
) -> None:
    record = seal(issue(case=with_recorder(made), costs=made["costs"]()), b"secret")
    copy = withhold(record)
    assert copy.digest == record.digest
    text = to_json(copy).decode()
    assert "31.7" in to_json(record).decode()
    assert not any(word in text for word in ("31.7", "labour-hour", "delta_v_kmh", '"minor"'))
    answer = verify(to_json(copy))
    assert answer.valid
    assert {"content/costs", "content/event", "content/evidence/0"} <= set(answer.withheld)


def test_what_is_left_out_cannot_be_guessed_without_the_salt(issue: Maker, made: Made) -> None:
    first, other = (
        withhold(seal(issue(case=with_recorder(made)), secret)).withheld for secret in (b"a", b"b")
    )
    assert first.keys() == other.keys()
    assert all(first[name] != other[name] for name in first)


@pytest.mark.parametrize(
    "name", ["content/contradictions", "content/evidence/3", "gates", "content/verdicts", "x"]
)
def test_nothing_else_can_be_left_out(issue: Maker, name: str) -> None:
    record = issue()
    value = json.loads(to_json(record))
    *way, last = name.split("/")
    inner = value
    for key in way:
        inner = inner[int(key) if isinstance(inner, list) else key]
    inner[int(last) if isinstance(inner, list) else last] = None
    salt = value["salts"].pop(name, "00")
    leaf = {"part": name, "salt": salt, "value": parts_of(record).get(name)}
    value["withheld"][name] = leaf_hash(canonical(leaf)).hex()
    assert verify(json.dumps(value).encode()).valid is False


@pytest.mark.parametrize(
    "name", ["content/verdicts", "content/parts", "content/evidence/3", "content/evidence/x", "y"]
)
def test_who_writes_a_record_cannot_have_more_left_out(issue: Maker, made: Made, name: str) -> None:
    record = issue(case=with_recorder(made))
    wider = msgspec.structs.replace(record, may_withhold=(*record.may_withhold, name))
    valid, found = codes(to_json(seal(wider)))
    assert (valid, "record-withholds" in found) == (False, True)
    assert codes(to_json(seal(record)))[0]


def parts_of(record: ProofRecord) -> dict[str, Any]:
    return sealed_parts(msgspec.to_builtins(record))


def test_a_copy_that_puts_something_else_in_is_seen(issue: Maker, made: Made) -> None:
    copy = withhold(issue(case=with_recorder(made), costs=made["costs"]()))
    content = copy.content | {"costs": []}
    assert not verify(to_json(msgspec.structs.replace(copy, content=content))).valid


@pytest.mark.parametrize("odd", ["upper", "blank", "joined"])
def test_the_hash_of_what_is_left_out_is_64_small_digits(
    issue: Maker, made: Made, odd: str
) -> None:
    """The bytes would be the same in each; what stands in the file was changed all the same."""
    value = json.loads(to_json(withhold(issue(case=with_recorder(made), costs=made["costs"]()))))
    held: dict[str, str] = value["withheld"]
    first, second = sorted(held)[:2]
    held |= {
        "upper": {name: digest.upper() for name, digest in held.items()},
        "blank": {first: f" {held[first]}"},
        "joined": {first: held[first] + held[second], second: ""},
    }[odd]
    valid, found = codes(json.dumps(value).encode())
    assert (valid, "record-changed" in found) == (False, True)


@pytest.mark.parametrize("key", ["time_stamp", "note"])
def test_nothing_can_be_added_beside_what_is_sealed(issue: Maker, key: str) -> None:
    value = json.loads(to_json(issue())) | {key: "2019-01-01 by an authority"}
    assert codes(json.dumps(value).encode()) == (False, ["record-unreadable"])


@pytest.mark.parametrize("place", ["case_id", "made_by", "issued_on", "digest"])
def test_half_a_character_is_no_text(issue: Maker, place: str) -> None:
    value = json.loads(to_json(issue())) | {place: "\ud800"}
    assert codes(json.dumps(value).encode()) == (False, ["record-unreadable"])


def test_one_key_twice_among_very_many_is_told() -> None:
    keys = ",".join(f'"k{n}":0' for n in range(60_000))
    answer = verify(f'{{{keys},"zz":1,"zz":2}}'.encode())
    assert "'zz' stands twice" in answer.problems[0].message


def test_words_of_an_earlier_version_stay_valid(issue: Maker, monkeypatch: Any) -> None:
    data, earlier = to_json(issue()), CATALOG.words
    today = msgspec.structs.replace(earlier, gates=(("input-clean", "00" * 32),))
    monkeypatch.setitem(CATALOG.__dict__, "word_sets", (today, earlier))
    assert verify(data).valid
    monkeypatch.setitem(CATALOG.__dict__, "word_sets", (today,))
    assert "record-words" in codes(data)[1]


def test_a_record_of_the_second_layout_is_still_checked(issue: Maker) -> None:
    value = json.loads(to_json(issue()))
    kept = {s.name: s for s in CATALOG.word_sets}["squibwise-record-2"]
    value["schema"] = "squibwise-record-2"
    for key in ("made_by", "may_withhold", "salts", "withheld"):
        del value[key]
    for key in ("reasons", "parts", "answers", "photos"):
        del value["content"][key]
    papers = [p for p in value["content"]["papers"] if p["id"] in kept.papers]
    value["content"]["papers"] = papers
    sealed = {k: v for k, v in value.items() if k not in ("digest", "signature")}
    value["digest"] = hashlib.sha256(canonical(sealed)).hexdigest()
    known = {h for _, h in (*kept.gates, *kept.texts)}
    said = [g["text"] for g in value["gates"]] + value["content"]["texts"]["limits"]
    same = all(hash_words(text) in known for text in said)
    assert verify(json.dumps(value).encode()).valid is same
    value["content"]["title"] = "Another car"
    assert "record-changed" in codes(json.dumps(value).encode())[1]


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
    assert content["reasons"]["driver.front-bag"][0]["weak"] == "judgement"
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


@pytest.fixture(scope="module")
def whole(issue: Maker, made: Made) -> bytes:
    return to_json(issue(costs=made["costs"]()))


@settings(max_examples=120, deadline=None)
@given(data=st.data())
def test_any_single_changed_value_is_seen(whole: bytes, data: st.DataObject) -> None:
    value = json.loads(whole)
    leaves = [p for p in paths(value) if p[0] != "signature"]
    path = data.draw(st.sampled_from(leaves))
    new = data.draw(other)
    forged = changed(value, path, new)
    if canonical(forged) == canonical(value):
        return
    assert verify(json.dumps(forged).encode()).valid is False


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_any_single_changed_byte_is_seen(whole: bytes, data: st.DataObject) -> None:
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
def test_a_record_cut_short_is_refused(whole: bytes, data: st.DataObject) -> None:
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
    value["digest"] = head_of(value)
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


@pytest.mark.parametrize("place", ["gate", "footer", "question", "limit", "caution"])
def test_broken_text_among_the_fixed_words_is_no_fault_of_the_program(
    issue: Maker, place: str
) -> None:
    value = json.loads(to_json(issue()))
    content, broken = value["content"], "\ud800"
    if place == "gate":
        value["gates"][0]["text"] = broken
    elif place == "question":
        content["answers"][0]["question"] = broken
    elif place == "limit":
        content["texts"]["limits"][0] = broken
    elif place == "caution":
        content["work"]["items"][0]["cautions"][0]["text"] = broken
    else:
        content["texts"]["footer"] = broken
    valid, found = codes(json.dumps(value).encode())
    assert not valid
    assert found == ["record-unreadable"]


def test_every_version_that_was_is_known_to_verify() -> None:
    """Also without an engine for JavaScript, which the tests of the page for the browser need."""
    changes = (Path(__file__).parents[2] / "CHANGES.md").read_text(encoding="utf-8")
    assert set(re.findall(r"^## (\d\S+),", changes, re.MULTILINE)) == {*VERSIONS} - {""}
    assert __version__ in VERSIONS
