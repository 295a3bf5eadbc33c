"""What is sent from a form: whole, by a page of ours, once, and on what the person saw."""

import datetime as dt
import hashlib
from collections.abc import Awaitable, Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import wraps
from http import HTTPStatus
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import msgspec
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response

from squibwise.catalog.load import Catalog
from squibwise.entering import case_text
from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.cases import editing
from squibwise.garage.database import connected
from squibwise.history.signed import is_name
from squibwise.intake.case_file.schema import ENTRIES
from squibwise.present.page_words import read_figure
from squibwise.present.phrases import in_words
from squibwise.web.bench import Bench, Opened, now
from squibwise.web.guarding import LARGEST_UPLOAD, carries_token, go
from squibwise.web.layout import (
    bench_of,
    came_from,
    country,
    language,
    opened_for,
    page,
    refusal,
)

MOST_FILES, MOST_FIELDS, LONGEST_WORD = 8, 400, 200_000
_ONCE = "once:"
TOO_OLD = ("The page is too old to send from.", "Load it again, then send.")


class Sent(msgspec.Struct, frozen=True, kw_only=True):
    """A form as it was sent.

    Attributes:
        words: Fields, the last of each name.
        lists: Every value of the fields that stand several times.
        files: Name and content of each file, by field; empty files are left out.
        language: Of the page: how its figures are typed.
        country: Of the car, or of the browser.
    """

    words: dict[str, str]
    lists: dict[str, tuple[str, ...]]
    files: dict[str, tuple[tuple[str, bytes], ...]] = {}
    language: str = "en"
    country: str = ""

    def get(self, name: str, most: int = 4000) -> str:
        """Return a field without the space around it; empty when it was not sent."""
        return self.words.get(name, "").strip()[:most]


Doing = Callable[[Request, Sent], Response]


def sends(doing: Doing) -> Callable[[Request], Awaitable[Response]]:
    """Make an endpoint of a function that takes what was sent."""

    @wraps(doing)
    async def endpoint(request: Request) -> Response:
        sent = await _read(request)
        if not carries_token(request.state.session, sent.get("token")):
            return refusal(request, HTTPStatus.FORBIDDEN, "Nothing was written", *TOO_OLD)
        return await run_in_threadpool(_once, request, sent, doing)

    return endpoint


async def _read(request: Request) -> Sent:
    async with request.form(
        max_files=MOST_FILES, max_fields=MOST_FIELDS, max_part_size=LARGEST_UPLOAD
    ) as form:
        words = {k: v for k, v in form.multi_items() if isinstance(v, str)}
        lists = {k: tuple(v for v in form.getlist(k) if isinstance(v, str)) for k in words}
        files = await _files(form)
        return Sent(words=words, lists=lists, files=files, language=language(request))


async def _files(form: FormData) -> dict[str, tuple[tuple[str, bytes], ...]]:
    found: dict[str, list[tuple[str, bytes]]] = {}
    for name, value in form.multi_items():
        if isinstance(value, UploadFile) and value.filename:
            found.setdefault(name, []).append((value.filename, await value.read()))
    return {name: tuple(files) for name, files in found.items()}


def _once(request: Request, sent: Sent, doing: Doing) -> Response:
    """Do what was sent, unless the very same was done before; then only lead on."""
    bench, key = bench_of(request), sent.get("once", 64)
    car = opened_for(request) if "car" in request.path_params else None
    sent = msgspec.structs.replace(sent, country=country(request, car))
    with bench.writing:
        done = _done_before(bench, key)
        if done is not None:
            return go(done)
        try:
            _refuse_nobody(sent, bench.catalog)
            answer = doing(request, sent)
        except StaleError as error:
            return _show_both(request, error.opened, sent)
        except UnnamedError as error:
            return _ask_who(request, error, sent)
        if key and answer.status_code == HTTPStatus.SEE_OTHER:
            with connected(bench.place) as garage:
                store.remember(garage, _ONCE + key, answer.headers["location"])
        return answer


