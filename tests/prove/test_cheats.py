"""Somebody who knows the program tries to close a car that was not repaired as told.

Each way either opens a gate, or stands on page one for whoever reads it; what neither can show is
in ``docs/trust.md``. The car is the hand-made finished one, or a demo car that a script has closed.
"""

import datetime as dt
import importlib.util
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pypdfium2
import pytest

from squibwise import case as line
from squibwise.catalog.load import Catalog
from squibwise.documents import record_pdf
from squibwise.history.order import order_entries, read_history
from squibwise.intake import read_report
from squibwise.model.car import Given, OwnCode, OwnRule, Profile
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    Impact,
    LampCheck,
    Look,
    PartLabel,
    Passed,
    Photo,
    Reading,
    Recorder,
    SeatTrial,
    Statement,
    SubstituteLoad,
)
from squibwise.model.evidence import TestOutcome as CircuitTest
from squibwise.model.origin import Finding, Origin
from squibwise.model.proof import ProofRecord
from squibwise.model.report import CodeLine, Coverage, ReadReport, Report, Unread
from squibwise.model.work import Area, Minutes, Operation, Visit
from squibwise.present.record_content import read_content
from squibwise.present.tell_record import tell_record
from squibwise.present.tell_record_annex import rules_followed
from squibwise.present.tell_to_know import tell_to_know
from squibwise.prove.answering import came_with_assembly
from squibwise.prove.handed_over import DISPOSAL
from squibwise.prove.verdicts import scan_verdicts

_PLACE = Path(__file__).parent / "test_finished_car.py"
_SPEC = importlib.util.spec_from_file_location("finished_car", _PLACE)
assert _SPEC is not None
assert _SPEC.loader is not None
_CAR: Any = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_CAR)

Maker = Callable[..., ProofRecord]
Made = dict[str, Any]
BAG = "driver.front-bag"
_CAR_TIME = dt.datetime(2026, 3, 10, 9, 30)


def open_gates(record: ProofRecord) -> dict[str, str]:
    return {g.id: " ".join(g.missing) for g in record.gates if g.open}


def known(record: ProofRecord) -> str:
    """Return what page one says must be known before relying on the record."""
    return str(msgspec.to_builtins(tell_to_know(record, read_content(record))))


def grades(record: ProofRecord) -> dict[str, str]:
    return {g.id: g.grade for g in record.gates}


def with_changed(made: Made, entry: str, **changes: Any) -> tuple[Any, ...]:
    return tuple(
        msgspec.structs.replace(e, **changes) if e.id == entry else e for e in made["evidence"]()
    )


def issued(issue: Maker, made: Made, *more: Any, **changes: Any) -> ProofRecord:
    evidence = changes.pop("evidence", None) or made["evidence"]()
    return issue(case=made["case"](evidence=(*more, *evidence), **changes))


def test_the_honest_car_is_closed(issue: Maker) -> None:
    assert open_gates(issue()) == {}


def test_signatures_alone_close_nothing_that_they_do_not_state(issue: Maker) -> None:
    record = issue()
    stated = {word for word, grade in grades(record).items() if grade == "stated"}
    assert {"replacements", "provenance", "disposal", "lamp-check", "cautions-read"} <= stated
    replaced = next(g for g in record.gates if g.id == "replacements")
    assert replaced.stated == ("driver front airbag replaced: R. Own, 2026-03-10",)


def test_a_photograph_of_another_thing_shows_nothing(issue: Maker, made: Made) -> None:
    files = {"evidence/scan-after.txt": "ab" * 32, "a.jpg": "cd" * 32}
    for component, grade in ((BAG, "shown"), ("passenger.front-bag", "stated"), (None, "stated")):
        photo = Photo(id="ph", file="a.jpg", component=component)
        assert grades(issued(issue, made, photo, files=files))["replacements"] == grade


def test_a_photograph_whose_file_is_not_there_or_another_shows_nothing(
    issue: Maker, made: Made
) -> None:
    for photo in (
        Photo(id="ph", file="gone.jpg", component=BAG),
        Photo(id="ph", file="evidence/scan-after.txt", sha256="00" * 32, component=BAG),
    ):
        record = issued(issue, made, photo)
        assert grades(record)["replacements"] == "stated"
        assert record.content["photos"] == []


def test_what_is_no_picture_is_no_photograph(issue: Maker, made: Made) -> None:
    photo = Photo(id="ph", file="evidence/scan-after.txt", component=BAG)
    record = issued(issue, made, photo)
    assert (grades(record)["replacements"], record.content["photos"]) == ("stated", [])


def test_one_photograph_for_everything_is_told_on_page_one(issue: Maker, made: Made) -> None:
    photos = [
        Photo(id=f"ph{n}", file=f"{n}.jpg", component=c)
        for n, c in enumerate(made["case"]().car.components)
    ]
    files = {"evidence/scan-after.txt": "ab" * 32} | {p.file: "cd" * 32 for p in photos}
    record = issued(issue, made, *photos, files=files)
    assert "One of them stands for 5 different things." in known(record)
    assert grades(record)["replacements"] == "stated"
    stated = [s for g in record.gates for s in g.stated]
    assert any("the same for too many parts" in s for s in stated)


def test_a_paper_is_not_ticked_by_saying_so(issue: Maker, made: Made) -> None:
    said = [
        Passed(id=f"s-{w}", what=w, result="passed", note="in my drawer", by="R. Own")
        for w in ("receipts", "purchase", "owner-declaration", "recall-lookup", "torques")
    ]
    papers = {p["id"]: p["grade"] for p in issued(issue, made, *said).content["papers"]}
    assert all(papers[p.what] == "stated" for p in said)


def test_a_last_scan_of_another_car_counts_for_nothing(issue: Maker, made: Made) -> None:
    reading = ReadReport(vin="1M8GDM9AXKP042788", coverage=Coverage(complete=True, able=True))
    record = issued(issue, made, evidence=with_changed(made, "scan-9", reading=reading))
    assert "not this car" in open_gates(record)["final-scan"]


