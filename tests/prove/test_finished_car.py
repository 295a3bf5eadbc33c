"""A demo car can be finished: with everything recorded, the record is no draft any more."""

import datetime as dt
from collections.abc import Iterator

import msgspec

from squibwise import case as line
from squibwise.catalog.load import Catalog
from squibwise.cli.demo import DEMO_CASES
from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, Evidence, LampCheck, Look, Passed, SubstituteLoad
from squibwise.model.report import Coverage, ReadReport, Report
from squibwise.model.work import Demand

CASES = DEMO_CASES
FINISHING = ("step:clear", "step:lamp-check", "step:drive", "step:final-scan")
TODAY = dt.date(2026, 11, 25)


def minutes() -> Iterator[dt.datetime]:
    start = dt.datetime(2026, 8, 1, 8)
    return (start + dt.timedelta(minutes=n) for n in range(10_000))


def passed(word: str, time: dt.datetime, note: str = "") -> Passed:
    return Passed(id=f"p-{word}", time=time, what=word, result="passed", by="R. Own", note=note)


def reseated(component: str, time: dt.datetime) -> DoneWork:
    return DoneWork(id=f"d-{component}", time=time, what="reseated", component=component)


def load(move: str, time: dt.datetime) -> SubstituteLoad:
    loop = "driver.front-bag/1"
    return SubstituteLoad(id=f"l-{move}", time=time, serial="S1", loop=loop, ohm=2.1, move=move)


def finished(case: Case, items: tuple[Demand, ...]) -> Case:
    """Return the case with everything recorded that its work list asks for, and the proof."""
    clock = minutes()
    words = ["key-on-safe", "power-safe", "structure-sound", "unit-bolted"]
    words += [i.id for i in items if i.id not in FINISHING]
    added: list[Evidence] = [passed("maker-procedure", next(clock), "own invented manual, page 4")]
    added += [reseated(i.component, next(clock)) for i in items if i.component is not None]
    added += [passed(w, next(clock)) for w in words]
    added.append(Look(id="glass", time=next(clock), component="centre.windshield", seen="intact"))
    added += [load(move, next(clock)) for move in ("issued", "returned")]
    added.append(DoneWork(id="clear", time=next(clock), what="cleared", component="codes"))
    added.append(LampCheck(id="lamp", time=next(clock), lit=True, out_after_s=6.0, stayed_out=True))
    added.append(passed("step:drive", next(clock)))
    reading = ReadReport(coverage=Coverage(complete=True, able=True, unit_volts=12.6))
    added.append(Report(id="last", time=next(clock), when="after-repair", reading=reading))
    added += [passed(w, next(clock), "explained") for w in ("step:final-scan", "contradictions")]
    added += [passed(w, next(clock)) for w in ("cautions", "release")]
    return msgspec.structs.replace(case, evidence=(*case.evidence, *added))


def test_a_car_without_a_crash_can_be_finished(catalog: Catalog) -> None:
    case = line.open_case(CASES / "clover-05", catalog)
    assert line.release(case, catalog, TODAY).draft
    done = finished(case, line.work(case, catalog).items)
    record = line.release(done, catalog, TODAY)
    assert [(g.id, g.missing) for g in record.gates if g.open] == []
    assert not record.draft


def test_a_unit_fitted_after_the_signature_opens_its_gates_again(catalog: Catalog) -> None:
    case = line.open_case(CASES / "clover-05", catalog)
    done = finished(case, line.work(case, catalog).items)
    late = max(e.time for e in done.evidence if e.time is not None) + dt.timedelta(hours=1)
    unit = DoneWork(id="swap", time=late, what="replaced", component="centre.control-unit")
    swapped = msgspec.structs.replace(done, evidence=(*done.evidence, unit))
    gates = {g.id: g.missing for g in line.release(swapped, catalog, TODAY).gates if g.open}
    told = " ".join(gates["steps"])
    assert "unit-bolted was signed before the last work on the control unit" in told
    assert "power-safe was signed before" in told


def test_a_finished_car_without_its_last_scan_is_a_draft_again(catalog: Catalog) -> None:
    case = line.open_case(CASES / "clover-05", catalog)
    done = finished(case, line.work(case, catalog).items)
    rest = tuple(e for e in done.evidence if e.id != "last")
    record = line.release(msgspec.structs.replace(done, evidence=rest), catalog, TODAY)
    assert "final-scan" in {g.id for g in record.gates if g.open}


def test_a_car_in_which_loads_were_used_needs_the_entries_that_issued_them(
    catalog: Catalog,
) -> None:
    case = line.open_case(CASES / "clover-05", catalog)
    done = finished(case, line.work(case, catalog).items)
    rest = tuple(e for e in done.evidence if not isinstance(e, SubstituteLoad))
    signed = passed("step:fit-loads", dt.datetime(2026, 8, 1, 8))
    record = line.release(msgspec.structs.replace(done, evidence=(*rest, signed)), catalog, TODAY)
    (gate,) = (g for g in record.gates if g.id == "loads-returned")
    assert gate.missing == ("loads were used, and none was ever entered as issued",)


def test_the_old_part_may_be_handed_over_before_the_new_one_is_in(catalog: Catalog) -> None:
    """Common practice, no source: it goes once it is out; the new one may come weeks later."""
    at = [dt.datetime(2026, 3, 2, hour) for hour in range(8, 12)]
    steps = [("out:driver-bag@driver", 1), ("step:dispose", 2)]
    signed = [Passed(id=w, what=w, result="passed", time=at[hour]) for w, hour in steps]
    bag = "driver.front-bag"
    fitted = DoneWork(id="fit", time=at[3], what="replaced", component=bag)
    told = Look(id="seen", time=at[0], component=bag, seen="deployed")
    car = line.make_case({"case": {"id": "c"}, "car": {"equipment": "front-bags"}}, catalog)

    def missing(*entries: Evidence) -> bool:
        case = msgspec.structs.replace(car, evidence=(told, *entries))
        gates = line.overview(case, catalog).gates
        return any(bag in m for g in gates if g.id == "disposal" for m in g.missing)

    assert not missing(*signed, fitted)
    assert missing(signed[1], fitted)
