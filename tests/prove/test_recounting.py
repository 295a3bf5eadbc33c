"""A record that says otherwise than its own entries give is not valid, whoever signed it."""

import datetime as dt
import importlib.util
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from squibwise import __version__
from squibwise import case as line
from squibwise.catalog.load import Catalog
from squibwise.documents import verify_file
from squibwise.errors import InputError
from squibwise.model.belief import Assumption
from squibwise.model.case import Case, Experience
from squibwise.model.proof import KnownKey, ProofRecord
from squibwise.present.tell_checks import tell_verification
from squibwise.prove import list_contradictions, stated_shifts
from squibwise.prove.recording import to_json
from squibwise.prove.sealing import seal, sign, withhold
from squibwise.prove.verifying import read_record

_PLACE = Path(__file__).parent / "test_finished_car.py"
_SPEC = importlib.util.spec_from_file_location("finished_car", _PLACE)
assert _SPEC is not None
assert _SPEC.loader is not None
_CAR: Any = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_CAR)

BAG, KEY = "driver.front-bag", bytes(range(1, 33))
Json = dict[str, Any]


def made_of(case: Case, catalog: Catalog, own: Experience = line.NO_EXPERIENCE) -> ProofRecord:
    day = dt.date(2026, 11, 25)
    return read_record(to_json(line.release(case, catalog, day, own, __version__)))


@pytest.fixture(scope="module")
def car(catalog: Catalog) -> Case:
    """A car with a bag that fired and was replaced, a reading, and most else still open."""
    seen = [
        {"kind": "look", "component": BAG, "seen": "deployed", "time": _at(8)},
        {"kind": "done", "what": "replaced", "component": BAG, "by": "R. Own", "time": _at(9)},
        {
            "kind": "part-label",
            "component": BAG,
            "number": "9Z-1147",
            "serial": "S-77120",
            "provenance": "new",
            "seller": "Alder",
        },
        {
            "kind": "reading",
            "component": f"{BAG}/1",
            "quantity": "loop-resistance",
            "value": 2.1,
            "unit": "ohm",
            "method": "scan-live-value",
            "time": _at(10),
        },
        {"kind": "statement", "component": BAG, "says": "not-deployed", "from": "the seller"},
    ]
    tables = {"case": {"id": "c"}, "car": {"equipment": "front-bags"}, "evidence": seen}
    return line.make_case(tables, catalog)


def _at(hour: int) -> dt.datetime:
    return dt.datetime(2026, 8, 1, hour)


@pytest.fixture(scope="module")
def record(car: Case, catalog: Catalog) -> ProofRecord:
    return made_of(car, catalog)


def changed(record: ProofRecord, change: Callable[[Json], object]) -> ProofRecord:
    value = json.loads(to_json(record))
    change(value)
    return read_record(json.dumps(value).encode())


def test_what_was_issued_says_what_its_entries_give(record: ProofRecord, catalog: Catalog) -> None:
    assert line.recount(record, catalog) == []


def test_what_own_cases_taught_is_part_of_the_sum(
    car: Case, record: ProofRecord, catalog: Catalog
) -> None:
    own = Experience(cases=3, shifts={"driver-front-bag": -0.7312})
    moved = made_of(car, catalog, own)
    assert stated_shifts(moved) == own.shifts
    assert line.recount(moved, catalog) == []
    assert moved.content["event"] != record.content["event"]


def test_what_an_older_version_took_for_granted_has_no_figure(record: ProofRecord) -> None:
    older = msgspec.convert({"text": "a curve is shifted", "fact": "front-bag"}, Assumption)
    assert (older.value, stated_shifts(record)) == (None, {})


def first(rows: list[Json], **wanted: Any) -> Json:
    return next(r for r in rows if all(r[k] == v for k, v in wanted.items()))


def _close(value: Json) -> None:
    first(value["gates"], id="lamp-check").update(open=False, missing=[], grade="stated")


def _show(value: Json) -> None:
    first(value["gates"], id="replacements").update(grade="shown", stated=[])