def test_a_last_scan_that_names_no_car_is_only_stated(issue: Maker) -> None:
    scan = next(g for g in issue().gates if g.id == "final-scan")
    assert (scan.grade, scan.stated) == (
        "stated",
        ("scan-9: that it is of this car; it names no whole VIN",),
    )


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("Vehicle: *************1822", "not this car"),
        ("VIN ending in 1822", "not this car"),
        ("VIN 0Z9SD4C37XXXXXXXX", "not this car"),
        ("Vehicle: *************0417", ""),
        ("Passenger frontal inflator circuit resistance 2.0 ohm fixed simulator", "line 2"),
        ("Passenger....2100 Vehicle.....2018", "line 2"),
        ("All circuits ok, 2.2 ohm resistor in the passenger circuit", "resistor"),
        ("0 faults active, 3 stored", "line 2"),
        ("0 faults stored, 2 pending", "line 2"),
        ("0 faults shown, 3 hidden by filter", "line 2"),
        ("No fault codes stored, 4 in history.", "line 2"),
        ("0 Fehler aktiv, 3 gespeichert", "line 2"),
        ("Active: 0   Stored: 3", "line 2"),
        ("0 faults active, 0 stored, 12.6 V, 14:10", ""),
        ("STORED FAULTS (demonstration)", "line 2"),
        ("No faults. Tests not complete.", "line 2"),
        ("No faults. Readiness: not ready", "line 2"),
        ("No faults. Airbag self-test incomplete", "line 2"),
        ("No faults. Tests complete: 3 of 14", "line 2"),
        ("No faults. 0 circuits read, 14 not read", "line 2"),
        ("No faults, passenger side circuits were not read", "line 2"),
        ("No faults. Self test: 3 of 14 circuits tested, 11 not yet run", "line 2"),
        ("No faults. Airbag lamp on.", "line 2"),
        ("No faults. Unit in transport mode.", "line 2"),
        ("Keine Fehler. Selbsttest nicht abgeschlossen", "line 2"),
        ("No faults. All circuits ok: not checked.", "line 2"),
        ("All circuits ok. All tests complete: 3 of 14", "line 2"),
        ("All tests complete: false", "line 2"),
        ("All circuits ok (not verified). All tests complete (pending).", "line 2"),
        ("No faults. All circuits ok. All tests complete. Lamp on.", "line 2"),
        ("No faults. All circuits ok. All tests complete. Lampe an.", "line 2"),
        ("All circuits ok: no", "line 2"),
        ("All circuits ok: NEIN. Alle Tests abgeschlossen: nein", "line 2"),
        ("All tests complete - no", "line 2"),
        ("All circuits ok - except 2", "line 2"),
        ("[ ] All circuits ok", "line 2"),
        ("All tests complete:", "line 2"),
        ("All circuits ok __", "line 2"),
        ("No faults. All circuits ok? No. All tests complete? No.", "line 2"),
        ("All circuits ok, but driver loop", "line 2"),
        ("All circuits ok -> 0", "line 2"),
        ("All circuits ok | FAIL\nAll tests complete | FAIL", "line 2"),
        ("All circuits ok ....", "line 2"),
        ("All circuits ok~", "line 2"),
        ("Expected: All circuits ok.", "line 2"),
        ("If all circuits ok, proceed.", "line 2"),
        ("No faults. All circuits ok only after clearing.", "line 2"),
        ("All circuits ok unless noted overleaf.", "line 2"),
        ("All circuits should be ok.", "line 2"),
        ("Sample: No faults. All circuits ok.", "line 2"),
        ("Customer says all circuits ok.", "line 2"),
        ("Alle Kreise in Ordnung bis auf Fahrer.", "line 2"),
        ("Tous les circuits conformes sauf rideau.", "line 2"),
        ("Passenger front airbag: see overleaf", "line 2"),
        ("Left curtain ok when cold", "line 2"),
        ("Expected for this car: knee airbag driver", "line 2"),
        ("Passenger loop not read.", "Not tested"),
        ("Passenger front airbag: no communication", "Not tested"),
        ("Passenger front airbag open, all other circuits ok", "unknown status"),
        ("All circuits ok, 7.0 V", "line 2"),
        ("All circuits ok, 12.6 V", ""),
        ("SRS: no faults. All circuits ok.", ""),
        ("Scan result: no fault codes. All circuits were tested and are ok.", ""),
        ("Left curtain: ok, 2.1 ohm. All circuits ok.", ""),
        ("Seat weight sensor: ok", ""),
        ("Keine Fehler gespeichert. Alle Zündkreise in Ordnung.", ""),
        ("Sin fallos. Todos los circuitos correctos.", ""),
        ("[x] All circuits ok", ""),
        ("All circuits ok - no faults", ""),
        ("No faults. Lampe an.", "line 2"),
        ("All circuits ok: 0 of 14", "line 2"),
        ("Toutes les lignes sont correctes : non", "line 2"),
        ("All circuits ok: yes. All tests complete: 14 of 14", ""),
        ("Alle Kreise in Ordnung: ja. Alle Tests abgeschlossen", ""),
        ("No fault codes: 0. All tests complete (2026-03-10 14:10)", ""),
        ("No faults. All circuits ok. All tests complete.", ""),
        ("No faults - all tests complete, 12.6 V, 14:10", ""),
        ("VIN 0Z9HB5A26KR000417\nVIN read from module: 0Z9SD4C37LR001822", "names VIN"),
        ("RESTRAINT SYSTEM EMULATOR - STORED FAULTS", "line 2"),
    ],
)
def test_the_last_scan_of_a_masked_car_or_of_a_stand_in_does_not_count(
    made: Made, catalog: Catalog, line: str, told: str
) -> None:
    text = f"RESTRAINT SYSTEM\n{line}\nNo fault codes stored. All tests complete."
    scan = Report(
        id="scan-9",
        time=made["at"](12),
        when="after-repair",
        reading=read_report(text.encode(), "scan.txt", catalog),
    )
    history = read_history((*(e for e in made["evidence"]() if e.id != "scan-9"), scan))
    (verdict,) = scan_verdicts(history, made["work"](), catalog, "0Z9HB5A26KR000417")
    assert told in verdict.text
    assert (verdict.outcome == "met") == (not told)


def test_a_line_of_the_last_scan_that_a_person_read_away_stands_on_page_one(
    issue: Maker, made: Made
) -> None:
    strange = (Unread(line=2, raw="Circuit 2.0 ohm fixed simulator"),)
    vin = made["case"]().car.vin
    coverage = Coverage(complete=True, able=True, unit="restraint", stand_ins=strange)
    reading = ReadReport(vin=vin, coverage=coverage)
    read = Passed(id="read", time=made["at"](12), what="final-scan", result="passed",
                  note="ok, read", by="Fox")  # fmt: skip
    evidence = (*with_changed(made, "scan-9", reading=reading), read)
    told = known(issued(issue, made, evidence=evidence))
    assert 'Decided by Fox: ok, read. Not understood: line 2, "Circuit 2.0 ohm fixed' in told


def test_a_last_scan_of_this_car_whose_file_is_kept_is_shown(issue: Maker, made: Made) -> None:
    coverage = Coverage(complete=True, able=True, names_none=Origin(line=2))
    reading = ReadReport(vin=made["case"]().car.vin, coverage=coverage)
    record = issued(issue, made, evidence=with_changed(made, "scan-9", reading=reading))
    assert grades(record)["final-scan"] == "shown"
    typed = issued(issue, made, evidence=with_changed(made, "scan-9", reading=reading), files={})
    assert grades(typed)["final-scan"] == "stated"


# From a last scan whose page of faults was left out: its only line was "all tests complete".
@pytest.mark.parametrize(
    ("line", "grade"),
    [
        ("No faults stored", "shown"),
        ("Keine Fehler gespeichert", "shown"),
        ("Number of DTCs: 0", "shown"),
        ("", "stated"),
        ("All other circuits OK", "stated"),
        ("todas las pruebas completas", "stated"),
    ],
)
def test_a_last_scan_that_says_nothing_of_faults_is_only_stated(
    line: str, grade: str, issue: Maker, made: Made, catalog: Catalog
) -> None:
    car = made["case"]().car
    text = f"VIN {car.vin}\nModule: Restraint control\n{line}\nall tests complete\n"
    reading = read_report(text.encode(), "last.txt", catalog, car)
    record = issued(issue, made, evidence=with_changed(made, "scan-9", reading=reading))
    assert grades(record)["final-scan"] == grade
    told = next(g for g in record.gates if g.id == "final-scan").stated
    assert ("that no fault is stored" in " ".join(told)) == (grade == "stated")


def test_an_earlier_scan_handed_in_once_more_is_no_last_scan(issue: Maker, made: Made) -> None:
    name = "evidence/scan-after.txt"
    clean = ReadReport(coverage=Coverage(complete=True, able=True))
    before = Report(id="r1", time=made["at"](1), when="before-repair", reading=clean, file=name)
    record = issued(issue, made, before, evidence=with_changed(made, "scan-9", file=name))
    assert "the file of r1 once more" in open_gates(record)["final-scan"]


def test_entries_from_the_future_open_the_record(issue: Maker, made: Made) -> None:
    late = with_changed(made, "lamp-1", time=dt.datetime(2027, 1, 1))
    assert "after the day of issue" in open_gates(issued(issue, made, evidence=late))["input-clean"]


def test_work_told_after_the_proof_opens_the_proof(issue: Maker, made: Made) -> None:
    more = DoneWork(id="x", time=made["at"](20), what="repaired", component=BAG)
    assert {"lamp-check", "final-scan", "answerable"} <= set(open_gates(issued(issue, made, more)))


def test_the_donor_is_this_car(issue: Maker, made: Made) -> None:
    own = with_changed(made, "label-1", donor_vin="0Z9HB5A26KR000417")
    assert "this car itself" in open_gates(issued(issue, made, evidence=own))["provenance"]


def test_a_made_up_donor_number_fails_its_check_digit(issue: Maker, made: Made) -> None:
    own = with_changed(made, "label-1", donor_vin="1M8GDM9A0KP042788")
    assert "does not verify" in open_gates(issued(issue, made, evidence=own))["provenance"]


def test_one_label_for_two_parts(issue: Maker, made: Made) -> None:
    twice = PartLabel(
        id="l2",
        time=made["at"](9),
        component="passenger.front-bag",
        number="9Z-1147-B",
        serial="SN-90817",
        provenance="new",
        seller="yard",
    )
    first = with_changed(made, "label-1", serial="SN-90817")
    assert (
        "stands on another part"
        in open_gates(issued(issue, made, twice, evidence=first))["provenance"]
    )


