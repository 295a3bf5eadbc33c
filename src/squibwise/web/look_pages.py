"""Looks and questions: which to make or to ask next, and writing down what came of them."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from squibwise import case as line
from squibwise.catalog.load import Catalog
from squibwise.entering import answering, case_text, new_case, saying
from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.garage.writing import change_file
from squibwise.history.power import ASK_WAIT, doubt_wait
from squibwise.intake.case_file.car_files import is_picture
from squibwise.intake.case_file.load import CASE_FILE
from squibwise.intake.case_file.toml_text import decode
from squibwise.model.evidence import Photo
from squibwise.model.names import ZONES, split_component
from squibwise.model.words import ASKED_WORDS, REACHING
from squibwise.model.work import Question
from squibwise.present.phrases import in_words
from squibwise.present.tell_assessment import doubtful_parts, tell_look
from squibwise.present.tell_bench import Mark, make_cards, make_picture, page_of_look
from squibwise.present.tell_orders import is_crash_untold, open_questions
from squibwise.present.tell_work import tell_question
from squibwise.web.bench import NotThereError, Opened
from squibwise.web.car_pages import FRESH, find_part
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, car_page, opened_for
from squibwise.web.sending import (
    Pairs,
    Sent,
    as_file,
    changing,
    common,
    enter,
    pick,
    read_number,
    refuse_unnamed,
    sends,
)

TOLD_KINDS = ("circumstance", "impact", "occupant")
EQUIPMENT, FLOOD, FRONT_SEATS = "equipment", "flood", ("driver", "passenger")
_HAPPENED = ("crash", "no crash", *(w for w in saying.WHATS if w != "crash"))
SHOWN_NEXT = 8
REACHES = ("floor", "seats", "dash", "roof")
KNOWING = (
    ("what", "What happened", _HAPPENED),
    ("reach", "How high the water or the fire came", REACHES),
    ("zone", "Where it was hit", ZONES),
    ("extent", "How hard", saying.EXTENTS),
    ("driver", "On the driver's seat", tuple(saying.SEATED)),
    ("passenger", "On the passenger's seat", tuple(saying.SEATED)),
)
"""What may be known of a crash: the field, what it is called, what it may hold."""
MAKER_FIGURES = {
    "wait_minutes": "Wait after the power comes off [min]",
    "loop_low_ohm": "Least resistance of a circuit [ohm]",
    "loop_high_ohm": "Most resistance of a circuit [ohm]",
    "seat_off_kg": "Most a seat may read off a dead weight [kg]",
    "seat_gap_kg": "Most between up and down at one load [kg]",
}
"""Figures of the maker that replace the longest and widest published ones."""
_PICTURES = {
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".png": "image/png",
    ".webp": "image/webp",
    ".gif": "image/gif",
}


def looks(request: Request) -> Response:
    """What is worth a look, most worth first, and every part by its place."""
    opened, bench = opened_for(request), bench_of(request)
    whole = bench.whole(opened)
    picture = make_picture(opened.case, whole.states, bench.catalog)
    marks = {m.component: m for m in picture.marks}
    nexts = [
        (
            page_of_look(look),
            marks[look.component],
            tell_look(look, bench.catalog).partition(": ")[2],
        )
        for look in whole.states.next_looks
        if look.component in marks
    ]
    worth = {mark.component for _, mark, _ in nexts[:SHOWN_NEXT]}
    rest = (c.id for c in doubtful_parts(whole.states, bench.catalog) if c.id not in worth)
    doubtful = [marks[c] for c in rest]
    return car_page(
        request,
        "looks.html",
        opened,
        step="look",
        nexts=nexts[:SHOWN_NEXT],
        doubtful=doubtful,
        contradictions=whole.states.contradictions,
        places=list(_by_place(picture.marks)),
    )


def _by_place(marks: tuple[Mark, ...]) -> Iterator[tuple[str, list[Mark]]]:
    places: dict[str, list[Mark]] = {}
    for mark in marks:
        places.setdefault(mark.place, []).append(mark)
    return ((in_words(place), found) for place, found in places.items())


@sends
def look(request: Request, sent: Sent) -> Response:
    """Write down what was seen on a part, with a photograph of it."""
    opened, component = opened_for(request), sent.get("component", 80)
    stages = find_part(opened, bench_of(request), component).stages
    stage = pick(sent, "stage", stages if len(stages) > 1 else ())
    looked = f"{component}/{stage}" if stage else component
    word, photos = sent.get("seen_word", 60), sent.files.get("photo", ())
    if not word and not photos:
        raise InputError("Nothing was chosen.", remedy="Choose what you see, or a photograph.")

    asked = pick(sent, "asked", bench_of(request).catalog.looks(split_component(component).kind))
    missed = {"asked": asked} if asked not in ("", word) else {}

    def make(folder: Path) -> Iterator[Pairs]:
        if word:
            said = common(sent) if photos else _noted(sent)
            yield {"kind": "look", "component": looked, "seen": word, **missed, **said}
        for name, data in photos:
            yield _photo(folder, name, data, component) | _noted(sent)

    enter(request, opened, sent, f"saw {looked}: {in_words(word or 'photograph')}", make)
    return go(f"/car/{opened.id}/part/{component}?{FRESH}=1")


def _photo(folder: Path, name: str, data: bytes, subject: str) -> dict[str, Any]:
    if not case_text.is_picture(Path(name)) or (data and not is_picture(data)):
        raise InputError(f"'{name[:80]}' is no picture.", remedy="Take a JPEG or PNG.")
    with as_file(name, data) as file:
        return dict(case_text.photo_entry(folder, file, subject, None))


def _noted(sent: Sent) -> dict[str, Any]:
    note = sent.get("note", 200)
    return ({"note": note} if note else {}) | common(sent)


def picture(request: Request) -> Response:
    """A photograph of the case, as it was handed in."""
    opened, wanted = opened_for(request), request.path_params["path"]
    kind = _PICTURES.get(Path(wanted).suffix.lower())
    named = any(isinstance(e, Photo) and e.file == wanted for e in opened.case.evidence)
    if kind is None or not named:
        raise NotThereError(f"There is no picture '{wanted[:80]}'.")
    with connected(bench_of(request).place) as garage:
        data = store.content(garage, opened.id, (wanted,))[wanted]
    return Response(data, media_type=kind)


def questions(request: Request) -> Response:
    """The questions whose answers shrink the list most, first."""
    opened, bench = opened_for(request), bench_of(request)
    whole = bench.whole(opened)
    told = [_told(q) for q in open_questions(whole.todo)]
    return car_page(
        request,
        "ask.html",
        opened,
        step="ask",
        first=[q for q in whole.states.open_questions if q.id not in {x["id"] for x in told}],
        questions=told,
        templates=[(n, t.title) for n, t in bench.catalog.templates.items()],
        knowing=KNOWING,
        known=[c.told for c in make_cards(opened.case, bench.catalog) if c.kind in TOLD_KINDS],
        untold=is_crash_untold(opened.case, whole.todo),
        answered=[_told(q) | {"answered": q.answered} for q in whole.todo.questions if q.answered],
        figures=[(f, label, _stated(opened, f)) for f, label in MAKER_FIGURES.items()],
    )


def _told(question: Question) -> dict[str, Any]:
    return {
        "id": question.id,
        "text": tell_question(question),
        "answers": [a.partition(": ")[::2] for a in question.answers],
        "source": _is_rule(question),
    }


def _stated(opened: Opened, field: str) -> float | None:
    """Return a figure of the maker as the case states it."""
    given = getattr(opened.case.profile, field)
    return None if given is None else given.value


@sends
def keep_figures(request: Request, sent: Sent) -> Response:
    """Write down figures of the maker, and where they stand."""
    opened, bench = opened_for(request), bench_of(request)
    refuse_unnamed(sent, "Say who read them.")
    read = {f: read_number(sent, f, label=label) for f, label in MAKER_FIGURES.items()}
    _refuse_no_wait(read["wait_minutes"], bench.catalog)
    figures = {f: v for f, v in read.items() if v is not None and v != _stated(opened, f)}
    if not figures:
        raise InputError("No figure was stated.", remedy="Write one, and where the maker says so.")
    source = sent.get("source", 300)
    if not source:
        raise InputError("The source is missing.", remedy="Write where the maker says so.")
    with changing(request, opened, sent, "figures of the maker") as folder:
        for field, value in figures.items():
            change_file(
                folder / CASE_FILE,
                lambda old, f=field, v=value: new_case.state_figure(  # type: ignore[misc]
                    decode(old, CASE_FILE), f, v, source
                ).encode("utf-8"),
            )
        line.open_case(folder, bench.catalog)
    return go(f"/car/{opened.id}/ask")


def _refuse_no_wait(minutes: float | None, catalog: Catalog) -> None:
    """Stop a wait that no maker asks for: hands would be in a live car.

    Raises:
        InputError: It is shorter than the shortest published one.
    """
    told = "" if minutes is None else doubt_wait(minutes, catalog)
    if told:
        raise InputError(f"{told}.", remedy=ASK_WAIT)


def _is_rule(question: Question) -> bool:
    """Return whether a question is answered by a rule of the maker, which somebody read."""
    return question.ask == "maker" and question.id not in ASKED_WORDS


@sends
def answer(request: Request, sent: Sent) -> Response:
    """Write down an answer; everything that hangs on it follows."""
    opened, bench = opened_for(request), bench_of(request)
    word, source, whole = sent.get("answer", 40), sent.get("source", 300), bench.whole(opened)
    asked = {q.id for q in whole.todo.questions} | {q.id for q in whole.states.open_questions}
    question = pick(sent, "question", asked)
    if any(_is_rule(q) for q in whole.todo.questions if q.id == question):
        refuse_unnamed(sent, "Say who read the rule.")
    if question == EQUIPMENT and word in bench.catalog.templates:
        with changing(request, opened, sent, f"equipped as {in_words(word)}") as folder:
            change_file(folder / CASE_FILE, lambda old: _equipped(old, word))
            line.open_case(folder, bench.catalog)
        return go(f"/car/{opened.id}/ask")
    entries, rules = answering.answer_entries(opened.case, question, word, source, bench.catalog)
    enter(
        request,
        opened,
        sent,
        f"answered {in_words(question)}: {in_words(word)}",
        lambda _: entries,
        rules,
    )
    return go(f"/car/{opened.id}/ask")


def _equipped(text: bytes, template: str) -> bytes:
    return new_case.equip(decode(text, CASE_FILE), template).encode("utf-8")


@sends
def tell(request: Request, sent: Sent) -> Response:
    """Write down what is known of the crash: what happened, where it was hit, who sat where."""
    opened = opened_for(request)
    known = {field: pick(sent, field, words) for field, _, words in KNOWING}
    happened, reached = known["what"] or (FLOOD if known["reach"] else ""), known["reach"]
    if reached and happened not in REACHING:
        remedy = "Choose flood, fire, heat or corrosion; what else happened is written down apart."
        raise InputError("How high it came is told of water or fire.", remedy=remedy)
    if bool(known["zone"]) != bool(known["extent"]):
        remedy = "Choose both; it may be the place that was hit most."
        raise InputError("Where it was hit and how hard belong together.", remedy=remedy)
    told = [[*happened.split(), reached]]
    told += [[known["zone"], known["extent"]]]
    told += [[seat, known[seat]] for seat in FRONT_SEATS if known[seat]]
    told = [words for some in told if (words := [word for word in some if word])]
    catalog = bench_of(request).catalog
    if not told:
        raise InputError("Nothing was chosen.", remedy="Choose what is known; leave the rest.")
    entries = [
        {**saying.find_told(words, opened.case.car, catalog), **common(sent)} for words in told
    ]
    what = "; ".join(", ".join(words) for words in told)
    enter(request, opened, sent, f"told {what}", lambda _: entries)
    return go(f"/car/{opened.id}/ask")
