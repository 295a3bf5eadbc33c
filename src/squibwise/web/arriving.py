"""Coming to the bench: pairing a phone, the token of its session, the language it is told in."""

from http import HTTPStatus

import segno
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from squibwise.catalog.screens import LANGUAGES
from squibwise.model.case import UNITS
from squibwise.web.bench import NotThereError
from squibwise.web.guarding import go, set_cookie
from squibwise.web.layout import LANGUAGE_COOKIE, UNITS_COOKIE, bench_of, page, refusal
from squibwise.web.sending import Sent, sends
from squibwise.web.sessions import Role

ROLES: tuple[Role, ...] = ("owner", "visitor")
YEAR_SECONDS = 365 * 86_400


def pair(request: Request) -> Response:
    """Begin a session with the token of a pairing; it works once."""
    session = bench_of(request).sessions.pair(request.path_params["token"])
    if session is None:
        told = "This code was used or is too old."
        remedy = "Whoever runs the bench shows a new one: Garage, Pair another phone."
        return refusal(request, HTTPStatus.GONE, "This cannot be shown", told, remedy)
    answer = go("/")
    set_cookie(answer.headers, session)
    return answer


def phone(request: Request) -> Response:
    """Show a code that pairs one more phone, and one for a visitor; who reads only sees none."""
    bench = bench_of(request)
    if request.state.session.role != "owner":
        raise NotThereError("There is no such page.")
    outside = sorted(h for h in bench.hosts if not h.startswith(("127.", "localhost", "[::1]")))
    if not outside:
        return page(request, "phone.html", codes=())
    offered = ((role, bench.sessions.offer_pairing(role)) for role in ROLES)
    codes = [(role, f"http://{outside[0]}/pair/{token}") for role, token in offered]
    drawn = [
        (role, address, segno.make(address, error="m").svg_data_uri(scale=6, border=2))
        for role, address in codes
    ]
    return page(request, "phone.html", codes=drawn)


def tell_token(request: Request) -> Response:
    """Return the token of the session, for what was kept while there was no connection."""
    return PlainTextResponse(request.state.session.token)


@sends
def speak(request: Request, sent: Sent) -> Response:
    """Keep the language or the units that were chosen and go back to the page."""
    del request
    back = sent.get("back", 300)
    answer = go(back if back.startswith("/") and not back.startswith(("//", "/\\")) else "/")
    lang, units = sent.get("lang", 2), sent.get("units", 6)
    for cookie, chosen, offered in (
        (LANGUAGE_COOKIE, lang, LANGUAGES),
        (UNITS_COOKIE, units, UNITS),
    ):
        if chosen in offered:
            answer.set_cookie(cookie, chosen, max_age=YEAR_SECONDS, httponly=True, samesite="lax")
    return answer
