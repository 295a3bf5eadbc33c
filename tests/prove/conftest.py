"""A hand-made car, close to finished, so that each gate can be closed and opened by itself."""

import datetime as dt
from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from squibwise.catalog.load import Catalog, load_catalog
from squibwise.model.belief import (
    Assessment,
    Because,
    ComponentBelief,
    Contradiction,
    EventBelief,
    NextLook,
    SpeedChange,
    StageBelief,
    StateBelief,
)
from squibwise.model.car import Car, Given, Price, Profile
from squibwise.model.case import Case
from squibwise.model.cost import Cost, CostLine, Money
from squibwise.model.evidence import DoneWork, LampCheck, PartLabel, Passed, Reading, SubstituteLoad
from squibwise.model.origin import Origin
from squibwise.model.proof import Gate, ProofRecord, Verdict
from squibwise.model.report import Coverage, ReadReport, Report
from squibwise.model.work import Caution, Demand, Work
from squibwise.prove import gates, record
from squibwise.prove import verdicts as judge

TODAY = dt.date(2026, 3, 20)
SOUND = StateBelief(sound=0.98, fired=0.005, faulty=0.005, damaged=0.005, unfit=0.005)
FIRED = StateBelief(sound=0.002, fired=0.99, faulty=0.003, damaged=0.003, unfit=0.002)
DOUBT = StateBelief(sound=0.6, fired=0.3, faulty=0.05, damaged=0.04, unfit=0.01)
LIVE = StageBelief(fired=0.003, live=0.994, faulty=0.003)
SPENT = StageBelief(fired=0.996, live=0.002, faulty=0.002)
SILENT = StageBelief(fired=0.45, live=0.54, faulty=0.01)

_TEXT = load_catalog().cautions["full-wait"]
CAUTION = Caution(id=_TEXT.id, text=_TEXT.text, source=_TEXT.source, basis=_TEXT.basis)


def at(hour: int) -> dt.datetime:
    return dt.datetime(2026, 3, 10, hour)


def evidence() -> tuple[Any, ...]:
    """A finished car: every gate closed."""
    return (
        Reading(
            id="ohm-1",
            time=at(7),
            component="driver.front-bag/1",
            quantity="loop-resistance",
            value=2.1,
            unit="ohm",
            u=0.05,
            method="substitute-load",
            origin=Origin(file="case.toml", line=40),
        ),
        SubstituteLoad(
            id="load-1", time=at(7), serial="S1", loop="driver.front-bag/1", ohm=2.1, move="issued"
        ),
        SubstituteLoad(
            id="load-2", time=at(8), serial="S1", loop="driver.front-bag/1", move="returned"
        ),
        DoneWork(
            id="done-1", time=at(9), what="replaced", component="driver.front-bag", by="R. Own"
        ),
        PartLabel(
            id="label-1",
            time=at(9),
            component="driver.front-bag",
            number="9Z-1147-A",
            provenance="recycled",
            donor_vin="0Z9HB5A26KR000999",
            seller="yard",
            recall_checked=True,
        ),
        Passed(
            id="p-1", time=at(10), what="driver.belt-webbing:inspect", result="passed", by="R. Own"
        ),
        Passed(
            id="p-2",
            time=at(11),
            what="disposal",
            result="passed",
            note="taken by the yard",
            by="R. Own",
        ),
        Report(
            id="scan-9",
            time=at(12),
            when="after-repair",
            reading=ReadReport(
                coverage=Coverage(complete=True, able=True, names_none=Origin(line=2))
            ),
            origin=Origin(file="evidence/scan-after.txt", line=1),
        ),
        LampCheck(
            id="lamp-1", time=at(13), lit=True, out_after_s=6.0, stayed_out=True, by="R. Own"
        ),
        Passed(id="p-3", time=at(14), what="cautions", result="passed", by="R. Own"),
        Passed(id="p-4", time=at(15), what="release", result="passed", by="R. Own"),
    )


def belief(
    component: str, now: StateBelief = SOUND, after: StateBelief = SOUND, **stages: StageBelief
) -> ComponentBelief:
    return ComponentBelief(
        id=component,
        after_crash=after,
        now=now,
        stages={k.removeprefix("s"): v for k, v in stages.items()},
        prior_fired=0.4,
        because=(
            Because(
                text="open circuit on stage 1",
                evidence=("scan-9",),
                sources=("judgement",),
                weak="judgement",
                alone_db=12.3,
                last_db=8.1,
            ),
            Because(text="cover torn open", evidence=("look-1",), alone_db=21.0, last_db=17.5),
        ),
    )


def item(id_: str, component: str | None, action: str, done: bool = True, **more: Any) -> Demand:
    return Demand(
        id=id_,
        action=action,
        component=component,
        title=more.pop("title", f"{action} {component or id_}"),
        strict=more.pop("strict", "always"),
        done=done,
        minutes=30,
        **more,
    )


