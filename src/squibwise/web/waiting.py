"""Answers that take seconds: the page says so and shows how it goes, then shows the answer."""

import asyncio
import datetime as dt
from collections.abc import AsyncIterator, Callable, Hashable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from squibwise.errors import SquibwiseError
from squibwise.web.bench import Bench, Opened
from squibwise.web.layout import bench_of, car_page, opened_for

TELL_SECONDS = 0.5

Answering = Callable[[Bench, Opened], Any]


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
        return show(bench.keep(key, lambda: answering(bench, opened)))
    return car_page(request, "waiting.html", opened, what=what, step="order")


def _key(name: str, opened: Opened) -> Hashable:
    return (name, opened.id, opened.seen, dt.date.today())  # dates and deadlines hang on the day


async def tell_progress(request: Request, name: str, answering: Answering) -> Response:
    """Return events while an answer is worked out: seconds gone by, then that it is there."""
    bench = bench_of(request)
    opened = await run_in_threadpool(opened_for, request)

    async def events() -> AsyncIterator[str]:
        work = asyncio.create_task(
            run_in_threadpool(bench.keep, _key(name, opened), lambda: answering(bench, opened))
        )
        gone = 0.0
        while not work.done():
            yield f"data: {gone:.0f}\n\n"
            await asyncio.wait((work,), timeout=TELL_SECONDS)
            gone += TELL_SECONDS
        failed = isinstance(work.exception(), SquibwiseError)
        yield f"event: {'failed' if failed else 'done'}\ndata: {gone:.0f}\n\n"

    return StreamingResponse(events(), media_type="text/event-stream")