def test_loads_of_a_traced_circuit_cannot_be_kept_quiet(issue: Maker, made: Made) -> None:
    quiet = tuple(e for e in made["evidence"]() if not e.id.startswith(("load-", "ohm-")))
    record = issued(issue, made, evidence=quiet)
    loads = next(g for g in record.gates if g.id == "loads-returned")
    assert loads.stated == ("that no substitute load was used: none was entered",)
    test = CircuitTest(
        id="t", time=made["at"](2), loop=f"{BAG}/1", test="load-at:device-plug", outcome="gone"
    )
    assert "never entered as issued" in open_gates(issued(issue, made, test, evidence=quiet))[
        "loads-returned"
    ].replace("none was ever entered", "never entered")


def test_a_meter_on_an_igniter_called_something_else(issue: Maker, made: Made) -> None:
    odd = with_changed(made, "ohm-1", time=made["at"](10), quantity="resistance", method="meter")
    assert "refused" in open_gates(issued(issue, made, evidence=odd))["verdicts"]
    drop = {"quantity": "voltage drop", "unit": "V", "method": "at 100 mA through the inflator"}
    odd = with_changed(made, "ohm-1", time=made["at"](10), **drop)
    assert "refused" in open_gates(issued(issue, made, evidence=odd))["verdicts"]


def test_wide_limits_typed_in_as_the_makers_stand_on_page_one(issue: Maker, made: Made) -> None:
    wide = {
        "loop_low_ohm": Given(value=0.0, source="me"),
        "loop_high_ohm": Given(value=99.0, source="me"),
    }
    record = issued(issue, made, profile=Profile(name="any-fire-strict", **wide))
    assert "typed in as the maker's: circuit at least 0 ohm (me), circuit at most 99 ohm" in known(
        record
    )
    assert grades(record)["maker-procedure"] == "stated"


def test_a_rule_to_keep_everything_stands_on_page_one(issue: Maker, made: Made) -> None:
    rules = (OwnRule(component="retractor-pretensioner", action="keep", source="my book"),)
    record = issued(issue, made, profile=Profile(rules=rules))
    assert "keep retractor-pretensioner (my book)" in known(record)


def test_explaining_a_contradiction_away_stands_on_page_one(issue: Maker, made: Made) -> None:
    row = made["Contradiction"](text="Torn and whole.", evidence=("done-1",), remedy="Look again.")
    said = Passed(
        id="c",
        time=made["at"](16),
        what="contradictions",
        result="passed",
        note="dust",
        by="R. Own",
    )
    states = made["assessment"](contradictions=(row,))
    record = issue(case=made["case"](evidence=(*made["evidence"](), said)), assessment=states)
    assert "contradictions" not in open_gates(record)
    assert "Torn and whole. Explained by: dust, R" in known(record)


def test_a_limit_decided_by_a_person_stands_on_page_one(issue: Maker, made: Made) -> None:
    odd = with_changed(made, "ohm-1", time=made["at"](10), component="left.wiring", quantity="x")
    said = Passed(
        id="d", time=made["at"](11), what="reading:ohm-1", result="passed", note="fine", by="R. Own"
    )
    record = issued(issue, made, said, evidence=odd)
    assert "verdicts" not in open_gates(record)
    assert "Decided by a person, by no published limit: x of left.wiring" in known(record)


def test_a_used_live_part_stands_on_page_one(issue: Maker) -> None:
    assert "Used parts that hold an inflator" in known(issue())


@pytest.mark.parametrize("seen", ["damaged", "missing"])
def test_a_look_at_the_unit_takes_back_the_signature_for_power(
    issue: Maker, made: Made, seen: str
) -> None:
    look = Look(id="k", time=made["at"](6), component="centre.control-unit", seen=seen, by="R")
    said = Passed(id="s", time=made["at"](5), what="key-on-safe", result="passed", by="R")
    assert "may not stand signed" in open_gates(issued(issue, made, look, said))["contradictions"]


def test_an_inspection_signed_before_its_part_was_replaced_or_seen_bad_counts_no_more(
    script: tuple[Any, Any], catalog: Catalog
) -> None:
    closed = closed_by_script(script, *invented_parts(script))
    assert not line.release(closed, catalog, _CAR.TODAY).draft
    later = dt.datetime(2026, 8, 2)
    for entry in (
        Look(id="bad", time=later, component="centre.headliner", seen="headliner-creased"),
        DoneWork(id="new", time=later, what="replaced", component="left.curtain"),
    ):
        item = f"{entry.component}:inspect"
        more = msgspec.structs.replace(closed, evidence=(*closed.evidence, entry))
        assert item in open_gates(line.release(more, catalog, _CAR.TODAY))["inspections"]
        again = Passed(id="s", time=later, what=item, result="passed", by="R. Own")
        signed = msgspec.structs.replace(more, evidence=(*more.evidence, again))
        told = open_gates(line.release(signed, catalog, _CAR.TODAY)).get("inspections", "")
        assert item not in told


@pytest.mark.parametrize(
    ("what", "component", "item", "gate"),
    [
        ("cleared", "codes", "left.curtain:inspect", "inspections"),
        ("reseated", "left.curtain", "left.curtain:inspect", "inspections"),
        ("cleared", "codes", "driver.front-bag:replace", "replacements"),
        ("replaced", "centre.fasteners", "driver.front-bag:replace", "replacements"),
        ("repaired", "driver.clock-spring", "driver.clock-spring:calibrate", "calibrations"),
    ],
)
def test_work_on_one_thing_does_not_finish_another(
    script: tuple[Any, Any], catalog: Catalog, what: Any, component: str, item: str, gate: str
) -> None:
    case = script[0]
    time = dt.datetime(2026, 8, 1)
    odd = DoneWork(id="x", time=time, what=what, component=component, item=item)
    more = msgspec.structs.replace(case, evidence=(*case.evidence, odd))
    assert item in open_gates(line.release(more, catalog, _CAR.TODAY))[gate]


def test_a_repair_told_as_a_test_is_only_stated_too(issue: Maker, made: Made) -> None:
    told = CircuitTest(
        id="t", time=made["at"](9), loop=f"{BAG}/1", test="replace:device", outcome="fixed"
    )
    quiet = tuple(e for e in made["evidence"]() if e.id != "done-1")
    assert grades(issued(issue, made, told, evidence=quiet))["replacements"] == "stated"


@pytest.mark.parametrize("number", ["same", "n/a", "as before", "-", "unknown"])
def test_a_word_is_no_part_number(issue: Maker, made: Made, number: str) -> None:
    own = with_changed(made, "label-1", number=number)
    assert "is no part number" in open_gates(issued(issue, made, evidence=own))["provenance"]


# Source: 49 CFR 565.13 (b) and ISO 3779 (both from memory): a VIN has seventeen characters.
@pytest.mark.parametrize("donor", ["same", "yes", "W0L0000", "WVWZZZ1JZIW000001"])
def test_a_word_is_no_donor(issue: Maker, made: Made, donor: str) -> None:
    own = with_changed(made, "label-1", donor_vin=donor)
    assert "no VIN of 17 characters" in open_gates(issued(issue, made, evidence=own))["provenance"]


@pytest.mark.parametrize(
    "donor", ["0z9hb5a26kr000417", "0Z9HB 5A26KR 000417", "0Z9HB5A26-KR000417"]
)
def test_the_donor_is_this_car_in_other_spelling(issue: Maker, made: Made, donor: str) -> None:
    own = with_changed(made, "label-1", donor_vin=donor)
    assert "this car itself" in open_gates(issued(issue, made, evidence=own))["provenance"]


