"""Who may read and write at the bench, and what is refused before any page is made."""

import os
import re
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from squibwise.web.app import POSTS, make_app
from squibwise.web.guarding import LARGEST_UPLOAD
from squibwise.web.running import HERE, draw_code, is_taken, own_names
from squibwise.web.sessions import IDLE_SECONDS, MOST_SESSIONS, PAIRING_SECONDS, Sessions

HOST = "bench.test:80"
PAGE, SEND = "/car/harrow-07/part/left.curtain", "/car/harrow-07/look"


class Clock:
    """A clock that is set by hand. A class because it is called and changed."""

    def __init__(self) -> None:
        self.at = 0.0

    def __call__(self) -> float:
        return self.at


@pytest.fixture(scope="module")
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="module")
def app(place: Path, clock: Clock) -> Any:
    return make_app(place, frozenset({HOST}), Sessions(clock))


def browser_at(app: Any, address: str = HERE, host: str = HOST, origin: str = "") -> TestClient:
    """Return a browser that calls from an address."""
    headers = {"host": host} | ({"origin": origin or f"http://{host}"})
    return TestClient(
        app, base_url=f"http://{host}", client=(address, 5000), headers=headers,
        follow_redirects=False,
    )  # fmt: skip


def token_of(client: TestClient) -> str:
    """Return the token of the forms of a page."""
    found = re.search(r'name="token" content="([^"]+)"', client.get("/").text)
    return found[1] if found else ""


def look(client: TestClient, token: str, **headers: str) -> Any:
    """Send a look."""
    html = client.get(PAGE).text
    seen = re.search(r'name="seen" value="([^"]+)"', html)
    data = {
        "token": token, "component": "left.curtain", "seen_word": "intact",
        "once": os.urandom(6).hex(), "seen": seen[1] if seen else "",
    }  # fmt: skip
    return client.post(SEND, data=data, headers=headers)


def test_every_answer_carries_a_policy_that_runs_no_inline_script(app: Any) -> None:
    client = browser_at(app)
    for path in ("/", PAGE, "/static/bench.js", "/nowhere"):
        answer = client.get(path)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
    html = client.get(PAGE).text
    assert not re.search(r"<script(?![^>]*src=)|\son\w+=|\sstyle=|javascript:", html)


def test_another_name_of_this_machine_is_refused(app: Any) -> None:
    """DNS rebinding: a foreign name that leads here reaches nothing."""
    assert browser_at(app, host="evil.test:80").get("/").status_code == 421


def test_what_another_site_sends_is_refused(app: Any) -> None:
    client = browser_at(app)
    token = token_of(client)
    assert look(client, token, origin="http://evil.test").status_code == 403
    assert look(client, token, origin="null").status_code == 403
    assert look(client, token, origin=f"https://{HOST}").status_code == 403
    assert look(client, "guessed").status_code == 403
    assert look(client, "").status_code == 403
    assert look(client, token).status_code == 303


def test_the_token_of_one_session_does_not_serve_another(app: Any) -> None:
    assert look(browser_at(app), token_of(browser_at(app))).status_code == 403


def test_from_the_network_nothing_is_shown_without_pairing(app: Any) -> None:
    phone = browser_at(app, "192.0.2.7")
    for path in ("/", PAGE, "/token", "/car/harrow-07/record.json"):
        assert phone.get(path).status_code == 401, path
    assert phone.get("/pair/guessed").status_code == 410
    assert phone.post(SEND, data={"token": "x"}).status_code == 401


def test_a_pairing_works_once_and_soon(app: Any, clock: Clock) -> None:
    sessions = app.state.bench.sessions
    token = sessions.offer_pairing("owner")
    phone = browser_at(app, "192.0.2.7")
    assert phone.get(f"/pair/{token}").status_code == 303
    assert look(phone, token_of(phone)).status_code == 303
    assert browser_at(app, "192.0.2.8").get(f"/pair/{token}").status_code == 410
    late = sessions.offer_pairing("owner")
    clock.at += PAIRING_SECONDS + 1.0
    assert browser_at(app, "192.0.2.8").get(f"/pair/{late}").status_code == 410


def test_a_visitor_reads_and_writes_nothing(app: Any) -> None:
    visitor = browser_at(app, "192.0.2.9")
    visitor.get(f"/pair/{app.state.bench.sessions.offer_pairing('visitor')}")
    assert "You are a visitor" in visitor.get("/").text
    assert "Write it down" not in visitor.get(PAGE).text
    assert look(visitor, token_of(visitor)).status_code == 403


