"""Whatever is asked for or sent, the bench answers; it never breaks."""

from typing import Any
from urllib.parse import quote

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from squibwise.web.app import GETS, POSTS

FIELDS = (
    "component", "seen_word", "by", "n", "how", "safe", "note", "visit", "test", "outcome",
    "answer",
    "question", "source", "text", "when", "complete", "code", "fault", "stage", "applied", "read",
    "unit", "cabin", "degrees", "volts", "gate", "lit", "out_after_s", "stayed_out", "number", "id",
    "like", "vin", "year", "region", "drive", "equipment", "currency", "lang", "back", "seen", "at",
    "what", "reach", "asked", "live", "zone", "extent", "driver", "passenger", "ohm",
    "once", "ago", "waited", "part", "supplier", "price", "lead", "wait_minutes",
    "resale-low", "resale-likely", "resale-high", "hour",
)  # fmt: skip
LIKELY = (
    "", "driver.front-bag", "intact", "1", "R", "yes", "no", "replace", "crash", "nan", "1e999",
    "nose-left", "empty", "no crash", "seat-bags", "equipment",
    "-1", "left", "2019", "US-OH", "cautions-read", "lamp-check", "provenance", "harrow-07",
    "[[evidence]]\nkind = \"look\"\n", "../x", "\x00", "<script>alert(1)</script>", "1970-01-01",
)  # fmt: skip
words = st.sampled_from(LIKELY) | st.text(max_size=24)
names = st.sampled_from(
    ("harrow-07", "driver.front-bag", "1", "x", "..", "scan-1", "passenger.occupant-sensor", "é")
) | st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=12)


def fill(path: str, cars: list[str]) -> str:
    """Return an address with its names filled in."""
    for name in cars:
        start, brace, rest = path.partition("{")
        if not brace:
            break
        _, _, after = rest.partition("}")
        path = start + quote(name, safe="") + after
    return path


relaxed = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@relaxed
@given(
    path=st.sampled_from(sorted(GETS)),
    cars=st.lists(names, min_size=3, max_size=3),
    query=st.dictionaries(st.sampled_from(("q", "from", "visit", "now")), words, max_size=2),
)
def test_no_address_breaks_the_bench(
    call: Any, path: str, cars: list[str], query: dict[str, str]
) -> None:
    first = ["harrow-07", *cars[1:]] if cars[0] < "h" else cars
    answer = call.client.get(fill(path, first), params=query)
    assert answer.status_code < 500, answer.text


@relaxed
@given(
    path=st.sampled_from(sorted(POSTS)),
    cars=st.lists(names, min_size=2, max_size=2),
    sent=st.dictionaries(st.sampled_from(FIELDS), words, max_size=8),
    upload=st.none() | st.binary(max_size=64),
)
def test_nothing_that_is_sent_breaks_the_bench(
    call: Any, path: str, cars: list[str], sent: dict[str, str], upload: bytes | None
) -> None:
    token = call.client.get("/token").text
    seen = call.app.state.bench.open("harrow-07").seen
    named = {"photo": "p.jpg", "report": "r.txt", "offers": "o.csv", "lots": "l.csv"}
    files = None if upload is None else {k: (name, upload) for k, name in named.items()}
    data = {"seen": seen, **sent, "token": token}
    answer = call.client.post(fill(path, ["harrow-07", cars[1]]), data=data, files=files)
    assert answer.status_code < 500, answer.text
