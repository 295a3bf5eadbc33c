"""One line of a report that may be of several circuits: whose it likely is, and what to ask."""

from collections.abc import Iterable, Sequence

import msgspec

from squibwise.catalog.load import Catalog, component_title
from squibwise.history.returned import is_heard, is_there, lines_for
from squibwise.isolate.reported import NO_FAULT
from squibwise.model.belief import Assessment, FaultyCircuit, OpenQuestion
from squibwise.model.case import Case
from squibwise.model.names import split_loop
from squibwise.model.origin import Finding
from squibwise.model.report import CodeLine, Report

WHICH = "which-circuit"
CODE_OF_SEVERAL = "code-of-several"


class OneCode(msgspec.Struct, frozen=True, kw_only=True):
    """A line that names no one circuit.

    Attributes:
        raw: The line as it stands in the report.
        shares: Components of the car that it may mean, with the chance that it is theirs: the
            likeliest first, summing to one.
    """

    raw: str
    shares: dict[str, float]


def names_several(case: Case) -> bool:
    """Return whether the last report has a line that names no one component."""
    return any(x.component is None for x in _last_lines(case)[1])


def _last_lines(case: Case) -> tuple[list[Report], list[CodeLine]]:
    """Return the last report, if any, and the lines of it that may tell of a restraint part."""
    last = [e for e in case.evidence if isinstance(e, Report)][-1:]
    return last, [x for r in last for x in r.reading.lines if is_there(x) and is_heard(x)]


def read_open_codes(case: Case, states: Assessment, catalog: Catalog) -> tuple[OneCode, ...]:
    """Return the lines of the last report that may be of several components of the car.

    Whose it is, is as likely as that its circuit is not good, by all that is known of the car: the
    fault is there once. What another line names outright needs no share of this one.
    """
    last, lines = _last_lines(case)
    named = {x.component for x in lines}
    if None not in named:
        return ()
    meant: dict[int, list[str]] = {}
    loops = [(c.id, int(stage)) for c in states.components for stage in c.stages]
    for component, stage in (loop for loop in loops if loop[0] not in named):
        for line, word, _ in lines_for(last[0], component, stage, catalog):
            if word not in NO_FAULT and component not in meant.setdefault(id(line), []):
                meant[id(line)].append(component)
    several = ((x, meant.get(id(x), [])) for x in lines if x.component is None)
    return tuple(OneCode(raw=x.raw, shares=_share(m, states)) for x, m in several if len(m) > 1)


def _share(meant: Sequence[str], states: Assessment) -> dict[str, float]:
    chances = {c: _not_good(c, states) for c in meant}
    total = sum(chances.values())
    ranked = sorted(meant, key=lambda c: -chances[c])
    return {c: chances[c] / total if total > 0.0 else 1.0 / len(meant) for c in ranked}


def _not_good(component: str, states: Assessment) -> float:
    """Return the chance that any circuit of a component is at fault or spent."""
    stages = states.of(component).stages.values()
    return max((s.faulty + s.fired for s in stages), default=0.0)


def mark_shares(
    circuits: Iterable[FaultyCircuit], codes: Sequence[OneCode]
) -> tuple[FaultyCircuit, ...]:
    """Return the circuits, the likelier first, each with its share of the code that it rests on."""
    found = []
    for circuit in circuits:
        component = split_loop(circuit.loop)[0]
        share = share_of(component, codes)
        if share < 1.0:
            others = {c: p for x in codes if component in x.shares for c, p in x.shares.items()}
            where = {place: p * share for place, p in circuit.where.items()}
            where["nowhere"] = where.get("nowhere", 0.0) + 1.0 - share
            circuit = msgspec.structs.replace(
                circuit,
                share=share,
                rivals=tuple(c for c in others if c != component),
                where=where,
            )
        found.append(circuit)
    return tuple(sorted(found, key=lambda c: -c.share))


def share_of(component: str, codes: Iterable[OneCode]) -> float:
    """Return the chance that a line which names no one circuit is a component's; 1 = none does."""
    return max((x.shares[component] for x in codes if component in x.shares), default=1.0)


def ask_which(case: Case, states: Assessment, catalog: Catalog) -> tuple[OpenQuestion, ...]:
    """Return the question whose a code is, where more than one component may well be meant."""
    least = catalog.fact("isolation.may-be-meant").number()
    for code in read_open_codes(case, states, catalog):
        likely = {c: p for c, p in code.shares.items() if p >= least}
        if len(likely) > 1:
            names = _names(likely, catalog)
            text = (
                f"Which is meant by '{code.raw.strip()}': {', '.join(names[:-1])} or {names[-1]}?"
            )
            why = "The code's number and the maker's list tell it; add the line that names it."
            return (OpenQuestion(id=WHICH, text=text, why=why),)
    return ()


def _names(shares: dict[str, float], catalog: Catalog) -> list[str]:
    """Return components as they are called, each with its share of a code."""
    return [f"{component_title(c, catalog)} ({p:.0%})" for c, p in shares.items()]


def tell_share(case: Case, states: Assessment, loop: str, catalog: Catalog) -> tuple[Finding, ...]:
    """Return that the code of a traced circuit may be another's, where it is so."""
    component = split_loop(loop)[0]
    for code in read_open_codes(case, states, catalog):
        if component in code.shares:
            others = _names({c: p for c, p in code.shares.items() if c != component}, catalog)
            message = f"The code is of this circuit with {code.shares[component]:.0%}"
            return (
                Finding(
                    code=CODE_OF_SEVERAL,
                    severity="note",
                    message=f"{message}, else of {' or '.join(others)}: {code.raw.strip()}",
                    remedy="The code's number and the maker's list tell whose it is.",
                ),
            )
    return ()