def make_case(**changes: Any) -> Case:
    prices = (Price(what="labour-hour", low=usd(80), likely=usd(100), high=usd(130)),)
    base = Case(
        id="own-01",
        title="Own car, nose hit",
        region="US-OH",
        car=Car(
            vin="0Z9HB5A26KR000417",
            model_year=2019,
            equipment="curtains-and-weight-sensing",
            components=(
                "driver.belt-webbing",
                "driver.front-bag",
                "passenger.front-bag",
                "passenger.occupant-sensor",
                "passenger.seat-bag",
            ),
            stages={"driver.front-bag": 2},
        ),
        profile=Profile(
            name="any-fire-strict",
            wait_minutes=Given(value=3, source="own invented procedure, section 1"),
        ),
        evidence=evidence(),
        prices=prices,
        files={"evidence/scan-after.txt": "ab" * 32},
    )
    return msgspec.structs.replace(base, **changes)


def usd(amount: int) -> Money:
    return Money(minor=amount * 100, currency="USD")


def make_assessment(**changes: Any) -> Assessment:
    base = Assessment(
        event=EventBelief(
            zones={"nose-right": 0.9},
            delta_v_kmh=SpeedChange(p10=14.0, p50=23.0, p90=35.0),
            driver_belted=0.8,
            passenger_belted=0.4,
            front_passenger={"empty": 0.7, "child-or-small": 0.1, "adult": 0.2},
            rollover=0.01,
            second_impact=0.05,
            no_crash=0.001,
        ),
        components=(
            belief("driver.belt-webbing"),
            belief("driver.front-bag", after=FIRED, s1=LIVE, s2=LIVE),
            belief("passenger.front-bag", s1=LIVE),
            belief("passenger.occupant-sensor"),
            belief("passenger.seat-bag", s1=LIVE),
        ),
    )
    return msgspec.structs.replace(base, **changes)


def make_work(*changed: Demand) -> Work:
    items = {
        i.id: i
        for i in (
            item("step:power-down", None, "do", cautions=(CAUTION,), title="Switch the power off"),
            item(
                "driver.front-bag:replace",
                "driver.front-bag",
                "replace",
                after=("step:power-down",),
                hold_minutes=3,
                cautions=(CAUTION,),
                because=(Because(text="it fired", sources=("judgement",)),),
            ),
            item(
                "driver.belt-webbing:inspect",
                "driver.belt-webbing",
                "inspect",
                passes_when="no cut, no mark",
            ),
        )
    }
    items |= {i.id: i for i in changed}
    return Work(
        profile="any-fire-strict",
        items=tuple(items.values()),
        spread={"any-fire-strict": tuple(items), "belt-counter": ("driver.front-bag:replace",)},
        notices=(
            Caution(
                id="us-federal",
                text="State law may require replacement.",
                source="replacement-letters",
            ),
        ),
    )


def make_costs() -> tuple[Cost, ...]:
    line = CostLine(
        item="driver.front-bag:replace",
        what="labour-hour",
        low=usd(40),
        likely=usd(50),
        high=usd(65),
    )
    return (
        Cost(
            profile="any-fire-strict",
            low=usd(40),
            likely=usd(50),
            high=usd(65),
            minutes=30,
            lines=(line,),
            unpriced=("front-bag",),
        ),
        Cost(profile="belt-counter", low=usd(40), likely=usd(50), high=usd(65), minutes=30),
    )


MET = (
    Verdict(
        what="driver.front-bag/1",
        outcome="met",
        text="2.10 ohm lies within 1.5 to 3.5 ohm",
        p_met=0.999,
    ),
)

Maker = Callable[..., ProofRecord]


@pytest.fixture(scope="session")
def catalog() -> Catalog:
    return load_catalog()


@pytest.fixture(scope="session")
def issue(catalog: Catalog) -> Maker:
    """Return a maker of records: any input may be exchanged."""

    def maker(
        case: Case | None = None,
        assessment: Assessment | None = None,
        work: Work | None = None,
        costs: tuple[Cost, ...] | None = None,
        verdicts: tuple[Verdict, ...] = MET,
    ) -> ProofRecord:
        chosen, items = case or make_case(), work or make_work()
        states = assessment or make_assessment()
        found = (*verdicts, *judge(chosen, items, catalog, states))
        return record(chosen, states, items, costs, found, catalog, TODAY)

    return maker


@pytest.fixture(scope="session")
def ask(catalog: Catalog) -> Callable[..., dict[str, Gate]]:
    """Return what answers with every gate: any input may be exchanged."""

    def asked(
        case: Case | None = None,
        assessment: Assessment | None = None,
        work: Work | None = None,
        verdicts: tuple[Verdict, ...] = (),
    ) -> dict[str, Gate]:
        chosen, items = case or make_case(), work or make_work()
        states = assessment or make_assessment()
        found = (*verdicts, *judge(chosen, items, catalog, states))
        return {g.id: g for g in gates(chosen, states, items, found, catalog)}

    return asked


@pytest.fixture(scope="session")
def made() -> dict[str, Any]:
    """Return the pieces the hand-made car is built of."""
    return {
        "case": make_case,
        "assessment": make_assessment,
        "work": make_work,
        "costs": make_costs,
        "item": item,
        "belief": belief,
        "evidence": evidence,
        "at": at,
        "DOUBT": DOUBT,
        "FIRED": FIRED,
        "SILENT": SILENT,
        "SPENT": SPENT,
        "LIVE": LIVE,
        "Contradiction": Contradiction,
        "NextLook": NextLook,
    }
