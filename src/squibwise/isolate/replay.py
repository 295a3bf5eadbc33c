"""What has been tested and repaired on this loop so far."""

from fnmatch import fnmatchcase

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.isolate.bench import BenchRepair, BenchTest, access_of, outcome_chances
from squibwise.isolate.context import Context
from squibwise.isolate.suspects import Suspect, ranked
from squibwise.model.belief import Because
from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, TestOutcome
from squibwise.model.names import split_loop
from squibwise.model.origin import Finding
from squibwise.numerics.troubleshoot.planner import FIXED, NOT_FIXED


class Standing(msgspec.Struct, frozen=True, kw_only=True):
    """Where the search stands.

    Attributes:
        suspects: Hypotheses after everything entered.
        done: Ids of tests and repairs that are done.
        opened: Access clusters that are open.
        powered: Is the car powered.
        fixed: Id of the evidence that says fixed and verified; empty while it is not.
        exhausted: Every cause on the list was repaired and the fault is still there.
        findings: What did not fit.
    """

    suspects: tuple[Suspect, ...]
    done: frozenset[str] = frozenset()
    opened: frozenset[str] = frozenset()
    powered: bool = True
    fixed: str = ""
    exhausted: bool = False
    findings: tuple[Finding, ...] = ()


def replay(
    case: Case,
    context: Context,
    suspects: tuple[Suspect, ...],
    tests: tuple[BenchTest, ...],
    repairs: tuple[BenchRepair, ...],
    catalog: Catalog,
) -> Standing:
    """Return the hypotheses after every outcome and repair entered for this loop, in order."""
    state = Standing(suspects=suspects)
    by_test, by_repair = {t.id: t for t in tests}, {r.id: r for r in repairs}
    for item in case.evidence:
        if isinstance(item, TestOutcome) and _same_loop(item.loop, context.loop):
            if item.test in by_test:
                state = _tested(state, item, by_test[item.test], context, catalog)
            elif item.test in by_repair:
                state = _repaired(state, item, by_repair[item.test], context)
            else:
                state = _noted(state, _strange_test(item, [*by_test, *by_repair]))
        elif isinstance(item, DoneWork) and (repair := _named(item, context, by_repair)):
            state = _doubted(state, item, repair, context, catalog)
    return state


def _same_loop(written: str, loop: str) -> bool:
    return split_loop(written) == split_loop(loop)


def _named(item: DoneWork, context: Context, repairs: dict[str, BenchRepair]) -> BenchRepair | None:
    """Return the repair that a piece of work names as ``<loop>:<repair>`` or ``<repair>``."""
    if item.item is None:
        return None
    return repairs.get(item.item.removeprefix(f"{context.loop}:"))


def _strange_test(item: TestOutcome, known: list[str]) -> Finding:
    return Finding(
        code="unknown-test",
        severity="warning",
        message=f"'{item.test}' is no test or repair of {item.loop}; its outcome is not used.",
        remedy=f"Enter one of: {', '.join(sorted(known))}.",
        origin=item.origin,
    )


def _noted(state: Standing, finding: Finding) -> Standing:
    return msgspec.structs.replace(state, findings=(*state.findings, finding))


def _tested(
    state: Standing, item: TestOutcome, bench: BenchTest, context: Context, catalog: Catalog
) -> Standing:
    if item.outcome not in bench.test.means:
        return _noted(state, _strange_outcome(item, list(bench.test.means)))
    if bench.id in state.done:
        return _noted(state, _repeated(item))
    reason = Because(
        text=f"{bench.test.title.format(element=bench.point.title)}: {item.outcome}.",
        evidence=(item.id,),
        weak="judgement",
    )
    moved = [
        msgspec.structs.replace(s, p=s.p * chance, because=(*s.because, reason))
        for s in state.suspects
        for chance in [outcome_chances(bench, s, context, catalog)[item.outcome]]
        if chance > 0.0
    ]
    if not moved:
        return _noted(state, _impossible(item))
    return msgspec.structs.replace(
        state,
        suspects=ranked(moved),
        done=state.done | {bench.id},
        opened=state.opened | set(access_of(bench, context)),
        powered=bench.test.power != "off",
        fixed=item.id if item.outcome == bench.test.cured else "",
    )