def test_a_visitor_chooses_the_language(app: Any) -> None:
    visitor = browser_at(app, "192.0.2.12")
    visitor.get(f"/pair/{app.state.bench.sessions.offer_pairing('visitor')}")
    answer = visitor.post("/language", data={"token": token_of(visitor), "lang": "de", "back": "/"})
    assert answer.status_code == 303
    assert '<html lang="de">' in visitor.get("/").text


REFUSALS = {
    401: ("GET", "/", {}, "Dieser Browser ist nicht gekoppelt."),
    403: ("POST", SEND, {"origin": "http://evil.test"}, "nicht von einer Seite der Werkbank"),
    404: ("GET", "/nowhere", {}, "Zurück"),
    410: ("GET", "/pair/guessed", {}, "Dieser Code wurde schon benutzt"),
    413: ("POST", SEND, {"content-length": str(LARGEST_UPLOAD + 1)}, "kleinere Datei"),
    415: ("POST", SEND, {"content-type": "text/plain; charset=utf-16"}, "nicht UTF-8"),
    421: ("GET", "/", {"host": "evil.test:80"}, "So heißt diese Werkbank nicht."),
}


@pytest.mark.parametrize("status", sorted(REFUSALS))
def test_a_refusal_is_a_page_of_the_bench_in_the_language_of_the_browser(
    app: Any, status: int
) -> None:
    method, path, headers, told = REFUSALS[status]
    client = browser_at(app, "192.0.2.13" if status == 401 else HERE)
    client.get("/")
    answer = client.request(method, path, headers={"accept-language": "de"} | headers)
    assert answer.status_code == status
    assert '<html lang="de">' in answer.text
    assert '<section class="refused"' in answer.text
    assert told in answer.text
    assert "default-src 'none'" in answer.headers["content-security-policy"]


def test_another_name_gets_neither_session_nor_token(app: Any) -> None:
    answer = browser_at(app, host="evil.test:80").get("/")
    assert answer.status_code == 421
    assert "set-cookie" not in answer.headers
    assert 'name="token" content=""' in answer.text


def test_more_fields_than_a_page_has_are_refused(app: Any) -> None:
    client = browser_at(app)
    data = {"token": token_of(client)} | {f"field-{n}": "x" for n in range(10_000)}
    answer = client.post(SEND, files={"photo": ("p.jpg", b"x")}, data=data)
    assert answer.status_code == 400
    assert "cut off or holds too much" in answer.text
    assert client.post(SEND, data=data).status_code in (400, 422)


@pytest.mark.parametrize("path", sorted(POSTS))
def test_no_address_takes_what_a_stranger_or_a_visitor_sends(app: Any, path: str) -> None:
    """Another site, a token of nobody, a browser that is not paired, a visitor with his token."""
    names = {"car": "harrow-07", "report": "scan-1", "loop:path": "driver.front-bag", "sensor": "x"}
    to = re.sub(r"\{(.+?)\}", lambda name: names[name[1]], path)
    owner, visitor = browser_at(app), browser_at(app, "192.0.2.20")
    visitor.get(f"/pair/{app.state.bench.sessions.offer_pairing('visitor')}")
    token = token_of(owner)
    before = app.state.bench.open("harrow-07").seen
    sent = {"token": token, "by": "R", "n": "1"}
    assert owner.post(to, data=sent, headers={"origin": "http://evil.test"}).status_code == 403
    assert owner.post(to, data=sent | {"token": token[::-1]}).status_code == 403
    assert browser_at(app, "192.0.2.21").post(to, data=sent).status_code == 401
    if path != "/language":
        own = token_of(visitor)
        assert visitor.post(to, data=sent | {"token": own}).status_code == 403
    assert app.state.bench.open("harrow-07").seen == before


def test_a_session_expires(app: Any, clock: Clock) -> None:
    phone = browser_at(app, "192.0.2.10")
    phone.get(f"/pair/{app.state.bench.sessions.offer_pairing('owner')}")
    assert phone.get("/").status_code == 200
    clock.at += IDLE_SECONDS + 1.0
    assert phone.get("/").status_code == 401