@pytest.mark.parametrize(
    ("one", "other"), [("SN 90817", "sn-90817"), ("S7098", "S07098"), ("SO90817", "S90817")]
)
def test_one_serial_spelled_twice_is_one_serial(
    issue: Maker, made: Made, one: str, other: str
) -> None:
    twice = PartLabel(
        id="l2",
        time=made["at"](9),
        component="passenger.front-bag",
        number="9Z 1147 C",
        serial=other,
        provenance="new",
        seller="yard",
    )
    first = with_changed(made, "label-1", serial=one)
    told = open_gates(issued(issue, made, twice, evidence=first))["provenance"]
    assert "stands on another part" in told


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"number": "RH-4471-A PASSENGER"}, "names another place"),
        ({"number": "unknown1"}, "is no part number"),
        ({"number": "N/A"}, "is no part number"),
        ({"number": "NA 1147"}, ""),
        ({"number": "UNIVERSAL RESISTOR 2.0 OHM 1W"}, "names a load"),
        ({"seller": "bag simulator kits online"}, "names a load"),
        ({"serial": "rechts 4471"}, "names another place"),
        ({"number": "REAR 4471"}, "names another place"),
        ({"serial": "\u04057098"}, "cyrillic capital letter dze"),
        ({"number": "LH/RH-4471 FRONT"}, ""),
        ({"number": "VR-4471-RE", "serial": "L7098"}, ""),
    ],
)
def test_what_a_label_says_of_side_and_letters_is_held_against_its_part(
    issue: Maker, made: Made, change: dict[str, str], told: str
) -> None:
    found = open_gates(issued(issue, made, evidence=with_changed(made, "label-1", **change)))
    assert told in found.get("provenance", "")
    assert bool(told) == ("provenance" in found)


def test_a_record_without_a_vin_says_so_first(issue: Maker, made: Made) -> None:
    car = msgspec.structs.replace(made["case"]().car, vin=None)
    assert "No VIN is given: nothing ties this record to one car." in known(
        issued(issue, made, car=car)
    )


def test_parts_that_the_car_is_said_not_to_have_stand_on_page_one(
    tmp_path: Path, catalog: Catalog
) -> None:
    text = (_CAR.CASES / "harrow-07" / "case.toml").read_text()
    text = text.replace("[car]\n", '[car]\nremove = ["left.curtain", "right.curtain"]\n', 1)
    (tmp_path / "evidence").mkdir()
    for file in (_CAR.CASES / "harrow-07" / "evidence").iterdir():
        (tmp_path / "evidence" / file.name).write_bytes(file.read_bytes())
    (tmp_path / "case.toml").write_text(text)
    record = line.release(line.open_case(tmp_path, catalog), catalog, _CAR.TODAY)
    assert "this car never had: left curtain, right curtain" in known(record)


def test_a_file_shows_nothing_for_having_a_short_name_or_being_a_scan(
    issue: Maker, made: Made
) -> None:
    scan = "evidence/scan-after.txt"
    files = {scan: "ab" * 32, "e": "cd" * 32, "evidence/receipt.txt": "ef" * 32}
    for note, grade in (
        ("taken by the yard", "stated"),
        (f"see {scan}", "stated"),
        ("see evidence/receipt.txt.old", "shown"),
        ("see my-evidence/receipt.txt", "stated"),
        ("see evidence/receipt.txt.", "shown"),
    ):
        own = with_changed(made, "p-2", note=note)
        assert grades(issued(issue, made, evidence=own, files=files))["disposal"] == grade


def test_one_document_for_everything_is_told_on_page_one(issue: Maker, made: Made) -> None:
    files = {"evidence/scan-after.txt": "ab" * 32, "evidence/paper.pdf": "cd" * 32}
    own = tuple(
        msgspec.structs.replace(e, note="see evidence/paper.pdf") if isinstance(e, Passed) else e
        for e in made["evidence"]()
    )
    told = known(issued(issue, made, evidence=own, files=files))
    assert "One document, evidence/paper.pdf, stands for 4 signatures." in told


def test_a_photograph_older_than_the_work_does_not_show_it(issue: Maker, made: Made) -> None:
    files = {"evidence/scan-after.txt": "ab" * 32, "a.jpg": "cd" * 32}
    for hour, grade in ((8, "stated"), (10, "shown")):
        photo = Photo(id="ph", time=made["at"](hour), file="a.jpg", component=BAG)
        assert grades(issued(issue, made, photo, files=files))["replacements"] == grade


def test_a_text_called_jpg_is_no_photograph(tmp_path: Path, catalog: Catalog) -> None:
    (tmp_path / "a.jpg").write_text("a photograph of the new airbag")
    entry = '[[evidence]]\nkind = "photo"\nid = "ph"\nfile = "a.jpg"\n'
    head = '[case]\nid = "x"\ncurrency = "USD"\n[car]\n'
    (tmp_path / "case.toml").write_text(f"{head}{entry}")
    record = line.release(line.open_case(tmp_path, catalog), catalog, _CAR.TODAY)
    assert "'a.jpg' is no photograph" in open_gates(record)["input-clean"]


def test_signed_as_failed_and_then_as_passed_stands_on_page_one(issue: Maker, made: Made) -> None:
    item = "driver.belt-webbing:inspect"
    bad = Passed(id="f", time=made["at"](9), what=item, result="failed", by="R. Own")
    record = issued(issue, made, evidence=order_entries((*made["evidence"](), bad)))
    assert open_gates(record) == {}
    assert "with no work between: inspect driver.belt-webbing (R. Own)" in known(record)
    for component, told in (("left.wiring", True), ("driver.belt-webbing", False)):
        work = DoneWork(id="w", time=made["at"](9), what="repaired", component=component)
        mended = order_entries((*made["evidence"](), bad, work))
        assert ("no work between" in known(issued(issue, made, evidence=mended))) is told


def test_a_gate_and_a_lamp_that_failed_stand_on_page_one_whatever_was_worked_on(
    issue: Maker, made: Made
) -> None:
    entries = (
        Passed(id="a", time=made["at"](8), what="structure-sound", result="failed", by="A"),
        LampCheck(id="l", time=made["at"](12), lit=True, out_after_s=5.0, stayed_out=False),
        Passed(
            id="b", time=made["at"](11), what="structure-sound", result="passed", by="B", note="ok"
        ),
    )
    record = issued(issue, made, evidence=order_entries((*made["evidence"](), *entries)))
    assert "between: structure (B: ok); lamp check (R. Own)" in known(record)


def test_an_event_after_the_work_opens_the_record_or_stands_on_page_one(
    issue: Maker, made: Made
) -> None:
    told = (
        Impact(id="i", time=made["at"](11), zone="door-left", extent="severe"),
        Circumstance(id="w", time=made["at"](7), what="flood", present=True, parts=("seat-bag",)),
        Circumstance(id="n", time=made["at"](8), what="flood", present=False),
    )
    record = issued(issue, made, evidence=order_entries((*made["evidence"](), *told)))
    missing = open_gates(record)["contradictions"]
    assert "i was told after parts were fitted" in missing
    assert "n denies what w tells (flood)" in missing
    why = {"what": "contradictions", "result": "passed", "note": "typing", "by": "R. Own"}
    said = Passed(id="c", time=made["at"](14), **why)
    closed = issued(issue, made, evidence=order_entries((*made["evidence"](), *told, said)))
    assert "contradictions" not in open_gates(closed)
    for words in ("Told of this car: flood (seat-bag)", "Denied later: flood", "severe"):
        assert words in known(closed)


def test_what_comes_in_after_the_answer_takes_it_back(issue: Maker, made: Made) -> None:
    late = Recorder(id="edr", time=made["at"](16), record="locked", delta_v_long_kmh=-45.0)
    record = issued(issue, made, evidence=order_entries((*made["evidence"](), late)))
    assert "edr came in after somebody answered" in open_gates(record)["answerable"]


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"made_on": "Jan 2030"}, "after it was fitted"),
        ({"made_on": "2027-05"}, "after it was fitted"),
        ({"made_on": "05/2027"}, "after it was fitted"),
        ({"provenance": "new", "donor_vin": None, "made_on": "1994"}, "is called new and was made"),
        ({"provenance": "new"}, "is called new, and its donor is named"),
        ({"number": "10"}, "is no part number"),
        ({"made_on": "32/13"}, "is dated '32/13', which is no day"),
        ({"made_on": "2019-02-30"}, "which is no day"),
    ],
)
def test_a_label_that_cannot_be_is_asked_about(
    issue: Maker, made: Made, changes: dict[str, Any], told: str
) -> None:
    own = with_changed(made, "label-1", **changes)
    assert told in open_gates(issued(issue, made, evidence=own))["provenance"]