def _done_before(bench: Bench, key: str) -> str | None:
    if not key:
        return None
    with connected(bench.place) as garage:
        return store.recall(garage, _ONCE + key)


class StaleError(Exception):
    """A car is not as the person saw it."""

    def __init__(self, opened: Opened) -> None:
        super().__init__(opened.id)
        self.opened = opened


class UnnamedError(InputError):
    """Nobody is named who does what must not be done by nobody."""


def refuse_unnamed(sent: Sent, remedy: str) -> None:
    """Stop what nobody puts a name to.

    Raises:
        UnnamedError: No name was sent; whoever sent it is asked for it, and nothing is lost.
    """
    if not sent.get("by"):
        raise UnnamedError("Nobody is named.", remedy=remedy)


def _refuse_nobody(sent: Sent, catalog: Catalog) -> None:
    by = sent.get("by", 60)
    if by and not is_name(by, catalog):
        raise UnnamedError(f"'{by}' names nobody.", remedy="Write who saw or did it.")


def refuse_stale(opened: Opened, sent: Sent) -> None:
    """Stop what was sent about a car that is not as the person saw it.

    Raises:
        StaleError: It was changed since; whoever sent it is shown both versions.
    """
    if sent.get("seen") != opened.seen:
        raise StaleError(opened)


def _ask_who(request: Request, error: UnnamedError, sent: Sent) -> Response:
    """Return a page that asks for the name and holds what was sent, for browsers without scripts.

    Others ask above the form that it was sent from.
    """
    unnamed = {
        "action": request.url.path,
        "sent": [(k, v) for k, vs in sent.lists.items() if k not in ("token", "by") for v in vs],
    }
    status, title = HTTPStatus.UNPROCESSABLE_ENTITY, "Nothing was written"
    return refusal(request, status, title, str(error), error.remedy, unnamed=unnamed)


_MARKS = ("token", "seen", "once")
LABELS = {
    "by": "Who",
    "out_after_s": "Seconds until it went out",
    "note": "Note",
    "component": "Part",
    "seen_word": "What do you see?",
    "outcome": "What did you see?",
    "stage": "stage",
    "n": "Operation",
    "applied": "Laid on the seat",
    "read": "Read by the system",
    "cabin": "Temperature in the cabin",
    "volts": "Supply",
    "position": "Position of the seat",
    "source": "Where the maker says so",
    "answer": "Answer",
    "text": "Report",
    "fault": "Fault",
    "number": "Part number",
    "serial": "Serial number",
}
"""What a field is called where both versions are shown; the others say nothing to a person."""


def _show_both(request: Request, opened: Opened, sent: Sent) -> Response:
    """Return what the person saw and what was done since, to decide between them."""
    with connected(bench_of(request).place) as garage:
        entries = store.history(garage, opened.id)
    seen = _number_seen(entries, sent.get("seen"))
    return page(
        request,
        "stale.html",
        HTTPStatus.CONFLICT,
        opened=opened,
        before=[e for e in entries if e.number <= seen][-3:],
        since=[e for e in entries if e.number > seen],
        sent=[(k, v) for k, vs in sent.lists.items() if k not in _MARKS for v in vs if v],
        labels=LABELS,
        files=[name for files in sent.files.values() for name, _ in files],
        action=request.url.path,
        back=came_from(request, f"/car/{opened.id}"),
    )


def _number_seen(entries: Iterable[store.Entry], seen: str) -> int:
    """Return the number of the entry with a hash; 0 when there is none."""
    return next((e.number for e in entries if store.seal(e)[1] == seen), 0)


Pairs = Mapping[str, Any]
Making = Callable[[Path], Iterable[Pairs]]


@contextmanager
def changing(request: Request, opened: Opened, sent: Sent, what: str) -> Iterator[Path]:
    """Give a car as a folder to be changed; the change becomes an entry.

    Args:
        request: What is answered.
        opened: The car as the person saw it.
        sent: With who does it.
        what: In words, for the history.

    Raises:
        StaleError: Somebody changed the car meanwhile.
    """
    refuse_stale(opened, sent)
    place, at, by = bench_of(request).place, dt.datetime.now(dt.UTC), sent.get("by", 60)
    with editing(place, opened.id, what, at, by, opened.seen) as folder:
        yield folder