def test_another_site_begins_no_session_and_ends_none(app: Any) -> None:
    """As by images of another site that lead here, hundreds of them."""
    owner, phone = browser_at(app), browser_at(app, "192.0.2.11")
    phone.get(f"/pair/{app.state.bench.sessions.offer_pairing('owner')}")
    token = token_of(owner)
    by_another = {"sec-fetch-site": "cross-site", "sec-fetch-dest": "image"}
    for n in range(MOST_SESSIONS + 5):
        for path, headers in (("/static/mark.svg", by_another), (f"/?{n}", by_another)):
            assert "set-cookie" not in browser_at(app).get(path, headers=headers).headers
    assert "set-cookie" not in browser_at(app).get("/static/mark.svg").headers
    assert look(owner, token).status_code == 303
    assert phone.get("/").status_code == 200


def test_sessions_that_nobody_used_go_first(clock: Clock) -> None:
    sessions = Sessions(clock)
    used, paired = sessions.begin("owner"), sessions.pair(sessions.offer_pairing("owner"))
    assert sessions.find(used.id) == used
    for _ in range(MOST_SESSIONS + 5):
        last = sessions.begin("owner")
    assert paired is not None
    assert [sessions.find(s.id) for s in (used, paired, last)] == [used, paired, last]


@pytest.mark.parametrize("charset", ["unicode_escape", "undefined", "hex", '"utf-16"', "nonsense"])
def test_a_form_in_another_encoding_is_refused(app: Any, charset: str) -> None:
    client = browser_at(app)
    kind = f"multipart/form-data; boundary=B; charset={charset}"
    body = b'--B\r\nContent-Disposition: form-data; name="token"\r\n\r\n\\ud800\r\n--B--\r\n'
    token_of(client)
    answer = client.post("/new", content=body, headers={"content-type": kind})
    assert answer.status_code == 415


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_sites(app: Any) -> None:
    cookie = browser_at(app).get("/").headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie


def test_more_than_the_limit_is_refused_before_it_is_read(app: Any) -> None:
    client = browser_at(app)
    client.get("/")
    answer = client.post(SEND, content=b"", headers={"content-length": str(LARGEST_UPLOAD + 1)})
    assert answer.status_code == 413


def test_a_body_that_grows_beyond_the_limit_without_saying_so_is_cut_off(app: Any) -> None:
    client = browser_at(app)
    client.get("/")
    block = b"x" * 1_000_000
    head = b'--B\r\nContent-Disposition: form-data; name="report"; filename="a.txt"\r\n\r\n'
    blocks = [head, *[block] * (LARGEST_UPLOAD // len(block) + 1)]
    kind = {"content-type": "multipart/form-data; boundary=B"}
    answer = client.post("/car/harrow-07/add", content=iter(blocks), headers=kind)
    assert answer.status_code == 413
    assert "Send a smaller file." in answer.text


def test_what_is_no_picture_by_its_content_is_refused(app: Any) -> None:
    client = browser_at(app)
    html = client.get(PAGE).text
    data = {k: re.search(rf'name="{k}" value="([^"]+)"', html)[1] for k in ("token", "seen")}
    files = {"photo": ("seat.png", b"<script>alert(1)</script>", "image/png")}
    answer = client.post(SEND, data=data | {"component": "left.curtain"}, files=files)
    assert answer.status_code == 422
    assert "is no picture" in answer.text


@pytest.mark.parametrize("from_page", ["http://evil.test/x", "javascript:alert(1)", "//evil.test"])
def test_a_refusal_leads_back_to_no_page_of_another_site(app: Any, from_page: str) -> None:
    client = browser_at(app)
    assert from_page not in client.get("/car/nowhere", headers={"referer": from_page}).text
    own = client.get("/car/nowhere", headers={"referer": f"http://{HOST}{PAGE}?near=x"}).text
    assert f'href="{PAGE}?near=x"' in own


@pytest.mark.parametrize("back", ["//evil.test/", "/\\evil.test", "http://evil.test/"])
def test_the_language_form_leads_nowhere_else(app: Any, back: str) -> None:
    client = browser_at(app)
    data = {"token": token_of(client), "lang": "de", "back": back}
    assert client.post("/language", data=data).headers["location"] == "/"


def test_a_path_out_of_the_case_is_no_picture(app: Any) -> None:
    client = browser_at(app)
    for path in ("../case.toml", "evidence/../case.toml", "%2e%2e/case.toml", "case.toml"):
        assert client.get(f"/car/harrow-07/file/{path}").status_code == 404, path


def test_names_of_this_machine_and_the_code_of_a_phone() -> None:
    assert own_names(80) == {"127.0.0.1:80", "localhost:80", "[::1]:80"}
    lines = draw_code("http://192.0.2.1/").splitlines()
    assert len({len(line) for line in lines}) == 1
    assert set("".join(lines)) <= set("█▀▄ ")
    assert is_taken(0) is False