def test_the_serial_of_the_part_that_came_out_is_not_that_of_the_new_one(
    issue: Maker, made: Made
) -> None:
    fitted = with_changed(made, "label-1", serial="A7731")
    new = next(e for e in fitted if e.id == "label-1")
    old = msgspec.structs.replace(new, id="old", time=made["at"](5), provenance="original")
    own = order_entries((*fitted, old))
    assert "came out of this car" in open_gates(issued(issue, made, evidence=own))["provenance"]


def test_a_label_without_a_serial_is_counted_on_page_one(issue: Maker) -> None:
    assert "No serial number is on record for 1 of 1 parts that fire" in known(issue())


def test_rules_to_keep_come_before_any_other_on_page_one(issue: Maker, made: Made) -> None:
    replaced = [f"{side}.curtain" for side in ("left", "right")] * 4
    rules = [OwnRule(component=c, action="replace", source="m") for c in replaced]
    rules.append(OwnRule(component="control-unit", action="keep", source="m"))
    record = issued(issue, made, profile=Profile(rules=tuple(rules)))
    assert "typed in as the maker's: keep control-unit (m), replace" in known(record)


def clean_scan(text: str, catalog: Catalog, day: dt.datetime) -> Report:
    reading = read_report(text.encode(), "last.txt", catalog, None)
    whole = msgspec.structs.replace(reading.coverage, complete=True)
    reading = msgspec.structs.replace(reading, coverage=whole)
    return Report(id="scan-9", time=day, when="after-repair", reading=reading)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("RESTRAINT SYSTEM\nNo faults stored.\n", ""),
        ("RESTRAINT SYSTEM\nDate: 10.03.2026\nNo faults stored.\n", ""),
        ("BRAKE SYSTEM\nNo faults stored.\n", "another unit"),
        ("Gateway: OK, engine: OK\nNo faults stored.\n", "another unit"),
        ("SRS: unit not fitted\nNo faults stored.\n", "does not say that it is of the restraint"),
        ("No faults stored.\n", "does not say that it is of the restraint"),
        ("RESTRAINT SYSTEM\nDate: 2024-01-05\nNo faults stored.\n", "it is of 2024-01-05"),
    ],
)
def test_the_last_scan_is_of_the_restraint_unit_and_of_its_day(
    issue: Maker, made: Made, catalog: Catalog, text: str, told: str
) -> None:
    scan = clean_scan(text, catalog, made["at"](12))
    own = tuple(scan if e.id == "scan-9" else e for e in made["evidence"]())
    missing = open_gates(issued(issue, made, evidence=own)).get("final-scan", "")
    assert told in missing if told else not missing


@pytest.mark.parametrize(("entry", "gate"), [("lamp-1", "lamp-check"), ("p-4", "answerable")])
def test_what_proves_needs_a_time_where_the_work_has_one(
    issue: Maker, made: Made, entry: str, gate: str
) -> None:
    late = issued(issue, made, evidence=with_changed(made, entry, time=None))
    assert "has no time, the work has" in open_gates(late)[gate]


def test_a_copy_of_an_earlier_scan_under_another_name_is_no_last_scan(
    issue: Maker, made: Made
) -> None:
    clean = ReadReport(coverage=Coverage(complete=True, able=True))
    before = Report(id="r1", time=made["at"](1), when="before-repair", reading=clean, file="a.txt")
    name = "evidence/scan-after.txt"
    files = {name: "ab" * 32, "a.txt": "ab" * 32}
    last = with_changed(made, "scan-9", file=name)
    record = issued(issue, made, before, evidence=last, files=files)
    assert "a copy of that of r1" in open_gates(record)["final-scan"]


def test_no_point_of_page_one_is_pushed_off_by_others(issue: Maker, made: Made) -> None:
    rows = [
        made["Contradiction"](text=f"Odd {n}.", evidence=("done-1",), remedy="") for n in range(9)
    ]
    record = issue(assessment=made["assessment"](contradictions=tuple(rows)))
    assert "6 more contradictions" in known(record)
    assert "No photograph is in it." in known(record)


# ---- a demo car whose bags fired, closed by a script without a single part


@pytest.fixture(scope="module")
def script(catalog: Catalog) -> tuple[Any, Any]:
    case = line.open_case(_CAR.CASES / "harrow-07", catalog)
    return case, line.work(case, catalog).items


def closed_by_script(script: tuple[Any, Any], *more: Any) -> Any:
    case, items = script
    done = _CAR.finished(case, items)
    return msgspec.structs.replace(done, evidence=(*more, *done.evidence))


def invented_parts(script: tuple[Any, Any]) -> list[Any]:
    """Return entries that everything was replaced, each with a made-up label."""
    time = dt.datetime(2026, 7, 31, 9)
    made: list[Any] = []
    for n, item in enumerate(i for i in script[1] if i.action == "replace"):
        made.append(DoneWork(id=f"w{n}", time=time, what="replaced", component=item.component))
        made.append(
            PartLabel(
                id=f"l{n}",
                time=time,
                component=item.component,
                number=f"N-1{n:03}",
                serial=f"S{n}",
                provenance="new",
                seller="yard",
                recall_checked=True,
            )
        )
    return made


def test_a_script_that_ticks_everything_replaces_no_bag(
    script: tuple[Any, Any], catalog: Catalog
) -> None:
    record = line.release(closed_by_script(script), catalog, _CAR.TODAY)
    assert {"replacements", "not-sound"} & set(open_gates(record))
    assert "Fired and not on record as replaced" in known(record)


def test_a_script_that_invents_every_part_is_only_stated_on_page_one(
    script: tuple[Any, Any], catalog: Catalog
) -> None:
    record = line.release(closed_by_script(script, *invented_parts(script)), catalog, _CAR.TODAY)
    assert not record.draft  # nothing in it contradicts anything: the record cannot know
    by = grades(record)
    stated = {w for w in by if by[w] == "stated"}
    assert {"replacements", "provenance", "disposal", "final-scan", "inspections"} <= stated
    pages = pypdfium2.PdfDocument(record_pdf(record))
    assert len(pages) == 2
    first = pages[0].get_textpage().get_text_range()
    assert "Signed as set, no figure, no document:" in first
    assert "No open gate. Signed by:" in first
    pages.close()
    assert "No photograph is in it." in known(record)
    replaced = next(g for g in record.gates if g.id == "replacements")
    assert "nobody named" in replaced.stated[0]


def test_an_entry_of_hearsay_moves_no_gate(issue: Maker, made: Made) -> None:
    said = Statement(id="st", component=BAG, says="not-deployed", from_="the yard")
    assert open_gates(issued(issue, made, said)) == {}
    row = Recorder(id="e", record="stored", not_commanded=(f"{BAG}/1",))
    assert grades(issued(issue, made, row))["replacements"] == "stated"


# Common practice, no source of its own: after a new clock spring the steering angle is zeroed,
# after a new windshield the camera that looks through it is aimed, a new unit is programmed.
@pytest.mark.parametrize(
    "component", ["driver.clock-spring", "centre.windshield", "centre.control-unit"]
)
def test_what_a_new_part_asks_to_be_set_keeps_the_record_open(
    script: tuple[Any, Any], catalog: Catalog, component: str
) -> None:
    case = script[0]
    done = DoneWork(id="n", time=dt.datetime(2026, 7, 31), what="replaced", component=component)
    new = msgspec.structs.replace(case, evidence=(*case.evidence, done))
    word = f"{component}:calibrate"
    assert word in open_gates(line.release(new, catalog, _CAR.TODAY))["calibrations"]
    said = Passed(id="s", time=dt.datetime(2026, 8, 1), what=word, result="passed", by="R. Own")
    signed = msgspec.structs.replace(new, evidence=(*new.evidence, said))
    assert word not in open_gates(line.release(signed, catalog, _CAR.TODAY)).get("calibrations", "")
    early = msgspec.structs.replace(said, time=dt.datetime(2026, 7, 30))
    before = msgspec.structs.replace(case, evidence=(*case.evidence, early, done))
    assert word in open_gates(line.release(before, catalog, _CAR.TODAY))["calibrations"]


def test_a_part_without_a_number_of_its_own_is_asked_for_none(issue: Maker, made: Made) -> None:
    webbing = DoneWork(
        id="w-1", time=made["at"](9), what="replaced", component="driver.belt-webbing", by="R. Own"
    )
    again = Passed(
        id="w-2",
        time=made["at"](10),
        what="driver.belt-webbing:inspect",
        result="passed",
        by="R. Own",
    )
    record = issued(issue, made, webbing, again)
    graded = {p["component"]: p["grade"] for p in record.content["parts"]}
    assert graded == {"driver.belt-webbing": "not asked", BAG: "stated"}