def _strange_outcome(item: TestOutcome, words: list[str]) -> Finding:
    return Finding(
        code="unknown-outcome",
        severity="warning",
        message=f"'{item.outcome}' is no outcome of {item.test}; it is not used.",
        remedy=f"Enter one of: {', '.join(words)}.",
        origin=item.origin,
    )


def _repeated(item: TestOutcome) -> Finding:
    return Finding(
        code="test-repeated",
        severity="note",
        message=f"{item.test} was entered before; repeating a test repeats its outcome.",
        remedy="The first outcome counts.",
        origin=item.origin,
    )


def _impossible(item: TestOutcome) -> Finding:
    return Finding(
        code="outcome-impossible",
        severity="warning",
        message=f"'{item.outcome}' of {item.test} fits no hypothesis that is left; it is not used.",
        remedy="Check the outcomes entered for this loop, or call the maker's specialist.",
        origin=item.origin,
    )


def _nothing_left(item: TestOutcome) -> Finding:
    return Finding(
        code="causes-exhausted",
        severity="warning",
        message=f"Every cause on the list of {item.loop} is repaired and the fault is still there.",
        remedy="Check the outcomes entered, read a complete scan, or call the maker's specialist.",
        origin=item.origin,
    )


def _repaired(state: Standing, item: TestOutcome, bench: BenchRepair, context: Context) -> Standing:
    """Return the state after a repair whose verification was entered."""
    if item.outcome == FIXED:
        done = state.done | {bench.id}
        return msgspec.structs.replace(state, fixed=item.id, done=done, powered=True)
    if item.outcome != NOT_FIXED:
        return _noted(state, _strange_outcome(item, [FIXED, NOT_FIXED]))
    reason = Because(text=f"{bench.id} was done and did not cure it.", evidence=(item.id,))
    left = _without(state.suspects, bench, reason)
    if not left:
        return msgspec.structs.replace(_noted(state, _nothing_left(item)), exhausted=True)
    return msgspec.structs.replace(
        state,
        suspects=ranked(left),
        done=state.done | {bench.id},
        opened=state.opened | set(access_of(bench, context)),
        powered=True,
        fixed="",
    )


def _without(suspects: tuple[Suspect, ...], bench: BenchRepair, reason: Because) -> list[Suspect]:
    """Return what is left when a repair has removed its faults; pairs keep their other fault."""
    left: dict[tuple[str, ...], Suspect] = {}
    for suspect in suspects:
        parts = tuple(p for p in suspect.parts if not fixes(bench, p))
        if not parts:
            continue
        known = left.get(parts)
        title = suspect.title if parts == suspect.parts else suspect.title.split("; and ")[-1]
        if parts != suspect.parts and parts[0] == suspect.parts[0]:
            title = suspect.title.split("; and ")[0]
        p = suspect.p + (known.p if known else 0.0)
        because = (*(known or suspect).because[:8], reason)
        left[parts] = Suspect(
            parts=parts, title=(known.title if known else title), p=p, because=because
        )
    return list(left.values())


def fixes(bench: BenchRepair, part: str) -> bool:
    """Return whether a repair removes a cause, written ``<element>:<fault>``."""
    return any(fnmatchcase(part, pattern) for pattern in bench.fixes)


def _doubted(
    state: Standing, item: DoneWork, bench: BenchRepair, context: Context, catalog: Catalog
) -> Standing:
    """Return the state after a repair that was done but whose verification is not entered.

    A report that still names the fault afterwards makes what it fixes unlikely; without one the
    repair is not verified, and says so.
    """
    report = context.sign.report
    if report is None or item.id not in context.done_before:
        return _noted(state, _unverified(item, bench))
    failed = catalog.fact("isolation.repair-failed").number()
    reason = Because(
        text=f"{bench.id} was done before the fault was read again.", evidence=(item.id,)
    )
    moved = [
        msgspec.structs.replace(s, p=s.p * failed, because=(*s.because, reason))
        if all(fixes(bench, p) for p in s.parts)
        else s
        for s in state.suspects
    ]
    return msgspec.structs.replace(state, suspects=ranked(moved))


def _unverified(item: DoneWork, bench: BenchRepair) -> Finding:
    return Finding(
        code="repair-not-verified",
        severity="warning",
        message=f"{bench.id} was done, but nothing entered shows whether it cured the fault.",
        remedy=f'Enter a test outcome with test = "{bench.id}" and outcome "fixed" or "not fixed".',
        origin=item.origin,
    )
