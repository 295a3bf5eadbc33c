"""What reports and lamp checks say of one circuit: the kind of fault, since when, how often."""

import math
import re

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import Chain
from squibwise.catalog.story_words import plain
from squibwise.history.order import read_history
from squibwise.history.returned import is_heard, is_there, is_whole, lines_for
from squibwise.history.signed import loads_on
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, LampCheck, SubstituteLoad
from squibwise.model.names import split_component
from squibwise.model.report import CodeLine, Report
from squibwise.model.words import FAULTS

NO_FAULT = ("event-recorded", "configuration", "identity")


class Reported(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What reports say of the circuit.

    Attributes:
        weight: Fault words with their share; they sum to one.
        statuses: Status words of the lines.
        report: The report it was last seen in; None when no report names this circuit.
        first: The report it was first seen in, of those that tell of the same fault.
        named_before: Was it named by more than one of them.
        gone_since: Id of a later report that no longer names it; empty when there is none.
        shown: Id of a lamp check that shows the fault where no report names it; empty for none.
        held_on: Does that lamp check show a lamp that stays on.
        often: Did the unit count the fault more than once.
        clean: Id of the last complete report where none names this circuit; empty otherwise.
        evidence: Ids of the reports.
        sources: Source ids its reading leans on.
    """

    weight: dict[str, float]
    statuses: frozenset[str] = frozenset()
    report: Report | None = None
    first: Report | None = None
    gone_since: str = ""
    shown: str = ""
    held_on: bool = False
    often: bool = False
    clean: str = ""
    evidence: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()

    @property
    def is_told(self) -> bool:
        """Does anything entered show a fault of this circuit."""
        return self.report is not None or bool(self.shown)

    @property
    def comes_and_goes(self) -> bool:
        """Does the fault come and go: told so, or counted often and not there now."""
        return "intermittent" in self.statuses or (self.often and "present" not in self.statuses)

    @property
    def may_hide(self) -> bool:
        """Has the fault been away before, so that a good reading is no proof of a cure."""
        return self.comes_and_goes or self.often

    @property
    def stored_only(self) -> bool:
        """Is it only remembered, not there."""
        remembered = self.statuses & {"stored", "pending", "cleared"}
        return bool(self.gone_since or (remembered and "present" not in self.statuses))


_TIMES = re.compile(
    r"\b(?:logged|count(?:er)?|occurr?(?:ences?)?|frequency|haeufigkeit|häufigkeit|zähler|zaehler"
    r"|fréquence|frequence|compteur|frecuencia|contador)\W{0,3}(\d{1,3})\b"
    r"|\b(\d{1,3}) ?(?:times|x|mal|fois|veces|occurrences?)\b",
    re.IGNORECASE,
)


def _times_told(raw: str) -> int:
    """Return how often a line says that the fault was logged; 1 where it does not say."""
    return max((int(a or b) for a, b in _TIMES.findall(raw)), default=1)


Named = tuple[Report, list[tuple[CodeLine, str, float]]]


def reported_of(
    case: Case, assessment: Assessment, component: str, stage: int, chain: Chain, catalog: Catalog
) -> Reported:
    """Return what the newest report that names a circuit says of it, and since when."""
    reports = [e for e in case.evidence if isinstance(e, Report)]
    named: list[Named] = [
        (r, found) for r in reports if (found := list(lines_for(r, component, stage, catalog)))
    ]
    untold = catalog.loops.untold[chain.circuit]
    if not named:
        clean = [r.id for r in reports if is_whole(r)]
        nothing = Reported(weight=dict(untold), clean=clean[-1] if clean else "")
        shown = _shown_by_lamp(case, component, catalog)
        shown = shown or _shown_by_circuits(reports, assessment, chain, catalog)
        return shown or _missed_by_others(reports, chain, catalog) or nothing
    last, found = named[-1]
    loop = (component, stage)
    later = [r for r in reports[reports.index(last) + 1 :] if is_whole(r)]
    clean = [r.id for r in later if not _read_a_load(r, loop, case)]
    run = _same_fault(named, reports, _renewed_after_firing(case, assessment, component))
    return Reported(
        weight=_kinds(run, untold),
        statuses=frozenset(s for line, _, _ in found for s in line.status),
        report=last,
        first=run[0][0],
        gone_since=clean[-1] if clean else "",
        often=any(_times_told(line.raw) > 1 for line, _, _ in found),
        evidence=tuple(r.id for r, _ in run),
        sources=tuple(dict.fromkeys(s for line, _, _ in found for s in line.sources)),
    )


def _read_a_load(report: Report, loop: tuple[str, int], case: Case) -> bool:
    """Return whether a load was in a circuit when a report was made: it read the load."""
    if not any(isinstance(e, SubstituteLoad) for e in case.evidence):
        return False
    before = case.evidence[: case.evidence.index(report)]
    return bool(loads_on(read_history(before), loop))


def _shown_by_lamp(case: Case, component: str, catalog: Catalog) -> Reported | None:
    """Return what the last lamp check shows of the warning lamp itself; None when it is sound."""
    checks = [e for e in case.evidence if isinstance(e, LampCheck)]
    if not checks or split_component(component).kind != "warning-lamp":
        return None
    last = checks[-1]
    if last.lit and last.out_after_s is not None and last.stayed_out is not False:
        return None
    kinds = catalog.loops.untold["dark" if not last.lit else "held-on"]
    return Reported(weight=dict(kinds), shown=last.id, held_on=last.lit, evidence=(last.id,))


_UNLIKE = 3


def _shown_by_circuits(
    reports: list[Report], assessment: Assessment, chain: Chain, catalog: Catalog
) -> Reported | None:
    """Return what several unlike circuits at fault in the same way say of the control unit.

    It and its connector are all that they share; what has fired is left aside.
    """
    if chain.circuit != "unit" or not reports:
        return None
    last = reports[-1]
    at_fault = {c for c, _ in faulty_loops(last) if not is_spent(assessment, c)}
    lines = [
        x for x in last.reading.lines if x.component in at_fault and is_there(x) and is_heard(x)
    ]
    names = [split_component(c) for c in at_fault]
    unlike = {(n.place, catalog.kinds[n.kind].plug) for n in names if n.kind in catalog.kinds}
    if len(unlike) < _UNLIKE or len({frozenset(x.status) for x in lines}) > 1:
        return None
    share = 1.0 / len(lines)
    weight = _filled([(x.fault, share) for x in lines], catalog.loops.untold["igniter"])
    return Reported(
        weight=weight,
        statuses=frozenset(s for x in lines for s in x.status),
        report=last,
        first=last,
        evidence=(last.id,),
    )


def is_spent(assessment: Assessment, component: str) -> bool:
    """Return whether a device is held for fired or gone."""
    belief = assessment.get(component)
    return belief is not None and belief.now.fired + belief.now.missing >= 0.5


def _missed_by_others(reports: list[Report], chain: Chain, catalog: Catalog) -> Reported | None:
    """Return what other units, or the scan tool, say of the control unit that does not answer.

    Lines of other units only name it with a code: it does not answer, or not with sense.
    """
    if chain.circuit != "unit" or not reports:
        return None
    last = reports[-1]
    named = catalog.loops.words[_UNIT_WORD].pattern()
    texts = [plain(line.raw) for line in last.reading.unread]
    if last.reading.coverage.silent is None and not any(
        named.search(t) and _CODE_FIRST.match(t) for t in texts
    ):
        return None
    kinds = catalog.loops.untold["silent"]
    return Reported(weight=dict(kinds), shown=last.id, evidence=(last.id,))


_UNIT_WORD = "unit-device"
_CODE_FIRST = re.compile(r"[a-z]?[0-9a-f]{4,6}\b")


def _renewed_after_firing(case: Case, assessment: Assessment, component: str) -> int | None:
    """Return where a device that had fired was renewed; its codes before tell of the old one."""
    belief = assessment.get(component)
    if belief is None or belief.after_crash.fired < 0.5:
        return None
    places = [
        n
        for n, e in enumerate(case.evidence)
        if isinstance(e, DoneWork) and e.what == "replaced" and e.component == component
    ]
    return places[-1] if places else None


def _same_fault(named: list[Named], reports: list[Report], renewed: int | None) -> list[Named]:
    """Return the last reports of a circuit that tell of one and the same fault, oldest first.

    Another kind of fault, or a clean report of all circuits between, begins a new one.
    """
    run = [named[-1]]
    for earlier in reversed(named[:-1]):
        between = reports[reports.index(earlier[0]) + 1 : reports.index(run[0][0])]
        told = {w for _, w, _ in earlier[1]} - {"unknown"}
        mine = {w for _, found in run for _, w, _ in found} - {"unknown"}
        if any(is_whole(r) for r in between) or (told and mine and not told & mine):
            break
        run.insert(0, earlier)
    if renewed is not None and len(run) > 1:
        run = run[-1:]
    return run


def _kinds(run: list[Named], untold: dict[str, float]) -> dict[str, float]:
    """Return fault words with their share: of the newest report that tells the kind."""
    for _, found in reversed(run):
        weight: dict[str, float] = {}
        for _, word, share in found:
            weight[word] = max(weight.get(word, 0.0), share)
        if set(weight) != {"unknown"}:
            break
    return _filled(list(weight.items()), untold)


def _filled(told: list[tuple[str, float]], untold: dict[str, float]) -> dict[str, float]:
    """Return fault words with their share, summing to one; what is left open by the usual."""
    weight: dict[str, float] = {}
    for word, share in told:
        for w, s in untold.items() if word == "unknown" else ((word, 1.0),):
            weight[w] = weight.get(w, 0.0) + share * s
    total = math.fsum(weight.values())
    return {w: weight[w] / total for w in FAULTS if weight.get(w, 0.0) > 0.0}


def faulty_loops(report: Report) -> set[tuple[str, int]]:
    """Return component and stage (0 = not told) of circuits with a line in a report."""
    return {
        (line.component, line.stage or 0)
        for line in report.reading.lines
        if line.component and is_there(line) and is_heard(line) and line.fault not in NO_FAULT
    }