# Common practice, no source: webbing is part of a belt with its reel; an anchor, a headliner and a
# trim are parts of their own, whatever they are fitted with.
@pytest.mark.parametrize(
    ("part", "inside"),
    [
        ("driver.belt-webbing", True),
        ("passenger.belt-webbing", False),
        ("driver.belt-anchor", False),
        ("centre.headliner", False),
        ("left.pillar-trim", False),
    ],
)
def test_only_a_part_inside_an_assembly_that_was_fitted_came_with_it(
    part: str, inside: bool, catalog: Catalog
) -> None:
    fitted = {part, "driver.retractor-pretensioner", "left.curtain"}
    assert came_with_assembly(part, fitted, Profile(), catalog) is inside


# Common practice, no source: many front belts come with their lower anchor; only the box says so.
def test_an_anchor_came_with_the_belt_where_the_case_says_so(catalog: Catalog) -> None:
    fitted = {"driver.belt-anchor", "driver.retractor-pretensioner"}
    sold = Profile(comes_with=("belt-anchor",))
    assert came_with_assembly("driver.belt-anchor", fitted, sold, catalog)


def test_one_mark_on_four_circuits_comes_back_from_four(issue: Maker, made: Made) -> None:
    loops = ("driver.front-bag/1", "passenger.front-bag/1", "driver.knee-bag/1", "left.curtain/1")
    moves = [
        SubstituteLoad(
            id=f"m-{n}", time=made["at"](7), serial="L1", loop=loop, ohm=2.1, move="issued"
        )
        for n, loop in enumerate(loops)
    ]
    back = SubstituteLoad(
        id="b-1", time=made["at"](8), serial="L1", loop="driver.front-bag/1", move="returned"
    )
    told = open_gates(issued(issue, made, *moves, back))["loads-returned"]
    assert all(loop in told for loop in loops[1:])
    assert loops[0] not in told


def test_a_photograph_from_before_the_work_shows_no_load_and_no_hand_over(
    issue: Maker, made: Made
) -> None:
    files = {"evidence/scan-after.txt": "ab" * 32, "a.jpg": "cd" * 32}
    for hour, grade in ((1, "stated"), (12, "shown")):
        load, waste = (
            Photo(id=f"p{n}", time=made["at"](hour), file="a.jpg", **what)
            for n, what in enumerate(({"component": BAG}, {"operation": "disposal"}))
        )
        found = grades(issued(issue, made, load, waste, files=files))
        assert (found["loads-returned"], found["disposal"]) == (grade, grade)


def test_a_hand_over_without_a_word_of_where_to_says_what_is_missing(
    issue: Maker, made: Made
) -> None:
    for note, is_said in (("", False), ("R. Lorry took them, receipt 44", True)):
        entry = next(e for e in made["evidence"]() if getattr(e, "what", "") in DISPOSAL)
        record = issued(issue, made, evidence=with_changed(made, entry.id, note=note))
        (told,) = next(g.stated for g in record.gates if g.id == "disposal")
        (answer,) = (a["text"] for a in record.content["answers"] if a["id"] == "disposal")
        for text in (told, answer):
            assert ("Not said: who took them, where, which paper" in text) is not is_said


def test_a_paper_is_shown_by_a_photograph_of_it(issue: Maker, made: Made) -> None:
    files = {"evidence/scan-after.txt": "ab" * 32, "a.jpg": "cd" * 32}
    photo = Photo(id="ph", file="a.jpg", operation="receipts")
    for more, grade in (((photo,), "shown"), ((), "open")):
        papers = issued(issue, made, *more, files=files).content["papers"]
        assert {p["id"]: p["grade"] for p in papers}["receipts"] == grade


def test_work_that_is_dated_closer_together_than_it_takes_is_told(issue: Maker, made: Made) -> None:
    def told(minutes: int) -> str:
        done = Operation(
            n=1, id="x", action="fit", title="Fit", done=True,
            minutes=Minutes(low=minutes, likely=minutes, high=minutes),
        )  # fmt: skip
        area = Area(area="car", phase="final", title="", operations=(done,))
        visit = Visit(id="final", title="", power="off", areas=(area,))
        work = msgspec.structs.replace(made["work"](), visits=(visit,))
        return known(issue(work=work))

    # The entries of the hand-made car lie six hours apart, from 09:00 to 15:00.
    assert "Work is dated 2026-03-10 09:00 to 2026-03-10 15:00, 6.0 h; reckoned" in told(330)
    assert "Work is dated closer together than it takes: 2026-03-10 09:00" in told(361)


def test_the_rules_of_the_maker_that_were_typed_in_are_counted_beside_the_car(
    issue: Maker, made: Made
) -> None:
    parts = ("steering-column", "steering-wheel")
    rules = [OwnRule(component=p, action="inspect", source="own manual") for p in parts]
    work = msgspec.structs.replace(made["work"](), profile="unknown")
    record = issue(case=made["case"](profile=Profile(rules=tuple(rules))), work=work)
    content = read_content(record)
    assert rules_followed(content).startswith("2 rules typed in as the maker's, for all else")
    assert "inspect steering-column, steering-wheel (own manual)." in known(record)
    bare = issue(case=made["case"](profile=Profile()), work=work)
    assert rules_followed(read_content(bare)).startswith("the maker's are not entered")


def test_one_number_in_several_files_is_told_once_with_the_files(issue: Maker, made: Made) -> None:
    found = tuple(
        Finding(
            code="vin-check-digit-elsewhere",
            severity="warning",
            message="The check digit of VIN X does not verify.",
            origin=Origin(file=f"scan-{n}.txt", line=3),
        )
        for n in range(2)
    )
    told = known(issued(issue, made, findings=found))
    assert told.count("does not verify") == 1
    assert "does not verify. (scan-0.txt:3, scan-1.txt:3)" in told


def test_many_new_parts_are_counted_and_every_used_one_is_named(issue: Maker, made: Made) -> None:
    parts = [f"driver.{k}" for k in ("knee-bag", "seat-bag", "clock-spring", "buckle-switch")]
    parts += ["left.curtain", "right.curtain", "centre.control-unit"]
    fitted = [DoneWork(id=f"d-{p}", time=made["at"](9), what="replaced", component=p, by="R")
              for p in parts]  # fmt: skip
    labels = [
        PartLabel(id=f"l-{p}", component=p, number=f"9Z-{n}00-A", provenance="new", seller="desk",
                  recall_checked=True)
        for n, p in enumerate(parts)
    ]  # fmt: skip
    car = made["case"]().car
    car = msgspec.structs.replace(car, components=tuple(sorted({*car.components, *parts})))
    entries = (*fitted, *labels, *made["evidence"]())
    record = issue(case=made["case"](evidence=entries, car=car))
    told = {a["id"]: a["text"] for a in record.content["answers"]}
    assert told["receipts"] == (
        "driver front airbag: recycled, yard, donor 0Z9HB5A26KR000999; 7 parts: new, desk"
    )
    assert "checked, no day given" in told["recall-lookup"]


@pytest.mark.parametrize(
    "name", [" ", "\u200b", "\u2060\ufeff", "...", "\u2800", "unknown", "N/A", "No body", "xxx"]
)
def test_signs_that_nobody_sees_are_no_name(issue: Maker, made: Made, name: str) -> None:
    evidence = tuple(
        msgspec.structs.replace(e, by=name) if isinstance(e, Passed) else e
        for e in made["evidence"]()
    )
    found = open_gates(issued(issue, made, evidence=evidence))
    assert {"answerable", "cautions-read"} <= set(found)


def test_a_label_that_is_written_anew_is_told(issue: Maker, made: Made) -> None:
    before = PartLabel(id="l0", time=made["at"](9), component=BAG, number="OLD-1",
                       provenance="unknown")  # fmt: skip
    told = known(issued(issue, made, before))
    assert "Labels written anew, no part fitted between: driver front airbag (OLD-1 unknown" in told
    assert "written anew" not in known(issue())


