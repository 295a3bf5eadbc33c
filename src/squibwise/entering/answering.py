"""What answers to the questions that ``work`` asks are written as."""

from collections.abc import Sequence
from typing import Any

import msgspec

from squibwise import case as line
from squibwise.catalog.load import Catalog
from squibwise.entering.case_text import Pairs
from squibwise.entering.saying import find_told
from squibwise.errors import InputError
from squibwise.intake.case_file.checks import did_you_mean
from squibwise.model.car import OwnRule
from squibwise.model.case import Case
from squibwise.model.words import ASKED_WORDS, REACHING, RECORD_GONE
from squibwise.model.work import Work
from squibwise.require import work
from squibwise.require.questions import ANSWERS, CRASH, YES, answer_rules


def read_answers(
    case: Case, words: Sequence[str], source: str, catalog: Catalog
) -> tuple[tuple[Pairs, ...], tuple[Pairs, ...]]:
    """Return the entries and rules that ``unit-bags no clock-spring yes`` stands for.

    Args:
        case: The case.
        words: Questions, each with its answer.
        source: Where the maker's answers stand.
        catalog: The questions.

    Raises:
        InputError: A question stands without an answer, or one of them cannot be read.
    """
    if len(words) % 2:
        raise InputError(
            f"'{words[-1]}' stands without an answer.",
            remedy="Write each question with its answer: unit-bags no clock-spring yes.",
        )
    entries: tuple[Pairs, ...] = ()
    rules: tuple[Pairs, ...] = ()
    for question, word in zip(words[::2], words[1::2], strict=True):
        more, ruled = _read_answer(case, question, word, source, catalog)
        entries, rules = (*entries, *more), (*rules, *ruled)
    return entries, rules


def _read_answer(
    case: Case, question: str, word: str, source: str, catalog: Catalog
) -> tuple[tuple[Pairs, ...], tuple[Pairs, ...]]:
    """Return what one answer stands for; of a flood or fire it is how far it came."""
    if question not in REACHING:
        return answer_entries(case, question, word, source, catalog)
    if word in ANSWERS:
        raise InputError(
            f"'{word}' does not say what the {question} reached.",
            remedy=f"Answer {' or '.join(catalog.said.levels)}, or the parts it reached.",
        )
    return (find_told((question, word), case.car, catalog),), ()


def tell_idle(
    case: Case, words: Sequence[str], rules: Sequence[Pairs], catalog: Catalog
) -> tuple[str, ...]:
    """Return that rules change nothing on this car now, and what is asked of it; else nothing.

    Args:
        case: The case, before they were written.
        words: Questions, each with its answer.
        rules: What the answers are written as.
        catalog: The questions.
    """
    if not rules:
        return ()
    states = line.assess(case, catalog)
    before = work(case, states, catalog)
    own = tuple(msgspec.convert(dict(r), OwnRule) for r in rules)
    profile = msgspec.structs.replace(case.profile, rules=(*case.profile.rules, *own))
    after = work(msgspec.structs.replace(case, profile=profile), states, catalog)
    if _list_asked(before) != _list_asked(after):
        return ()
    asked = [q.id for q in before.questions if not q.answered and q.id not in words]
    then = f" What is asked of this car: {', '.join(asked)}." if asked else ""
    return (f"This changes nothing on the list now: no line hangs on {words[0]}.{then}",)


def _list_asked(todo: Work) -> dict[str, Any]:
    """Return what is ordered and done of a job: kind and chance of each line."""
    orders = {(o.assembly, o.contains): (o.kind, o.p, o.question) for o in todo.orders}
    return {i.id: (i.kind, i.needed, i.strict) for i in todo.items} | {"orders": orders}


def answer_entries(
    case: Case, question: str, word: str, source: str, catalog: Catalog
) -> tuple[tuple[Pairs, ...], tuple[Pairs, ...]]:
    """Return the entries and the maker's rules that an answer stands for.

    A crash record that does not go away is a failed inspection of the control unit.

    Args:
        case: The case.
        question: Id of the question, as ``work`` prints it.
        word: ``yes`` or ``no``.
        source: Where the maker's answer stands.
        catalog: The questions.

    Raises:
        InputError: There is no such question, no such answer, or the source is missing.
    """
    known = catalog.rules.questions
    if question == "equipment" and word != YES:
        raise InputError(
            f"'{word}' does not say what the car has.",
            remedy="Answer yes when it is as the template says; else write equipment, add or "
            "remove under [car] (`squibwise catalog` lists the templates).",
        )
    if word not in ANSWERS:
        raise InputError(f"'{word}' is no answer.", remedy=f"Answer {' or '.join(ANSWERS)}.")
    if question in ASKED_WORDS:
        result = "passed" if word == YES else "failed"
        note = f"answered {word}" + (f"; {source}" if source else "")
        told: Pairs = {"kind": "passed", "what": question, "result": result, "note": note}
        stays = question == RECORD_GONE and word != YES
        return (told, {**told, "what": "centre.control-unit:inspect"})[: 1 + stays], ()
    if question == CRASH:
        return ({"kind": "circumstance", "what": "crash", "present": word == YES},), ()
    if question not in known:
        raise InputError(
            f"'{question}' is no question.",
            remedy=did_you_mean(question, (CRASH, *ASKED_WORDS, *known)),
        )
    if not source.strip():
        remedy = 'Say where it stands: --source "maker\'s procedure, section 12".'
        raise InputError("an answer of the maker needs its source.", remedy=remedy)
    rules = answer_rules(known[question], word, case, source)
    return (), tuple(
        {"component": r.component, "action": r.action, "when": r.when, "source": r.source}
        for r in rules
    )