FORGED: dict[str, tuple[Callable[[Json], object], str]] = {
    "a gate closed": (_close, "'lamp-check' is called closed; its entries leave it open: no lamp"),
    "a paper called shown": (
        lambda v: first(v["content"]["papers"], id="receipts").update(grade="shown"),
        "' is called shown; by its entries it is open.",
    ),
    "an answer in other words": (
        lambda v: first(v["content"]["answers"], id="not-replaced").update(text="all is new"),
        "is answered otherwise than its entries say.",
    ),
    "work ticked": (
        lambda v: first(v["content"]["work"]["items"], id="step:lamp-check").update(done=True),
        "'step:lamp-check' is called done; nothing in it says so.",
    ),
    "work left out": (
        lambda v: v["content"]["work"].update(items=[]),
        "its list of work leaves out: ",
    ),
    "another part number": (
        lambda v: first(v["content"]["parts"], component=BAG).update(number="9Z-9"),
        "driver front airbag: its list of parts and its entries differ in number.",
    ),
    "a part left out": (
        lambda v: v["content"].update(parts=[]),
        "its list of parts leaves out driver front airbag.",
    ),
    "another figure": (
        lambda v: v["content"]["verdicts"][0].update(text="2.2 ohm; met."),
        "is called met: 2.2 ohm; met. Its entries give met: loop resistance",
    ),
    "a verdict made up": (
        lambda v: v["content"]["verdicts"].append(
            {"what": "lamp-check", "outcome": "met", "text": "Lit, out after 6 s."}
        ),
        "no entry gives its verdict 'lamp-check'.",
    ),
    "a verdict left out": (
        lambda v: v["content"].update(verdicts=[]),
        "its verdicts leave out 'reading:",
    ),
    "another state": (
        lambda v: first(v["content"]["components"], id="passenger.front-bag")["now"].update(
            sound=0.1
        ),
        "passenger front airbag is called 10% sound now; its entries give ",
    ),
    "a component left out": (
        lambda v: v["content"].update(components=[]),
        "it leaves out airbag control unit.",
    ),
    "another crash": (
        lambda v: v["content"]["event"].update(rollover=0.9),
        "of the crash it says rollover 90%; its entries give ",
    ),
    "a contradiction left out": (
        lambda v: v["content"].update(contradictions=[]),
        "it leaves out a contradiction: the seller says",
    ),
    "a live charge left out": (
        lambda v: v["content"].update(live_charges=[]),
        "it leaves out that a charge is not proven spent: passenger front airbag.",
    ),
}


@pytest.mark.parametrize("what", FORGED)
def test_what_does_not_follow_from_the_entries_is_named(record: ProofRecord, what: str) -> None:
    forge, told = FORGED[what]
    found = list_contradictions(changed(record, forge), record)
    assert any(told in text for text in found), found


def test_a_gate_whose_open_point_is_hidden_is_named(record: ProofRecord) -> None:
    closed = changed(record, lambda v: [g.update(open=False, missing=[]) for g in v["gates"]])
    stated = {g.id: g for g in closed.gates if g.grade == "stated" and g.stated}
    assert stated
    for name in stated:
        for change, told in (
            ({"grade": "shown"}, "only stated"),
            ({"stated": []}, "leaves out what"),
        ):
            forged = changed(closed, lambda v: first(v["gates"], id=name).update(change))  # noqa: B023
            (found,) = list_contradictions(forged, closed)
            assert found.startswith(f"'{name}' ")
            assert told in found


def _closed(record: ProofRecord) -> ProofRecord:
    def close_all(value: Json) -> None:
        value["draft"] = False
        for gate in value["gates"]:
            gate.update(open=False, missing=[], remedy="", grade="stated")

    return changed(record, close_all)


def test_a_record_that_contradicts_itself_is_not_valid_whoever_signed_it(
    record: ProofRecord, catalog: Catalog
) -> None:
    forged = sign(seal(_closed(record), b"salt"), KEY, "R. Own")
    answer = verify_file(to_json(forged), catalog)
    told = [p.message for p in answer.problems if p.code == "record-contradicts"]
    assert not answer.valid
    assert any(
        "'maker-procedure' is called closed; its entries leave it open" in text for text in told
    )
    assert told[-1].startswith("And ")


def test_a_copy_without_crash_data_is_worked_out_as_far_as_it_goes(
    record: ProofRecord, catalog: Catalog
) -> None:
    copy = withhold(record)
    assert copy.withheld
    assert line.recount(copy, catalog) == []
    for what in ("a gate closed", "another part number", "another figure", "a verdict made up"):
        forge, told = FORGED[what]
        found = line.recount(changed(copy, forge), catalog)
        assert any(told in text for text in found), found
    better = changed(copy, lambda v: v["content"]["verdicts"][0].update(outcome="not met"))
    assert line.recount(better, catalog) == []
    answer = verify_file(to_json(copy), catalog)
    assert answer.valid
    assert answer.unworked.startswith("this copy leaves out the crash data")
    assert "record-partly-recounted" in [p.code for p in answer.problems]


def test_a_record_of_another_version_is_not_worked_out_again(
    record: ProofRecord, catalog: Catalog
) -> None:
    signed = sign(seal(_closed(record), b"salt"), KEY, "R. Own")
    older = msgspec.structs.replace(signed, made_by="0.3.0", signature=None)
    older = sign(seal(older, b"salt"), KEY, "R. Own")
    assert older.signature is not None
    known = KnownKey(public_key=older.signature.public_key, name="R. Own", since="2026-01-01")
    answer = verify_file(to_json(older), catalog, [known])
    assert (answer.valid, answer.signature, answer.is_sure) == (True, "known", False)
    title = tell_verification(answer, Path("x.json")).title
    assert title == "Not worked out again: another version made it. The record is whole:"


def test_content_that_is_laid_out_otherwise_is_refused(
    record: ProofRecord, catalog: Catalog
) -> None:
    for key in ("car", "evidence", "photos", "components", "work"):
        odd = changed(record, lambda v: v["content"].update({key: [1]}))  # noqa: B023
        with pytest.raises(InputError, match="not laid out"):
            line.recount(msgspec.structs.replace(odd, withheld={"content/event": "00"}), catalog)