def test_one_number_on_two_parts_that_are_sold_apart_is_asked_about(
    issue: Maker, made: Made
) -> None:
    def provenance(other: str, number: str) -> str:
        done = DoneWork(id="d", time=made["at"](9), what="replaced", component=other, by="R")
        label = PartLabel(id="l", time=made["at"](9), component=other, number=number,
                          provenance="new", seller="desk", recall_checked=True)  # fmt: skip
        car = made["case"]().car
        car = msgspec.structs.replace(car, components=tuple(sorted({*car.components, other})))
        entries = (done, label, *made["evidence"]())
        return open_gates(issue(case=made["case"](evidence=entries, car=car))).get("provenance", "")

    assert "which are two parts" in provenance("passenger.front-bag", "9Z1147A")
    assert provenance("passenger.front-bag", "9Z-2147-A") == ""


@pytest.mark.parametrize(
    "last",
    [
        Look(id="off", time=_CAR_TIME, component=BAG, seen="connector-off"),
        DoneWork(id="off", time=_CAR_TIME, what="disconnected", component=BAG),
        CircuitTest(
            id="off", time=_CAR_TIME, loop=f"{BAG}/1", test="look:device-plug", outcome="lock-open"
        ),
    ],
    ids=["plug hanging off", "disconnected on record", "found off at the bench"],
)
def test_a_part_last_found_off_is_put_right_by_an_entry_and_by_no_clean_scan(
    issue: Maker, made: Made, last: Any
) -> None:
    assert f"{BAG} is on record as" in open_gates(issued(issue, made, last))["not-sound"]
    late = Look(id="late", time=made["at"](14), component=BAG, seen="intact")
    assert "off its connector" in open_gates(issued(issue, made, last, late))["final-scan"]
    again = DoneWork(id="again", time=last.time, what="reseated", component=BAG, by="R. Own")
    assert open_gates(issued(issue, made, last, again)) == {}


@pytest.mark.parametrize("what", ["covered", "disconnected"])
def test_a_lamp_check_does_not_count_while_the_lamp_is_covered_or_off(
    issue: Maker, made: Made, what: str
) -> None:
    lamp = "centre.warning-lamp"
    off: Any = Look(id="off", time=_CAR_TIME, component=lamp, seen=what)
    if what == "disconnected":
        off = DoneWork(id="off", time=_CAR_TIME, what="disconnected", component=lamp)
    assert f"The lamp was {what}" in open_gates(issued(issue, made, off))["lamp-check"]
    at_once = Look(id="free", time=_CAR_TIME, component=lamp, seen="intact")
    assert "The lamp was" in open_gates(issued(issue, made, off, at_once))["lamp-check"]
    before = msgspec.structs.replace(off, time=_CAR_TIME - dt.timedelta(minutes=1))
    assert open_gates(issued(issue, made, before, at_once)) == {}
    late = msgspec.structs.replace(at_once, time=_CAR_TIME.replace(hour=14))
    assert "The lamp was" in open_gates(issued(issue, made, off, late))["lamp-check"]


def test_a_circuit_that_read_bad_and_then_good_asks_what_mended_it(
    issue: Maker, made: Made
) -> None:
    def read(name: str, ohm: float, minute: int) -> Reading:
        return Reading(
            id=name, time=_CAR_TIME.replace(minute=minute), component=f"{BAG}/1",
            quantity="loop-resistance", value=ohm, unit="ohm", u=0.02, method="scan-live-value",
        )  # fmt: skip

    bad, good = read("bad", 9.0, 1), read("good", 2.1, 5)
    assert "bad tells of a fault of it" in open_gates(issued(issue, made, bad, good))["faults"]
    seat = DoneWork(id="seat", time=_CAR_TIME.replace(minute=3), what="reseated", component=BAG)
    assert "faults" not in open_gates(issued(issue, made, bad, seat, good))


def test_a_part_that_crash_data_list_as_fired_and_nobody_replaced_is_asked_about(
    issue: Maker, made: Made
) -> None:
    second = Recorder(id="second", time=_CAR_TIME, commanded=("driver.belt-webbing",))
    case = issued(issue, made, second)
    assert "second lists driver.belt-webbing" in open_gates(case)["contradictions"]
    assert "commanded to fire, not on record as replaced: driver belt" in known(case)
    assert "lists" not in open_gates(issued(issue, made, msgspec.structs.replace(
        second, commanded=(BAG,)))).get("contradictions", "")  # fmt: skip


def test_a_fault_that_went_away_without_a_repair_keeps_its_gate_open(
    issue: Maker, made: Made
) -> None:
    belt = "driver.belt-webbing"
    line = CodeLine(
        line=1, raw="open circuit", component=belt, fault="open-or-high", status=("present",)
    )
    first = Report(id="scan-1", when="before-repair", reading=ReadReport(lines=(line,)))
    assert "scan-1 tells of a fault of it" in open_gates(issued(issue, made, first))["faults"]
    for mended in (
        DoneWork(id="d", time=_CAR_TIME, what="repaired", component=belt, by="R. Own"),
        DoneWork(id="d", time=_CAR_TIME, what="replaced", component="centre.wiring"),
        CircuitTest(id="d", time=_CAR_TIME, loop=f"{belt}/1", test="renew:lead", outcome="fixed"),
        Passed(
            id="d",
            time=_CAR_TIME,
            what=f"{belt}:trace",
            result="passed",
            note="plug was off while it was read",
            by="R. Own",
        ),
    ):
        assert "faults" not in open_gates(issued(issue, made, first, mended))


def test_page_one_tells_what_the_owner_typed_in_and_what_is_not_there(
    issue: Maker, made: Made
) -> None:
    own = OwnCode(code="B0010", component="centre.fasteners", source="a list", text="clip")
    car = msgspec.structs.replace(made["case"]().car, codes=(own,))
    line = CodeLine(line=1, raw="B0010", code="B0010", component="centre.fasteners")
    first = Report(id="scan-1", when="before-repair", reading=ReadReport(lines=(line,)))
    told = known(issued(issue, made, first, car=car))
    assert "its owner typed in (a list): B0010 as centre.fasteners" in told
    assert "Papers of which nobody says that they are there: damage photos, purchase" in told


def test_labels_that_all_read_alike_are_told(issue: Maker, made: Made) -> None:
    sold = [
        PartLabel(
            id=f"l{n}",
            component=c,
            number=f"9Z-22{n}",
            provenance="new",
            seller="One Desk",
            made_on="2019-03",
        )
        for n, c in enumerate(made["case"]().car.components)
    ]
    evidence = (*(e for e in made["evidence"]() if e.id != "label-1"), *sold)
    assert 'name one seller and one day: "One Desk"' in known(
        issued(issue, made, evidence=evidence)
    )
    other = msgspec.structs.replace(sold[0], made_on="2019-04")
    mixed = (*(e for e in evidence if e.id != "l0"), other)
    assert "one seller and one day" not in known(issued(issue, made, evidence=mixed))


def test_a_bare_tick_of_a_setting_or_a_search_stands_on_page_one(issue: Maker, made: Made) -> None:
    def told(note: str) -> str:
        words = ("passenger.occupant-sensor:calibrate", "passenger.front-bag:trace")
        ticks = [Passed(id=w, what=w, result="passed", by="R. Own", note=note) for w in words]
        rest = [e for e in made["evidence"]() if not isinstance(e, Reading | SeatTrial)]
        return known(issued(issue, made, evidence=(*ticks, *rest)))

    assert "no figure, no document: passenger seat weight sensing" in told("")
    assert "no repair on record: passenger front airbag" in told("")
    assert 'no document: passenger seat weight sensing ("done by the book")' in told(
        "done by the book"
    )
    assert "Signed as set" not in told("zero -0.1 kg, manual 7.2")


def test_a_weight_check_without_a_load_stands_on_page_one(issue: Maker, made: Made) -> None:
    def told(*more: Any, note: str = "") -> str:
        weighed = Passed(id="w", what="step:weigh-seat", result="passed", by="R. Own", note=note)
        return known(issued(issue, made, *more, evidence=(weighed, *made["evidence"]())))

    assert "no load and no reading entered; nothing noted." in told()
    assert 'what was noted: "30 kg, fine"' in told(note="30 kg, fine")
    trial = SeatTrial(id="t", component="passenger.occupant-sensor", applied_kg=30.0, read_kg=30.1)
    assert "Seat weight check" not in known(
        issued(issue, made, evidence=(trial, *made["evidence"]()))
    )


