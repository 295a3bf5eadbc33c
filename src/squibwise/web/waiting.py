"""Answers that take seconds: the page says so and shows how it goes, then shows the answer."""

import asyncio
import datetime as dt
from collections.abc import AsyncIterator, Callable, Hashable
from functools import partial
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from squibwise.errors import SquibwiseError
from squibwise.present.page_words import tell_on_page
from squibwise.web.bench import Bench, Opened
from squibwise.web.layout import bench_of, car_page, country, language, opened_for

TELL_SECONDS = 0.5

Tell = Callable[[str], None]
Answering = Callable[[Bench, Opened, Tell], Any]
"""Works an answer out, and may tell what it is at."""


def answer_or_wait(
    request: Request,
    opened: Opened,
    name: str,
    answering: Answering,
    show: Callable[[Any], Response],
    what: str,
) -> Response:
    """Return the page of an answer that is there, or one that waits for it.

    Args:
        request: What is answered; ``?now=1`` waits here, for browsers without scripts.
        opened: The car.
        name: Of the answer; it is kept for the car as it stands, for a day.
        answering: Works the answer out.
        show: Makes the page of it.
        what: What is waited for, in words.
    """
    bench, key = bench_of(request), _key(name, opened)
    if bench.has(key) or request.query_params.get("now"):
        return show(bench.keep(key, lambda: answering(bench, opened, _tell_nobody)))
    return car_page(request, "waiting.html", opened, what=what, step="order")


def _say(words: str, spoken: str, where: str) -> str:
    return tell_on_page(words, spoken, where) if words else ""


def _tell_nobody(_: str) -> None:
    """Somebody waits for the answer itself."""


def _key(name: str, opened: Opened) -> Hashable:
    return (name, opened.id, opened.seen, dt.date.today())  # dates and deadlines hang on the day


async def tell_progress(request: Request, name: str, answering: Answering) -> Response:
    """Return events while an answer is worked out, then that it is there.

    Each tells the seconds gone by and what is searched for, in the words of the page.
    """
    bench, told = bench_of(request), [""]
    opened = await run_in_threadpool(opened_for, request)

    say = partial(_say, spoken=language(request), where=country(request, opened))

    async def events() -> AsyncIterator[str]:
        work = asyncio.create_task(
            run_in_threadpool(
                bench.keep, _key(name, opened), lambda: answering(bench, opened, told.append)
            )
        )
        gone = 0.0
        while not work.done():
            yield f"data: {gone:.0f} {say(told[-1])}\n\n"
            await asyncio.wait((work,), timeout=TELL_SECONDS)
            gone += TELL_SECONDS
        failed = isinstance(work.exception(), SquibwiseError)
        yield f"event: {'failed' if failed else 'done'}\ndata: {gone:.0f}\n\n"

    return StreamingResponse(events(), media_type="text/event-stream")
