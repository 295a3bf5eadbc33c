"""The application: which address is which page, and what stands before all of them."""

from http import HTTPStatus
from pathlib import Path

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from squibwise.catalog.load import load_catalog
from squibwise.errors import SquibwiseError
from squibwise.web import (
    bid_pages,
    car_pages,
    garage_pages,
    look_pages,
    lots_pages,
    market_pages,
    prove_pages,
    report_pages,
    seat_pages,
    trace_pages,
    work_pages,
)
from squibwise.web.arriving import pair, phone, speak, tell_token
from squibwise.web.bench import Bench, NotThereError
from squibwise.web.guarding import TOO_LARGE, Guard
from squibwise.web.layout import STATIC, refusal
from squibwise.web.sessions import Sessions

LEAST_PACKED = 500  # bytes


def make_app(place: Path, hosts: frozenset[str], sessions: Sessions | None = None) -> Starlette:
    """Return the application over a garage.

    Args:
        place: The garage.
        hosts: Names with port under which it may be called, such as ``127.0.0.1:8321``.
        sessions: Who is here; new ones by default.
    """
    bench = Bench(place, load_catalog(), sessions or Sessions(), hosts)
    app = Starlette(
        routes=_routes(),
        middleware=[
            Middleware(GZipMiddleware, minimum_size=LEAST_PACKED),
            Middleware(Guard, bench=bench),
        ],
        exception_handlers={
            NotThereError: _not_there,
            SquibwiseError: _refused,
            400: _malformed,
            404: _not_there,
            405: _not_there,
            413: _too_large,
            ClientDisconnect: _gone,
            Exception: _unforeseen,
        },
    )
    app.state.bench = bench
    return app


GETS = {
    "/": garage_pages.garage,
    "/new": garage_pages.new_page,
    "/lots": lots_pages.lots_page,
    "/pair/{token}": pair,
    "/phone": phone,
    "/token": tell_token,
    "/car/{car}": car_pages.car,
    "/car/{car}/part/{part}": car_pages.part,
    "/car/{car}/file/{path:path}": look_pages.picture,
    "/car/{car}/look": look_pages.looks,
    "/car/{car}/trace": trace_pages.circuits,
    "/car/{car}/trace/{loop:path}": trace_pages.card,
    "/car/{car}/ask": look_pages.questions,
    "/car/{car}/order": market_pages.orders,
    "/car/{car}/request.csv": market_pages.request_sheet,
    "/car/{car}/buying": market_pages.buying,
    "/car/{car}/buying/progress": market_pages.buying_progress,
    "/car/{car}/bid": bid_pages.bid,
    "/car/{car}/bid/progress": bid_pages.bid_progress,
    "/car/{car}/work": work_pages.visits,
    "/car/{car}/operation/{number}": work_pages.operation,
    "/car/{car}/add": report_pages.add_page,
    "/car/{car}/report/{report}": report_pages.lines,
    "/car/{car}/seat/{sensor}": seat_pages.seat,
    "/car/{car}/prove": prove_pages.gates,
    "/car/{car}/record": prove_pages.preview,
    "/car/{car}/record.pdf": prove_pages.pdf,
    "/car/{car}/record.json": prove_pages.data,
    "/car/{car}/history": garage_pages.history,
}
POSTS = {
    "/language": speak,
    "/new": garage_pages.start,
    "/lots": lots_pages.lots,
    "/car/{car}/look": look_pages.look,
    "/car/{car}/trace/{loop:path}": trace_pages.outcome,
    "/car/{car}/ask": look_pages.answer,
    "/car/{car}/told": look_pages.tell,
    "/car/{car}/maker": look_pages.keep_figures,
    "/car/{car}/offers": market_pages.offers,
    "/car/{car}/offer": market_pages.keep_offer,
    "/car/{car}/terms": market_pages.keep_terms,
    "/car/{car}/bid": bid_pages.keep_sheet,
    "/car/{car}/price": bid_pages.keep_price,
    "/car/{car}/power-off": work_pages.power_off,
    "/car/{car}/tick": work_pages.tick,
    "/car/{car}/add": report_pages.add,
    "/car/{car}/report/{report}": report_pages.correct,
    "/car/{car}/seat/{sensor}": seat_pages.weigh,
    "/car/{car}/sign": prove_pages.sign,
    "/car/{car}/undo": garage_pages.undo,
}
"""What each address answers, and what may be sent to it."""


def _routes() -> list[Route | Mount]:
    return [
        *(Route(path, endpoint) for path, endpoint in (GETS).items()),
        *(Route(path, endpoint, methods=["POST"]) for path, endpoint in POSTS.items()),
        Mount("/static", StaticFiles(directory=STATIC)),
    ]


def _not_there(request: Request, error: Exception) -> Response:
    message = str(error) if isinstance(error, SquibwiseError) else "There is no such page."
    return refusal(request, HTTPStatus.NOT_FOUND, "Not here", message)


def _refused(request: Request, error: Exception) -> Response:
    remedy = error.remedy if isinstance(error, SquibwiseError) else ""
    findings = [f.text() for f in getattr(error, "findings", ())]
    findings = [told for told in findings if told != f"{error} {remedy}".strip()]
    title = "Nothing was written" if request.method == "POST" else "This cannot be shown"
    remedy = remedy.removeprefix(f"{title}. ").removesuffix(f"{title}.")
    message = str(error).removesuffix(f" {title}.")
    status = HTTPStatus.UNPROCESSABLE_ENTITY
    return refusal(request, status, title, message, remedy, findings=findings)


def _too_large(request: Request, error: Exception) -> Response:
    status = HTTPStatus.REQUEST_ENTITY_TOO_LARGE
    return refusal(request, status, "Nothing was written", *TOO_LARGE)


def _malformed(request: Request, error: Exception) -> Response:
    message = "What was sent is cut off or holds too much."
    remedy = "Send it again from the page, in parts."
    return refusal(request, HTTPStatus.BAD_REQUEST, "Nothing was written", message, remedy)


def _gone(request: Request, error: Exception) -> Response:
    """Answer who lost the connection while sending: nothing was written, the page sends again."""
    return Response(status_code=HTTPStatus.BAD_REQUEST)


def _unforeseen(request: Request, error: Exception) -> Response:
    message = f"Squibwise met something that it did not foresee: {type(error).__name__}."
    remedy = "This is a fault in the program, not in your work. Nothing that was entered is lost."
    return refusal(request, HTTPStatus.INTERNAL_SERVER_ERROR, "A fault", message, remedy)