def enter(
    request: Request,
    opened: Opened,
    sent: Sent,
    what: str,
    make: Making,
    rules: Iterable[Pairs] = (),
) -> None:
    """Enter something into a car: its file is changed, and the change becomes an entry.

    Args:
        request: What is answered.
        opened: The car as the person saw it.
        sent: With who does it.
        what: In words, for the history.
        make: Copies files into the folder of the case; returns the evidence.
        rules: Rules of the maker.

    Raises:
        InputError: It would be a mistake.
        StaleError: Somebody changed the car meanwhile.
    """
    with changing(request, opened, sent, what) as folder:
        entries = tuple(map(_as_taken, make(folder)))
        addition = case_text.Addition(command=what, at=now(), evidence=entries, rules=tuple(rules))
        case_text.add(case_text.open_file(folder), addition, bench_of(request).catalog)


def _as_taken(entry: Pairs) -> Pairs:
    """Return an entry without a name where its kind takes none: the history says who wrote it."""
    kind = ENTRIES.get(str(entry["kind"]))
    takes = kind is None or "by" in kind.__struct_fields__
    return entry if takes else {k: v for k, v in entry.items() if k != "by"}


def common(sent: Sent) -> dict[str, Any]:
    """Return the keys that an entry gets: who, where its kind takes that, and when."""
    by = sent.get("by", 60)
    return ({"by": by} if by else {}) | {"time": _time(sent)}


def _time(sent: Sent) -> dt.datetime:
    """Return when it was: so many seconds ago where the page kept it without connection, else now.

    No time of day is taken from a phone: its clock may be wrong, and waits are counted from here.
    """
    ago = sent.get("ago", 9)
    return now() - dt.timedelta(seconds=int(ago) if ago.isascii() and ago.isdecimal() else 0)


@contextmanager
def as_file(name: str, data: bytes) -> Iterator[Path]:
    """Give an uploaded file under a plain name that tells its content, while it is used.

    Two photographs of a phone often have the same name.

    Raises:
        InputError: There is nothing in it.
    """
    if not data:
        raise InputError(f"'{name[:80]}' is empty.", remedy="Choose another file.")
    plain = "".join(c if c.isalnum() and c.isascii() else "-" for c in Path(name).stem).strip("-")
    ending = "".join(c for c in Path(name).suffix.lower() if c == "." or c.isalnum())[:8]
    digest = hashlib.sha256(data).hexdigest()[:8]
    with TemporaryDirectory(prefix="squibwise-") as folder:
        file = Path(folder) / f"{plain[:40] or 'file'}-{digest}{ending}"
        file.write_bytes(data)
        yield file


def pick(sent: Sent, field: str, offered: Iterable[str], most: int = 80) -> str:
    """Return a choice as it was sent; empty when none was made.

    Raises:
        InputError: It is none of those that the page offers.
    """
    chosen = sent.get(field, most)
    if chosen and chosen not in offered:
        told = f"'{chosen}' is none of the choices."
        raise InputError(told, remedy="Choose one of those on the page.")
    return chosen


def read_number(
    sent: Sent, field: str, least: float = 0.0, most: float = 1e9, label: str = ""
) -> float | None:
    """Return a figure as it was typed, in the marks of either language; None when left empty.

    Raises:
        InputError: It is no number, can be read in two ways, or is out of range.
    """
    typed, named = (
        sent.get(field, 20),
        label or LABELS.get(field) or in_words(field.replace("_", " ")),
    )
    try:
        value = read_figure(typed, sent.language, sent.country) if typed else None
    except ValueError as error:
        message = f"{named}: '{typed}' is no number."
        raise InputError(message, remedy="Write digits and one point or comma.") from error
    if value is not None and not least <= value < most:
        raise InputError(f"{named}: {typed} is out of range.", remedy="Write it again.")
    return value
