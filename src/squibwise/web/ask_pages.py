"""Questions about the maker's rules and the crash, each answered with its source."""

from starlette.requests import Request
from starlette.responses import Response

from squibwise.garage import ticking
from squibwise.model.words import ASKED_WORDS
from squibwise.present.tell_orders import open_questions
from squibwise.present.tell_work import tell_question
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, car_page, opened_for
from squibwise.web.sending import Sent, enter, sends


def questions(request: Request) -> Response:
    """The questions whose answers shrink the list most, first."""
    opened, bench = opened_for(request), bench_of(request)
    whole = bench.whole(opened)
    told = [
        {
            "id": q.id,
            "text": tell_question(q),
            "answers": [a.partition(": ")[::2] for a in q.answers],
            "source": q.ask == "maker" and q.id not in ASKED_WORDS,
        }
        for q in open_questions(whole.todo)
    ]
    return car_page(
        request,
        "ask.html",
        opened,
        step="ask",
        first=[q for q in whole.states.open_questions if q.id not in {x["id"] for x in told}],
        questions=told,
        answered=[q for q in whole.todo.questions if q.answered],
    )


@sends
def answer(request: Request, sent: Sent) -> Response:
    """Write down an answer; everything that hangs on it follows."""
    opened, bench = opened_for(request), bench_of(request)
    asked, word, source = sent.get("question", 60), sent.get("answer", 10), sent.get("source", 300)
    entries, rules = ticking.answer_entries(opened.case, asked, word, source, bench.catalog)
    enter(request, opened, sent, f"answer {asked} {word}", lambda _: entries, rules)
    return go(f"/car/{opened.id}/ask")
