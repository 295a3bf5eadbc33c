"""What stands before every endpoint: host, origin, session, form token, size, policy."""

import hmac
import re
from http import HTTPStatus

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from squibwise.web.bench import Bench
from squibwise.web.layout import refusal
from squibwise.web.sessions import Session

COOKIE = "squibwise-session"
LARGEST_UPLOAD = 24_000_000
LOOPBACK = ("127.0.0.1", "::1", "testclient")
OPEN_PATHS = ("/static/", "/pair/")
NOT_OURS = ("It was not sent from a page of the bench.", "Send it from the page itself.")
ENDED = ("The session has ended.", "Load the page again; a phone scans a new code.")
VISITING = ("A visitor reads and changes nothing.", "Ask whoever runs the bench to write it down.")
TOO_LARGE = (
    f"More than {LARGEST_UPLOAD // 1_000_000} MB is not taken.",
    "Send a smaller file.",
)
NOT_TEXT = ("Its text is not UTF-8.", "Send it from a page of the bench.")
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'; "
    "manifest-src 'self'; object-src 'self'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class Guard:
    """Refuses what does not belong here before any page is made. A class because ASGI asks for one.

    A page is called by a name of ours, so that no other site can reach it by a name that leads
    here; what is sent comes from a page of ours and carries its token.
    """

    def __init__(self, app: ASGIApp, bench: Bench) -> None:
        self.app, self.bench = app, bench

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer it with a refusal."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        if request.headers.get("host", "").lower() not in self.bench.hosts:
            scope.setdefault("state", {})["session"] = None
            told = "This is not a name of the bench."
            strange = refusal(request, HTTPStatus.MISDIRECTED_REQUEST, "Not here", told)
            await strange(scope, receive, _sealed(send, request, None))
            return
        session = self.bench.sessions.find(request.cookies.get(COOKIE, ""))
        begun = session is None and _is_here(scope) and _begins(request)
        if begun:
            session = self.bench.sessions.begin("owner")
        scope.setdefault("state", {})["session"] = session
        refused = _refuse(request, session, self.bench)
        answer: ASGIApp = refused or self.app
        await answer(scope, _limited(receive), _sealed(send, request, session if begun else None))


def _sealed(send: Send, request: Request, begun: Session | None) -> Send:
    """Return a way to send that puts the policy, and a session that was begun, on an answer."""

    async def sealed(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("cache-control", _keeping(request))
            if begun is not None:
                set_cookie(headers, begun)
        await send(message)

    return sealed


def _keeping(request: Request) -> str:
    """Return how long a browser may keep an answer: what names its content in its address, ever."""
    is_named = request.url.path.startswith("/static/") and bool(request.url.query)
    return "public, max-age=31536000, immutable" if is_named else "no-store"


def set_cookie(headers: MutableHeaders, session: Session) -> None:
    """Hand a session to a browser."""
    headers.append("set-cookie", f"{COOKIE}={session.id}; Path=/; HttpOnly; SameSite=Lax")


def _begins(request: Request) -> bool:
    """Return whether a request may begin a session: it asks for a page, on behalf of no other site.

    Source: W3C Fetch Metadata Request Headers, Sec-Fetch-Site and Sec-Fetch-Dest, from memory. A
    browser without them is taken as before; its sessions that nobody uses go first.
    """
    if request.method not in ("GET", "HEAD") or request.url.path.startswith(OPEN_PATHS):
        return False
    site = request.headers.get("sec-fetch-site", "none")
    is_page = request.headers.get("sec-fetch-dest") == "document"
    return is_page or site in ("same-origin", "none")


def _is_here(scope: Scope) -> bool:
    """Return whether a request comes from this very machine."""
    client = scope.get("client")
    return client is None or client[0] in LOOPBACK


def _refuse(request: Request, session: Session | None, bench: Bench) -> Response | None:
    """Return why a request is not answered; None when it is."""
    if request.method not in ("GET", "HEAD"):
        return _refuse_writing(request, session, bench)
    if session is None and not request.url.path.startswith(OPEN_PATHS):
        told = "This browser is not paired."
        remedy = "Scan the code that `squibwise serve --lan` shows."
        return refusal(request, HTTPStatus.UNAUTHORIZED, "This cannot be shown", told, remedy)
    return None


def _refuse_writing(request: Request, session: Session | None, bench: Bench) -> Response | None:
    """Return why nothing may be sent; None when it may."""
    headers = request.headers
    if not _is_ours(headers, bench):
        return _not_written(request, HTTPStatus.FORBIDDEN, *NOT_OURS)
    if session is None:
        return _not_written(request, HTTPStatus.UNAUTHORIZED, *ENDED)
    if session.role != "owner" and request.url.path != "/language":
        return _not_written(request, HTTPStatus.FORBIDDEN, *VISITING)
    length = headers.get("content-length", "0")
    if not length.isdecimal() or int(length) > LARGEST_UPLOAD:
        return _not_written(request, HTTPStatus.REQUEST_ENTITY_TOO_LARGE, *TOO_LARGE)
    if not _is_unicode(headers):
        return _not_written(request, HTTPStatus.UNSUPPORTED_MEDIA_TYPE, *NOT_TEXT)
    return None


def _not_written(request: Request, status: HTTPStatus, told: str, remedy: str) -> Response:
    return refusal(request, status, "Nothing was written", told, remedy)


def _is_unicode(headers: Headers) -> bool:
    """Return whether a form is UTF-8, as every page of ours sends it."""
    kind = headers.get("content-type", "").lower()
    named = re.findall(r"charset\W*([\w.:-]*)", kind)
    return all(name in ("utf-8", "utf8") for name in named)


def _is_ours(headers: Headers, bench: Bench) -> bool:
    """Return whether a request that changes something was sent by a page of ours."""
    origin = headers.get("origin", "")
    if origin:
        scheme, _, host = origin.lower().partition("://")
        return scheme == "http" and host in bench.hosts
    return headers.get("sec-fetch-site", "") in ("same-origin", "none")


def carries_token(session: Session | None, token: str) -> bool:
    """Return whether a form carries the token of its session."""
    return session is not None and hmac.compare_digest(session.token.encode(), token.encode())


def _limited(receive: Receive) -> Receive:
    """Stop a body that is longer than it said."""
    taken = 0

    async def counted() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > LARGEST_UPLOAD:
            raise HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        return message

    return counted


def go(path: str) -> Response:
    """Return the way to another page after something was sent."""
    return RedirectResponse(path, status_code=HTTPStatus.SEE_OTHER)
