"""Pages from templates: every page gets the session, the language and the standing notice."""

import hashlib
import secrets
from collections.abc import Iterator
from functools import cache
from http import HTTPStatus
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import msgspec
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse

from squibwise.catalog.load import Catalog
from squibwise.catalog.screens import LANGUAGES
from squibwise.model.case import UNITS
from squibwise.present.figures import speed_in, weight_in
from squibwise.present.page_words import tell_cell, tell_on_page, write_figure
from squibwise.present.phrases import in_words, standing
from squibwise.present.tell_bench import make_job
from squibwise.present.tell_bid import BAR
from squibwise.web.bench import Bench, Opened
from squibwise.web.sessions import Session

HERE = Path(__file__).parent
STATIC = HERE / "static"
LANGUAGE_COOKIE, UNITS_COOKIE = "squibwise-language", "squibwise-units"


@cache
def templates() -> Environment:
    """Return the templates; an unknown name in one is an error, all text is escaped."""
    made = Environment(
        loader=FileSystemLoader(HERE / "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {
        "words": in_words,
        "outcome": _outcome,
        "moment": lambda at: str(at)[:16].replace("T", " "),
    }
    made.globals |= {
        "bar_width": BAR,
        "static": static_path,
        "once": lambda: secrets.token_urlsafe(12),
    }
    return made


def _outcome(word: str) -> str:
    """Return the outcome of a test as a button says it; *right* is a side of the car elsewhere."""
    return "as it should be" if word == "right" else in_words(word)


@cache
def static_path(name: str) -> str:
    """Return the address of a file that browsers may keep: it names its content."""
    digest = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:12]
    return f"/static/{name}?{digest}"


def language(request: Request) -> str:
    """Return the language that was chosen, or the browser's first that there is."""
    chosen = request.cookies.get(LANGUAGE_COOKIE, "")
    if chosen in LANGUAGES:
        return chosen
    return next((spoken for spoken, _ in _asked_for(request) if spoken in LANGUAGES), "en")


def _asked_for(request: Request) -> Iterator[tuple[str, str]]:
    """Yield the languages that the browser asks for, each with its country where it names one."""
    for part in request.headers.get("accept-language", "").split(","):
        spoken, _, where = part.partition(";")[0].strip().partition("-")
        yield spoken.lower(), where.upper()


def _units(request: Request, opened: Opened | None) -> tuple[str, str]:
    """Return the units that figures are told in, and the choice that a touch turns to."""
    chosen = request.cookies.get(UNITS_COOKIE, "")
    region = UNITS[chosen] if chosen in UNITS else country(request, opened)
    speed, weight = speed_in(0.0, region)[1], weight_in(0.0, region)[1]
    return f"{speed} {weight}", "US" if speed == "km/h" else "metric"


def country(request: Request, opened: Opened | None) -> str:
    """Return the country whose marks figures have: that of the car, else that of the browser."""
    if opened is not None:
        return (opened.case.region or "").partition("-")[0]
    spoken = language(request)
    return next((where for asked, where in _asked_for(request) if asked == spoken), "")


def page(
    request: Request,
    template: str,
    status: int = 200,
    **given: Any,  # noqa: ANN401 - of a template
) -> HTMLResponse:
    """Return a page."""
    bench = bench_of(request)
    session: Session | None = request.state.session
    spoken, where = language(request), country(request, given.get("opened"))
    shared = {
        "session": session or Session(id="", role="visitor", token=""),
        "lang": spoken,
        "languages": tuple(LANGUAGES.items()),
        "units": _units(request, given.get("opened")),
        "t": lambda text: tell_on_page(str(text), spoken, where),
        "cell": lambda text: tell_cell(str(text), spoken, where),
        "figure": lambda value: "" if value is None else write_figure(value, spoken, where),
        "standing": _standing(bench.catalog),
        "here": request.url.path,
        "step": "",
        "job": (),
    }
    html = templates().get_template(template).render(shared | given)
    return HTMLResponse(html, status_code=status)


def car_page(
    request: Request,
    template: str,
    opened: Opened,
    **given: Any,  # noqa: ANN401 - of a template
) -> HTMLResponse:
    """Return a page of a car, under the line of its job."""
    bench = bench_of(request)
    job = make_job(bench.whole(opened), bench.catalog, is_known=bool(opened.case.evidence))
    return page(request, template, opened=opened, job=job, **given)


def refusal(
    request: Request,
    status: HTTPStatus,
    title: str,
    message: str,
    remedy: str = "",
    **given: Any,  # noqa: ANN401 - of the template
) -> HTMLResponse:
    """Return a page that says what was refused and what to do about it."""
    shared: dict[str, Any] = {"findings": (), "unnamed": None, "back": came_from(request, "/")}
    told = {"title": title, "message": message, "remedy": remedy}
    return page(request, "refused.html", status, **(shared | told | given))


def came_from(request: Request, otherwise: str) -> str:
    """Return the page of ours that a request came from, as a path; else another one."""
    from_page = urlsplit(request.headers.get("referer", ""))
    is_ours = from_page.netloc and from_page.netloc == request.headers.get("host", "")
    return urlunsplit(("", "", from_page.path, from_page.query, "")) if is_ours else otherwise


def _standing(catalog: Catalog) -> str:
    return " ".join(text.text for text in standing(catalog))


def bench_of(request: Request) -> Bench:
    """Return the bench that a request is for."""
    bench: Bench = request.app.state.bench
    return bench


def opened_for(request: Request) -> Opened:
    """Return the car that a request names, its figures in the units that were chosen."""
    opened = bench_of(request).open(request.path_params["car"])
    chosen = request.cookies.get(UNITS_COOKIE, "")
    told = msgspec.structs.replace(opened.case, units=chosen if chosen in UNITS else "")
    return msgspec.structs.replace(opened, case=told)