@pytest.mark.parametrize(
    ("what", "told"),
    [
        ("step:drive", 'Noted by R. Own, who signed: drive "still bent".'),
        ("structure-sound", 'Noted by R. Own, who signed: structure "still bent".'),
    ],
)
def test_what_is_noted_beside_drive_and_structure_stands_on_page_one(
    issue: Maker, made: Made, what: str, told: str
) -> None:
    said = Passed(
        id="n", time=made["at"](11), what=what, result="passed", note="still bent", by="R. Own"
    )
    evidence = order_entries((*made["evidence"](), said))
    assert told in known(issued(issue, made, evidence=evidence))


def test_other_notes_stand_on_page_two(issue: Maker, made: Made) -> None:
    note = "clip broken, glued"
    evidence = with_changed(made, "p-1", note=note)
    record = issued(issue, made, evidence=evidence)
    assert note not in known(record)
    second = str(msgspec.to_builtins(tell_record(record).telling))
    assert f'inspect driver.belt-webbing: "{note}" (R. Own)' in second


def test_limits_typed_in_beside_a_reading_stand_on_page_one_the_widest_first(
    issue: Maker, made: Made
) -> None:
    torque = Reading(
        id="t",
        time=made["at"](10),
        component="driver.front-bag/1",
        quantity="torque",
        value=8.0,
        unit="Nm",
        low=7.0,
        high=9.0,
        source="sheet 4",
    )
    wide = with_changed(made, "ohm-1", low=0.0, high=1000.0, source="x")
    told = known(issued(issue, made, torque, evidence=wide))
    assert (
        "typed in as the maker's: loop resistance of driver front airbag 0 to 1000 ohm (x)" in told
    )
    assert "torque of driver front airbag 7 to 9 Nm (sheet 4)" in told


def test_an_answer_that_closed_areas_stay_closed_stands_on_page_one_with_its_source(
    issue: Maker, made: Made
) -> None:
    def told(*results: Any) -> str:
        answers = [
            Passed(id=f"a{n}", what="closed-areas", result=r, note="I think", time=made["at"](8))
            for n, r in enumerate(results)
        ]
        return known(issued(issue, made, evidence=order_entries((*made["evidence"](), *answers))))

    head = "Asked whether closed areas are opened for a look: "
    assert f'{head}no ("I think", nobody named)' in told("failed")
    assert head not in told("failed", "passed")
    assert "Failed, later passed" not in told("failed", "passed")


def test_who_sold_a_new_part_and_whose_unit_it_was_stand_on_page_one_as_typed(
    issue: Maker, made: Made
) -> None:
    new = with_changed(made, "label-1", provenance="new", donor_vin=None, seller="me, off a wreck")
    told = known(issued(issue, made, evidence=new))
    assert 'called new, sold by, as typed: "me, off a wreck" (1).' in told
    unit = (
        DoneWork(id="u", time=made["at"](9), what="replaced", component=UNIT, by="R. Own"),
        PartLabel(id="ul", component=UNIT, number="U-100", provenance="recycled"),
    )
    assert "Used control unit: donor not named." in known(issued(issue, made, *unit))


def test_a_label_from_before_any_work_may_be_the_old_one(issue: Maker, made: Made) -> None:
    old = PartLabel(
        id="o",
        component=BAG,
        number="9Z-1",
        serial="S1",
        provenance="new",
        seller="desk",
        time=dt.datetime(2026, 1, 1),
    )
    rest = tuple(e for e in made["evidence"]() if not isinstance(e, PartLabel))
    assert "perhaps of the old part: driver" in known(issued(issue, made, old, evidence=rest))
    assert "perhaps of the old part" not in known(issue())


def _scan(name: str, hour: int, made: Made, **coverage: Any) -> Report:
    reading = ReadReport(coverage=Coverage(complete=True, able=True, **coverage))
    return Report(id=name, time=made["at"](hour), reading=reading)


UNIT = "centre.control-unit"


@pytest.mark.parametrize(
    ("first", "last", "is_swapped", "label", "told"),
    [
        ("A77120", "A77120", True, "", "as scan-1 did before it was replaced"),
        ("A77120", "B90011", False, "", "nothing says that it was replaced"),
        ("A77120", "B90011", True, "b-9001-2", "its label says B90012"),
        ("A77120", "B90011", True, "B 90011", ""),
        ("A77120", "A77120", False, "", ""),
        ("", "B90011", True, "", ""),
    ],
)
def test_the_serial_number_of_the_unit_tells_whether_it_was_replaced(
    issue: Maker, made: Made, first: str, last: str, is_swapped: bool, label: str, told: str
) -> None:
    swap = DoneWork(id="swap", time=made["at"](9), what="replaced", component=UNIT, by="R. Own")
    paper = PartLabel(id="l", time=made["at"](9), component=UNIT, number="9Z-11", serial=label)
    more = [_scan("scan-1", 6, made, serial=first), *([swap] if is_swapped else [])]
    more += [paper] if label else []
    reading = _scan("scan-9", 12, made, serial=last).reading
    evidence = (*more, *with_changed(made, "scan-9", reading=reading))
    record = issued(issue, made, evidence=evidence)
    assert told in open_gates(record).get("contradictions", "")
    assert ("contradictions" in open_gates(record)) == bool(told)
    assert told in known(record)


@pytest.mark.parametrize(
    ("text", "serial"),
    [
        ("Airbag control unit\nSerial number: 00A-77 120", "00A77"),
        ("Airbag control unit S/N 4711-90A2", "471190A2"),
        ("AIRBAG\nSeriennummer: 9Z1147002", "9Z1147002"),
        ("Airbag\nN\u00famero de serie: 77120-X", "77120X"),
        ("Airbag\nserial data bus fault", ""),
        ("ENGINE\nSerial number: 55555\nAIRBAG CONTROL UNIT\nSerial number: 66666", "66666"),
    ],
)
def test_the_serial_number_that_a_scan_states_of_the_restraint_unit_is_read(
    catalog: Catalog, text: str, serial: str
) -> None:
    assert read_report(text.encode(), "scan.txt", catalog).coverage.serial == serial


@pytest.mark.parametrize(
    ("cleared", "drive", "told"),
    [
        (None, None, "Nothing says when codes were cleared before the last scan."),
        (dt.datetime(2026, 3, 10, 11, 59, 50), None, "Codes were cleared 10 s before the last"),
        (dt.datetime(2026, 3, 10, 10), 11, "2.0 h before the last scan, a drive signed between by"),
        (dt.datetime(2026, 3, 10, 10), 9, "2.0 h before the last scan, no drive between"),
        (dt.datetime(2026, 3, 10, 13), 11, "Nothing says when codes were cleared before"),
    ],
)
def test_page_one_tells_how_long_before_the_last_scan_codes_were_cleared(
    issue: Maker, made: Made, cleared: dt.datetime | None, drive: int | None, told: str
) -> None:
    more: list[Any] = []
    if cleared is not None:
        more.append(DoneWork(id="clear", time=cleared, what="cleared", component="codes"))
    if drive is not None:
        at = made["at"](drive)
        more.append(Passed(id="d", time=at, what="step:drive", result="passed", by="R. Own"))
    assert told in known(issued(issue, made, *more))


@pytest.mark.parametrize(("last", "told"), [(61204, True), (61231, False)])
def test_a_drive_that_moved_no_odometer_stands_on_page_one(
    issue: Maker, made: Made, last: int, told: bool
) -> None:
    first = _scan("scan-1", 6, made, odometer=61204, odometer_unit="mi")
    drive = Passed(id="d", time=made["at"](11), what="step:drive", result="passed", by="R. Own")
    reading = _scan("scan-9", 12, made, odometer=last, odometer_unit="mi").reading
    evidence = (first, drive, *with_changed(made, "scan-9", reading=reading))
    page = known(issued(issue, made, evidence=evidence))
    assert ("both read the odometer at 61204 mi" in page) is told


def test_an_order_without_times_is_that_of_the_file(issue: Maker, made: Made) -> None:
    without = with_changed(made, "done-1", time=None)
    assert "No time stands with 1 of " in known(issued(issue, made, evidence=without))
    one = tuple(msgspec.structs.replace(e, time=made["at"](9)) for e in made["evidence"]())
    assert "Work and proof have one time" in known(issued(issue, made, evidence=one))
