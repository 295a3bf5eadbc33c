"""The straight line: one function per command, each calling the one before it.

Rules and proof are imported where they are used: most commands need neither.
"""

import datetime as dt
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec

from squibwise import infer, intake, isolate, plan
from squibwise.catalog.load import Catalog
from squibwise.history.order import before_work, put_in_order
from squibwise.history.reports import ask_for_times, settle_reports, tell_of_others
from squibwise.model.belief import Assessment, BenchBelief, ComponentBelief
from squibwise.model.bid import NO_LESSONS, BidLimit, BidSheet, Lessons, Settled, SettledLine
from squibwise.model.case import Case, Experience
from squibwise.model.cost import Cost
from squibwise.model.evidence import Story, TestOutcome
from squibwise.model.lots import LotRow, LotTerms, ScreenedRows
from squibwise.model.market import BuyAnswer, OfferSheet, ShopTerms
from squibwise.model.names import current_name
from squibwise.model.origin import Finding
from squibwise.model.proof import KnownKey, Overview, ProofRecord, Verdict, Verification
from squibwise.model.report import ReadReport
from squibwise.model.trace import Trace
from squibwise.model.work import Work

NO_EXPERIENCE = Experience()


def read(path: Path | str, catalog: Catalog) -> ReadReport:
    """Return what a report file says, with everything that was not understood."""
    return intake.read_report_file(Path(path), catalog)


def open_case(path: Path | str, catalog: Catalog) -> Case:
    """Return the case of a folder, of its ``case.toml``, or of a bare report file."""
    return intake.load_case(Path(path), catalog)


def make_case(
    tables: Mapping[str, Any], catalog: Catalog, files: Mapping[str, str | bytes] | None = None
) -> Case:
    """Return a case built in memory from the tables of a case file and the files they name."""
    return intake.make_case(tables, catalog, files)


def sweep(
    tables: Mapping[str, Any],
    changes: Mapping[str, Mapping[str, Any]],
    catalog: Catalog,
    files: Mapping[str, str | bytes] | None = None,
) -> dict[str, Case]:
    """Return a case for each change of one car, to be answered side by side.

    Args:
        tables: The car as ``make_case`` takes it.
        changes: By a name of your own: tables that go in place of its own; ``evidence`` is added
            to what is there.
        catalog: For kinds, look words and templates.
        files: Reports and other files that the evidence names.
    """
    return {
        name: make_case(
            {
                **tables,
                **change,
                "evidence": [*tables.get("evidence", ()), *change.get("evidence", ())],
            },
            catalog,
            files,
        )
        for name, change in changes.items()
    }


def learn(finished: Iterable[Case], catalog: Catalog) -> Experience:
    """Return what the user's own finished cases say of the curves and of the causes of faults.

    To as many decimals as a record states, so that its answers can be worked out again.
    """
    from squibwise.prove.sealing import DECIMALS

    cases = tuple(finished)
    shifts = infer.learn_shifts(cases, catalog)
    proved: Counter[str] = Counter()
    for case in (c for c in cases if any(isinstance(e, TestOutcome) for e in c.evidence)):
        proved.update(isolate.proved_causes(case, _untested(case, catalog, NO_EXPERIENCE), catalog))
    return Experience(
        cases=len(cases),
        shifts={k: round(s.value, DECIMALS) for k, s in shifts.items() if s.n},
        proved=dict(proved),
    )


def assess(case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE) -> Assessment:
    """Return what happened in the crash and what state every component is in.

    Where the fault of a circuit lies is what tracing holds of it.
    """
    case = put_in_order(case)
    states = _assess(case, _weigh_bench(case, catalog, own), catalog, own)
    given = {_outcomes(case): states} if not _is_told(case) else {}

    def prior_of(loop: str) -> Assessment:
        before = isolate.before_tests(case, loop)
        key = _outcomes(before)
        if key not in given:
            bench = _weigh_bench(before, catalog, own, told=False)
            given[key] = infer.assess_plainly(before, catalog, own.shifts, bench)
        return given[key]

    told = settle_reports(case)
    circuits = isolate.causes_of_circuits(told, states, prior_of, catalog, own.proved)
    asked = isolate.ask_which(told, states, catalog)
    return isolate.place_faults(states, circuits, asked)


def _outcomes(case: Case) -> frozenset[str]:
    return frozenset(e.id for e in case.evidence if isinstance(e, TestOutcome))


def _is_told(case: Case) -> bool:
    return any(isinstance(e, Story) for e in case.evidence)


def _assess(case: Case, bench: BenchBelief, catalog: Catalog, own: Experience) -> Assessment:
    return infer.assess(case, catalog, plan.losses(case, catalog), own.shifts, bench)


def _weigh_bench(
    case: Case, catalog: Catalog, own: Experience, *, told: bool = True
) -> BenchBelief:
    """Return what tests and the owner's story say, weighed against what is believed without them.

    Tracing weighs what is told of its circuit itself.
    """
    tested, told = bool(_outcomes(case)), told and _is_told(case)
    if not tested and not told:
        return BenchBelief()
    plain = _untested(case, catalog, own)
    case = settle_reports(case)
    bench = isolate.weigh_tests(case, plain, catalog, own.proved) if tested else BenchBelief()
    stories = isolate.weigh_stories(case, plain, catalog) if told else {}
    return msgspec.structs.replace(bench, stories=stories)


