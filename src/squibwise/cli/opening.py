"""Open a case for a command, with what the user's own finished cases teach, and answer about it."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Protocol, TypeVar

import msgspec

from squibwise import __version__
from squibwise import case as line
from squibwise.catalog.load import Catalog, load_catalog
from squibwise.cli import output, stored
from squibwise.cli.stored import as_file
from squibwise.errors import InputError
from squibwise.garage.learning import learn_own
from squibwise.model.belief import ComponentBelief
from squibwise.model.case import Case, Experience
from squibwise.model.names import split_component
from squibwise.model.origin import Finding
from squibwise.model.proof import Verdict
from squibwise.model.work import Demand, Work
from squibwise.present.phrases import tell_experience
from squibwise.present.telling import Telling


class Opened(msgspec.Struct, frozen=True, kw_only=True):
    """What a command works on.

    Attributes:
        folder: Its folder; a case of the garage is laid out until the program ends.
        case: The case, with everything remarkable about the input.
        catalog: The catalogue.
        own: What the finished cases teach; empty when none were named.
        learned: Were finished cases named.
    """

    folder: Path
    case: Case
    catalog: Catalog
    own: Experience
    learned: bool


class Named(Protocol):
    """Anything with an id."""

    @property
    def id(self) -> str:
        """The id as people write it."""


N = TypeVar("N", bound=Named)


def open_case(path: Path, own: Path | None = None) -> Opened:
    """Return the case under a path, and what the user's own finished cases teach.

    Raises:
        InputError: The case cannot be used, or there is no such folder.
    """
    output.begin_waiting(f"Working on {path}")
    catalog = load_catalog()
    path = stored.located(path)
    with as_file(path) as given:
        case = line.open_case(given, catalog)
    learned = learn_own(own, path, stored.garage_file(), catalog, __version__)
    return Opened(
        folder=stored.folder_of(path),
        case=msgspec.structs.replace(case, findings=(*learned.findings, *case.findings)),
        catalog=catalog,
        own=learned.own,
        learned=learned.told,
    )


def answer(
    at: Opened,
    value: Mapping[str, Any],
    telling: Callable[[], Telling],
    *,
    as_json: bool,
    findings: Iterable[Finding] = (),
    needs_person: bool = False,
) -> int:
    """Write an answer about a case and return the exit code.

    Args:
        at: The case at hand.
        value: The answer in plain values.
        telling: Makes what a person is told.
        as_json: JSON instead of text.
        findings: What is remarkable about the answer itself.
        needs_person: Does something need a person, whatever the findings say.
    """
    told = list(dict.fromkeys((*at.case.findings, *findings)))
    whole = {"case": at.case.id} | dict(value)
    whole |= {"findings": [output.as_builtins(f) for f in told]}
    if at.learned:
        whole |= {"own_cases": output.as_builtins(at.own)}
    code = output.exit_code(told, needs_person=needs_person)
    return output.answer(whole, lambda: _headed(at, telling()), as_json=as_json, code=code)


def _headed(at: Opened, telling: Telling) -> Telling:
    if not at.learned:
        return telling
    return msgspec.structs.replace(telling, about=(*telling.about, tell_experience(at.own)))


def draw(beliefs: Iterable[ComponentBelief], folder: Path | None) -> tuple[Path, ...]:
    """Write one drawing for each belief into a folder; none without a folder.

    Raises:
        InputError: The folder cannot be written to, or holds another file of that name.
    """
    if folder is None:
        return ()
    from squibwise.cli.files import write_drawings  # brings all that signs records

    return write_drawings(beliefs, folder)


def find(name: str, among: Sequence[N], what: str) -> N:
    """Return the one with this id.

    Raises:
        InputError: There is none; the message suggests the nearest.
    """
    found = next((one for one in among if one.id == name), None)
    if found is None:
        raise InputError(f"'{name}' is no {what}.", remedy=suggest(name, (o.id for o in among)))
    return found


def find_verdict(what: str, verdicts: Sequence[Verdict]) -> Verdict:
    """Return the verdict on one thing.

    Raises:
        InputError: There is none; the message suggests the nearest.
    """
    found = next((v for v in verdicts if v.what == what), None)
    if found is None:
        remedy = suggest(what, (v.what for v in verdicts))
        raise InputError(f"'{what}' is no verdict of this case.", remedy=remedy)
    return found


def tell_line(what: str, case: Case, todo: Work, catalog: Catalog) -> Telling:
    """Return the reasons of one line of the work: an operation, an order, or a demand.

    Raises:
        InputError: Nothing is called so, or several are; the message suggests the nearest.
    """
    from squibwise.present.tell_visits import tell_operation
    from squibwise.present.tell_work import tell_item, tell_order

    for operation in todo.operations:
        if what in (str(operation.n), operation.id):
            return tell_operation(case, operation, todo, catalog)
    orders = [o for o in todo.orders if what in (o.key, o.title, o.assembly)]
    ordered = {c for o in orders for c in o.contains}
    items = [i for i in todo.items if what in _names_of(i) and i.component not in ordered]
    if len(orders) == 1 and not items:
        return tell_order(case, orders[0], catalog)
    if len(items) == 1 and not orders:
        return tell_item(case, items[0], catalog)
    if several := [*(o.key for o in orders), *(i.id for i in items)]:
        raise InputError(f"'{what}' may be any of {len(several)}.", remedy=one_of(several))
    known = [*(i.id for i in todo.items), *(o.key for o in todo.orders)]
    raise InputError(f"'{what}' is no line of this work.", remedy=suggest(what, known))


def _names_of(item: Demand) -> tuple[str, ...]:
    """Return what a demand may be called: its id, its component, the kind of that."""
    component = item.component or ""
    return (item.id, component, split_component(component).kind if "." in component else "")


def refuse_unnamed(at: Opened) -> InputError:
    """Return the error of a circuit that is not named, with what is at fault, likeliest first."""
    from squibwise import case
    from squibwise.entering import saying
    from squibwise.present.faulty_circuits import find_faulty_circuits
    from squibwise.present.figures import percent

    whole = case.overview(at.case, at.catalog, at.own)
    found = find_faulty_circuits(at.case, whole.states, whole.todo, at.catalog)
    told = [(c.loop, "it is back" if c.returned else c.shared or percent(c.p)) for c in found]
    named = {loop for loop, _ in told}
    renewed = [c.loop for c in whole.states.circuits if c.loop not in named]
    return saying.refuse_unnamed(told, renewed, at.case.car, at.catalog)


def tell_visit(number: int, case: Case, todo: Work, catalog: Catalog) -> Telling:
    """Return one visit of the work, every operation on its own line.

    Raises:
        InputError: The work has no visit of that number.
    """
    from squibwise.present.tell_work import tell_one_visit

    if not 1 <= number <= len(todo.visits):
        listed = "; ".join(f"{n} {v.title}" for n, v in enumerate(todo.visits, start=1))
        raise InputError(f"This work has no visit {number}.", remedy=f"Its visits: {listed}.")
    return tell_one_visit(case, todo, number, catalog)


def suggest(name: str, words: Iterable[str]) -> str:
    """Return ``Did you mean 'x'?`` with up to three words, or an empty text."""
    from rapidfuzz import fuzz, process

    found = process.extract(name.lower(), list(words), scorer=fuzz.WRatio, limit=3, score_cutoff=60)
    return one_of([word for word, _, _ in found]) if found else ""


def one_of(words: Iterable[str]) -> str:
    """Return ``Did you mean 'x' or 'y'?``."""
    return f"Did you mean {' or '.join(map(repr, dict.fromkeys(words)))}?"