def _untested(case: Case, catalog: Catalog, own: Experience) -> Assessment:
    """Return what is believed without any outcome of a test."""
    kept = tuple(e for e in case.evidence if not isinstance(e, TestOutcome))
    return infer.assess_plainly(msgspec.structs.replace(case, evidence=kept), catalog, own.shifts)


def believe(
    case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE
) -> tuple[ComponentBelief, ...]:
    """Return what state every component is in, at once: as ``assess``, without its reasons."""
    case = put_in_order(case)
    return infer.believe(case, catalog, own.shifts, _weigh_bench(case, catalog, own))


def trace(
    case: Case,
    loop: str,
    catalog: Catalog,
    own: Experience = NO_EXPERIENCE,
    over: Callable[[], bool] | None = None,
) -> Trace:
    """Return where a circuit is at fault and which test comes next; ``over`` ends the search.

    What is believed before the first test of the circuit, and without what is told of it, is the
    prior, so that an outcome and a story count once.
    """
    from squibwise import require

    case, loop = put_in_order(case), current_name(loop)
    before = isolate.before_tests(case, loop)
    prior = _assess(before, _weigh_bench(before, catalog, own, told=False), catalog, own)
    aside = (*tell_of_others(case), *ask_for_times(case), *_whose_code(case, loop, catalog, own))
    case = settle_reports(case)
    found = isolate.trace(case, prior, loop, catalog, own.proved, over)
    refused = require.refuse_power(case, prior, catalog)
    return msgspec.structs.replace(found, findings=(*found.findings, *aside), no_power=refused)


def _whose_code(case: Case, loop: str, catalog: Catalog, own: Experience) -> tuple[Finding, ...]:
    """Return whose the code of a circuit may be as well, by all that is known of the car."""
    told = settle_reports(case)
    if not isolate.names_several(told):
        return ()
    bench = _weigh_bench(case, catalog, own)
    states = infer.assess_plainly(case, catalog, own.shifts, bench)
    return isolate.tell_share(told, states, loop, catalog)


def work(case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE) -> Work:
    """Return what must be done on the car, in order, with reasons."""
    case = put_in_order(case)
    return _work(case, assess(case, catalog, own), catalog)


def _work(case: Case, states: Assessment, catalog: Catalog) -> Work:
    from squibwise import require

    return require.work(settle_reports(case), states, catalog)


def costed(
    case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE
) -> tuple[Work, tuple[Cost, ...]]:
    """Return the work and what it costs, under the followed profile first, then each other."""
    items = work(case, catalog, own)
    return items, plan.cost(case, items, catalog)


def cost(case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE) -> tuple[Cost, ...]:
    """Return what it costs, under the followed profile first and then under each other."""
    return costed(case, catalog, own)[1]


def buy(
    case: Case,
    sheet: OfferSheet,
    terms: ShopTerms,
    catalog: Catalog,
    own: Experience = NO_EXPERIENCE,
    today: dt.date | None = None,
    progress: Callable[[str], None] | None = None,
) -> BuyAnswer:
    """Return what to buy from whom and when each operation runs, counted from today."""
    todo = work(case, catalog, own)
    return plan.plan_buying(case, todo, sheet, terms, catalog, today, progress)


def request(case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE) -> list[dict[str, str]]:
    """Return the rows of a sheet that asks parts desks for offers."""
    todo = work(case, catalog, own)
    return plan.list_requests(case, plan.list_needs(todo), plan.list_asked(todo))


def order_lines(sheet: OfferSheet, answer: BuyAnswer, today: dt.date) -> list[dict[str, str]]:
    """Return every line of a sheet with what the recommended plan orders now as ordered."""
    return plan.list_lines(sheet, answer.plans[-1], today)


def settle(settled: Settled, catalog: Catalog) -> tuple[SettledLine, ...]:
    """Return bid against outcome, line by line."""
    return plan.settled_lines(settled, catalog)


def doubt_settled(cars: Sequence[Settled], currency: str) -> tuple[Finding, ...]:
    """Return what came out of settled cars and corrects nothing."""
    return plan.doubt_settled(cars, currency)


def expect(
    case: Case, sheet: BidSheet | None, catalog: Catalog, own: Experience = NO_EXPERIENCE
) -> dict[str, float]:
    """Return what was expected of a car before the first work on it, by line of a settled car.

    Without a sheet of the sale: parts and labour as the order list had them.
    """
    case = before_work(case)
    if sheet is None:
        return plan.expect_work(cost(case, catalog, own)[0])
    return plan.expect_sale(sheet, bid(case, sheet, catalog, own))


def learn_settled(cars: Sequence[Settled], currency: str, catalog: Catalog) -> Lessons:
    """Return what settled cars teach the next bid."""
    return plan.learn_settled(cars, currency, catalog)


def bid(
    case: Case,
    sheet: BidSheet,
    catalog: Catalog,
    own: Experience = NO_EXPERIENCE,
    lessons: Lessons = NO_LESSONS,
) -> BidLimit:
    """Return whether to bid and up to what; ``lessons`` come from settled cars."""
    case = put_in_order(case)
    states = assess(case, catalog, own)
    worlds = infer.assess_worlds(case, states, catalog, own.shifts)
    sums = [(w, plan.cost(case, _work(case, a, catalog), catalog)) for w, a in worlds]
    glance = catalog.fact("market.look-minutes").number()
    charges = {c.id: (glance, "") for c in states.components if c.prior_fired is not None}
    minutes = charges | {n.component: (n.minutes, n.text) for n in states.next_looks}
    misleads = catalog.fact("market.look-misleads").number()
    scan = catalog.fact("market.scan-minutes").number()
    looks = plan.list_evidence(sums, [a for _, a in worlds], minutes, misleads, scan)
    paid, unpriced = plan.list_worlds(sums), plan.list_unpriced(sums)
    answer = plan.limit_bid(sheet, paid, case.currency, catalog, looks, lessons, unpriced)
    return msgspec.structs.replace(answer, findings=tuple(plan.doubt_prices(sums)))


def screen(
    rows: Sequence[Mapping[str, str]],
    lines: Sequence[int],
    name: str,
    terms: LotTerms,
    catalog: Catalog,
    shifts: Mapping[str, float] | None = None,
) -> ScreenedRows:
    """Return a row for each lot that could be read, and a finding for each that could not.

    Rows in, rows out: no file, no clock, nothing kept; any engine may call it on any piece.
    """
    read_rows = [intake.read_lot(r, n, name, catalog) for r, n in zip(rows, lines, strict=True)]
    lots = [r for r in read_rows if isinstance(r, LotRow)]
    alike: dict[bytes, Case] = {}
    keys = []
    for lot in lots:
        case = Case(id="lot", region=lot.region, car=lot.car, evidence=lot.evidence)
        keys.append(msgspec.json.encode((case.car, case.evidence)))
        alike.setdefault(keys[-1], case)
    screened = infer.screen(tuple(alike.values()), catalog, shifts, plan.LOT_WORLDS)
    beliefs = dict(
        zip(alike, plan.price_cars(alike.values(), screened, terms, catalog), strict=True)
    )
    return ScreenedRows(
        rows=tuple(plan.write_lot(x, beliefs[k], terms) for x, k in zip(lots, keys, strict=True)),
        findings=tuple(r for r in read_rows if isinstance(r, Finding)),
    )


def verdicts(case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE) -> tuple[Verdict, ...]:
    """Return a verdict on everything that was measured, calibrated and checked."""
    from squibwise import prove

    case = put_in_order(case)
    states = assess(case, catalog, own)
    return prove.verdicts(case, _work(case, states, catalog), catalog, states)


def release(
    case: Case,
    catalog: Catalog,
    today: dt.date,
    own: Experience = NO_EXPERIENCE,
    made_by: str = "",
) -> ProofRecord:
    """Return the written record; a draft while any gate is open.

    ``made_by`` is the program's version.
    """
    return record(case, overview(case, catalog, own), catalog, today, made_by)


def record(
    case: Case, whole: Overview, catalog: Catalog, today: dt.date, made_by: str = ""
) -> ProofRecord:
    """Return the written record of what is answered about a case already."""
    from squibwise import prove

    states, items, costs, checked = whole.states, whole.todo, whole.costs, whole.verdicts
    case = put_in_order(case)
    return prove.record(case, states, items, costs, checked, catalog, today, made_by)


def overview(case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE) -> Overview:
    """Return everything that is answered about a case, at once."""
    from squibwise import prove

    case = put_in_order(case)
    states = assess(case, catalog, own)
    items = _work(case, states, catalog)
    costs = plan.cost(case, items, catalog)
    checked = prove.verdicts(case, items, catalog, states)
    gates = prove.gates(case, states, items, checked, catalog)
    return Overview(states=states, todo=items, costs=costs, gates=gates, verdicts=checked)


def recount(record: ProofRecord, catalog: Catalog) -> list[str]:
    """Return what a record says otherwise than its own entries give, in words, the worst first.

    Args:
        record: A record of this version. Where it leaves out crash data, its beliefs and its work
            are taken as they stand.
        catalog: The catalogue.

    Raises:
        InputError: Its content is not laid out as that of a record.
    """
    from squibwise import prove

    case, day = prove.reopen(record), dt.date.fromisoformat(record.issued_on)
    if record.withheld:
        states, todo = prove.stated_beliefs(record), prove.stated_work(record)
        case, checked = put_in_order(case), prove.verdicts(case, todo, catalog, states)
        again = prove.record(case, states, todo, None, checked, catalog, day, record.made_by)
    else:
        own = Experience(shifts=prove.stated_shifts(record))
        again = release(case, catalog, day, own, record.made_by)
    return prove.list_contradictions(record, again)


def verify(data: bytes, catalog: Catalog, known: Iterable[KnownKey] = ()) -> Verification:
    """Return whether a record is whole and unchanged, and what its signature shows."""
    from squibwise import prove

    return prove.verify(data, catalog, known)
