"""Who may do what with the page: each way in is tried."""

import contextlib
import json
import re
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from rig import page as page_folder
from rig.base.errors import BenchError
from rig.page.bench.bench import Bench
from rig.page.live.broadcast import Broadcast
from rig.page.server.addresses import addresses_of_interfaces, own_addresses, reachable
from rig.page.server.app import Page
from rig.page.server.clips import LARGEST, clip_ending, sweep_clips
from rig.page.server.far_racer import Relay, far_app
from rig.page.server.limits import RateLimit
from rig.page.server.phones import Phones, phone_app
from rig.page.server.routes import BENCH, REPORT, ROUTES, action_path
from rig.page.server.serve import listen
from rig.page.server.static_files import load_assets

PORT = 8377
HERE = f"http://127.0.0.1:{PORT}"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """A page on an empty bench, not behind a port."""
    made = Page(Bench(tmp_path_factory.mktemp("log")), port=PORT, phone_host="127.0.0.1")
    yield made
    made.close()


@pytest.fixture
def client(page: Page) -> TestClient:
    """A browser on this machine, without the token."""
    return TestClient(page.app, base_url=HERE, raise_server_exceptions=False)


def told(page: Page, **more: str) -> dict[str, str]:
    """Headers of the page itself."""
    return {"x-bench-token": page.token, "content-type": "application/json", **more}


def changing(page: Page) -> list[str]:
    """Every address that changes something."""
    return [*(action_path(name) for name in page.actions), *(route.path for route in ROUTES if route.changes)]


def reading() -> list[str]:
    """Every address that only answers; for a file of the page, one of them."""
    return [route.path.replace("{name}", "main.js") for route in ROUTES if not route.changes]


def test_it_listens_on_the_loopback_address_only() -> None:
    with listen(0) as opened:
        assert opened.getsockname()[0] == "127.0.0.1"
        assert opened.family == socket.AF_INET


@pytest.mark.parametrize(
    "host", ["bench.example", f"127.0.0.1.example:{PORT}", "127.0.0.1", "127.0.0.1:80", "", "[::]"]
)
def test_other_names_for_this_server_are_refused(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 403


@pytest.mark.parametrize("origin", ["http://evil.example", "null", f"https://127.0.0.1:{PORT}", "http://127.0.0.1:1"])
@pytest.mark.parametrize("path", reading())
def test_other_web_pages_are_refused_even_for_reading(client: TestClient, origin: str, path: str) -> None:
    assert client.get(path, headers={"origin": origin}).status_code == 403


def test_requests_that_other_sites_start_are_refused(client: TestClient) -> None:
    headers = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "cors"}
    assert client.get("/api/cards", headers=headers).status_code == 403
    assert client.get("/", headers={"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}).status_code == 200


def test_nothing_changes_without_the_token(page: Page, client: TestClient) -> None:
    before = page.bench.cards(), page.classroom.guesses
    for token in (
        {},
        {"x-bench-token": ""},
        {"x-bench-token": page.token[:-1]},
        {"x-bench-token": "é".encode("latin1")},
    ):
        for path in changing(page):
            answer = client.post(path, headers=token, content=b"{}")
            assert answer.status_code == 403, path
    assert (page.bench.cards(), page.classroom.guesses) == before
    assert not page.bench.work.busy


def test_each_start_has_its_own_token(page: Page, tmp_path: Path) -> None:
    other = Page(Bench(tmp_path), port=PORT)
    other.close()
    assert len(page.token) >= 32
    assert other.token != page.token


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"])
def test_other_methods_are_refused(client: TestClient, method: str) -> None:
    assert client.request(method, "/api/do/undo").status_code == 405


@pytest.mark.parametrize("path", [*reading(), "/nothing"])
def test_every_answer_carries_the_strict_policy(page: Page, client: TestClient, path: str) -> None:
    page.should_end = lambda: True  # the endless streams end at once
    answer = client.get(path)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'unsafe" not in policy
    assert ("unsafe" in policy) == (path == REPORT.path)  # the report brings its own style, and no script at all
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "access-control-allow-origin" not in answer.headers


@pytest.mark.parametrize(
    "path",
    [
        "/static/",
        "/static",
        "/static/../bench.py",
        "/static/%2e%2e/app.py",
        "/static/..%2fapp.py",
        "/static/vendor/uplot/LICENSE",
        "/static/%2fetc%2fpasswd",
        "/static//etc/passwd",
        "/static/C:%5Cboot.ini",
        "/static/.%00.html",
        "/vendor",
        "/api",
        "/api/do",
        "/page",
        "/static/LICENSE",
    ],
)
def test_no_folder_is_listed_and_no_path_opened(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code in (404, 405)
    assert "root:" not in answer.text


def test_json_nested_too_deep_is_wrong_input(page: Page, client: TestClient) -> None:
    """30,000 brackets fit into the size allowed."""
    deep = b'{"kind": "test", "values": {"push.distance_mm": ' + b"[" * 30_000 + b"]" * 30_000 + b"}}"
    answer = client.post("/api/do/save-card", headers=told(page), content=deep)
    assert answer.status_code == 400
    assert "not understood" in answer.json()["error"]


def test_large_bodies_are_refused(page: Page, client: TestClient) -> None:
    answer = client.post("/api/do/guess", headers=told(page), content=b"[" * 70_000)
    assert answer.status_code == 413

    def endless() -> Iterator[bytes]:  # without a length that could be believed
        for _ in range(100):
            yield b"1" * 4096

    assert client.post("/api/do/guess", headers=told(page), content=endless()).status_code == 413
    too_long = {"content-length": str(LARGEST + 1)}
    assert client.post("/api/clip", headers=told(page) | too_long, content=b"").status_code == 413
    # a clip may be larger than anything else that is sent
    large = client.post("/api/clip", headers=told(page), content=b"1" * 300_000)
    assert large.status_code == 400
    assert "not been weighed" in large.json()["error"]


PICTURE = b"\x89PNG\r\n\x1a\n" + bytes(100)


@pytest.mark.parametrize(
    "body", [b"", b"\0", b"<html>" * 50, PICTURE, b"RIFF1234WEBP" + bytes(50), b"\0\0\0\x18ftypheic" + bytes(50)]
)
def test_what_is_no_clip_is_refused_before_decoding(page: Page, client: TestClient, body: bytes) -> None:
    page.bench.on_pads.weigh_typed([400.0] * 4, 1.0)
    answer = client.post("/api/clip", headers=told(page), content=body)
    assert answer.status_code == 400
    assert "clip" in answer.json()["error"]
    assert list((page.bench.folder / "page" / "clips").iterdir()) == []


def test_clips_are_known_by_their_first_bytes() -> None:
    # ISO/IEC 14496-12 file type box, RIFF AVI form, EBML head (RFC 8794)
    assert clip_ending(b"\0\0\0\x20ftypisom") == ".mp4"
    assert clip_ending(b"RIFF\0\0\0\0AVI LIST") == ".avi"
    assert clip_ending(b"\x1a\x45\xdf\xa3" + bytes(8)) == ".mkv"
    # pictures in the same box are no clips: their brands in the register of ISO base media (HEIF, AVIF)
    for other in (b"%PDF-1.7 ....", *(b"\0\0\0\x18ftyp" + brand for brand in (b"heic", b"heix", b"mif1", b"avif"))):
        assert clip_ending(other) is None
    assert clip_ending(b"RIFF\0\0\0\0WEBPVP8 ") is None


JUNK = b"\0\0\0\x18ftypisom" + bytes(4000)
"""Begins as a clip and holds nothing."""


def clips(page: Page) -> list[str]:
    """Names of all that was handed over and is still there."""
    return [path.name for path in (page.bench.folder / "page" / "clips").glob("*")]


def test_a_clip_keeps_no_name_of_the_client_and_junk_is_not_kept(
    page: Page, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    page.bench.on_pads.weigh_typed([400.0] * 4, 1.0)
    headers = told(page) | {"content-disposition": 'attachment; filename="../../evil.mp4"'}
    seen: list[list[str]] = []
    measuring = page.bench.pushes._measure
    monkeypatch.setattr(page.bench.pushes, "_measure", lambda *given: (seen.append(clips(page)), measuring(*given))[1])
    answer = client.post("/api/clip", headers=headers, content=JUNK)
    assert answer.status_code == 202
    page.bench.work.wait(20.0)
    ((name,),) = seen
    assert name.startswith("upload-")
    assert name.endswith(".mp4")
    assert clips(page) == []


def test_a_clip_that_is_refused_leaves_nothing_behind(
    page: Page, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While another job runs, and for a car that was not weighed; also what a power cut left half."""
    page.bench.on_pads.weigh_typed([400.0] * 4, 1.0)
    over = threading.Event()
    page.bench.work.start("long", lambda job: str(over.wait(20.0)))
    assert client.post("/api/clip", headers=told(page), content=JUNK).status_code == 400
    over.set()
    page.bench.work.wait(20.0)
    assert clips(page) == []
    half = page.bench.folder / "page" / "clips" / "upload-0123.part"
    half.write_bytes(JUNK)
    sweep_clips(half.parent)
    assert clips(page) == []


def test_the_page_asks_only_at_addresses_of_the_table(page: Page) -> None:
    # read off the scripts and pages that the browser gets; a query after ? is no part of an address
    pattern = re.compile(r"[\"'`](/(?:api|print|events|camera|openapi|class)[^\"'`?]*)")
    asked = {
        path.replace("${name}", "undo")
        for file in (Path(page_folder.__file__).parent / "static").glob("*.[jh]*")
        for path in pattern.findall(file.read_text(encoding="utf-8"))
    }
    known = {route.path for route in ROUTES} | {action_path(name) for name in page.actions}
    assert len(asked) >= 10
    assert asked <= known


def test_the_document_lists_every_address_but_files_and_streams(page: Page) -> None:
    answered = {route.path for route in page.routes()}
    assert answered - set(page.document["paths"]) == {"/static/{name}", "/events", "/openapi.json"}
    assert set(page.document["paths"]) <= answered
    posted = {path for path, how in page.document["paths"].items() if "post" in how}
    assert posted == set(changing(page))


# class phones


class Clock:
    """Time that a test moves."""

    now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def phone(page: Page) -> tuple[TestClient, Clock]:
    """A phone of the class; the code on the screen is 123456."""
    clock = Clock()
    app = phone_app(page.classroom, load_assets(), "123456", lambda host: host == "10.0.0.7:9000", clock)
    page.classroom.again()
    return TestClient(app, base_url="http://10.0.0.7:9000", raise_server_exceptions=False), clock


GUESS = {"code": "123456", "station_pct": 20.0, "side_mm": 3.0}


def test_a_phone_can_send_a_guess_and_see_nothing_else(page: Page, phone: tuple[TestClient, Clock]) -> None:
    client, _ = phone
    assert client.post("/guess", json=GUESS).status_code == 200
    assert page.classroom.guesses == ((20.0, 3.0),)
    for path in set(reading()) - {BENCH.path}:  # at "/" a phone has a page of its own
        assert client.get(path).status_code == 404, path
    for path in changing(page):
        assert client.post(path, headers=told(page), content=b"{}").status_code == 404
    assert client.get("/guess").status_code == 405


def test_a_phone_without_the_code_is_refused(page: Page, phone: tuple[TestClient, Clock]) -> None:
    client, clock = phone
    assert client.post("/guess", json=GUESS | {"code": "000000"}).status_code == 403
    assert client.post("/guess", headers={"host": "evil.example"}, json=GUESS).status_code == 403
    assert client.post("/guess", headers={"origin": "http://evil.example"}, json=GUESS).status_code == 403
    for _ in range(10):  # trying codes is stopped long before one of a million is found
        last = client.post("/guess", json=GUESS | {"code": "000001"}).status_code
    assert last == 429
    assert page.classroom.guesses == ()
    clock.now += 61.0
    assert client.post("/guess", json=GUESS).status_code == 200


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"{}", b"\xff", json.dumps(GUESS | {"name": "x"}).encode(), b'{"code":1}', b"{" * 300]
)
def test_only_a_guess_is_understood(phone: tuple[TestClient, Clock], body: bytes) -> None:
    client, _ = phone
    assert client.post("/guess", content=body).status_code == 400


def test_phones_are_limited(page: Page, phone: tuple[TestClient, Clock]) -> None:
    client, clock = phone
    answers = [client.post("/guess", json=GUESS).status_code for _ in range(9)]
    assert answers == [200] * 6 + [429] * 3
    clock.now += 61.0
    assert client.post("/guess", json=GUESS).status_code == 200
    assert client.post("/guess", content=b"x" * 500).status_code == 413


def test_the_limit_counts_each_and_all() -> None:
    limit = RateLimit(each=2, everybody=3, seconds=10.0)
    asked = [("a", 0.0), ("a", 1.0), ("a", 2.0), ("b", 3.0), ("c", 4.0), ("a", 10.5)]
    assert [limit.allows(who, now) for who, now in asked] == [True, True, False, True, False, True]


def test_a_device_has_one_vote(page: Page, phone: tuple[TestClient, Clock]) -> None:
    """However often it sends; the newest counts. A script that keeps no cookie is one device as well."""
    client, _ = phone
    for pct in (10.0, 20.0, 30.0):
        assert client.post("/guess", json=GUESS | {"station_pct": pct}).status_code == 200
    assert page.classroom.guesses == ((30.0, 3.0),)
    assert client.get("/").status_code == 200  # from now on it is known by its cookie
    for _ in range(2):
        assert client.post("/guess", json=GUESS | {"station_pct": 40.0}).status_code == 200
    assert page.classroom.guesses == ((30.0, 3.0), (40.0, 3.0))
    assert client.get("/now").json()["mine"]["place"] == [40.0, 3.0]
    forged = {"cookie": "device=0123456789abcdef.000000000000000000000000"}
    assert client.post("/guess", json=GUESS | {"station_pct": 50.0}, headers=forged).status_code == 200
    assert len(page.classroom.guesses) == 2
    assert client.post("/take-back", json={"code": "123456", "question": 10**6}).status_code == 409
    page.classroom.set_pupils(2)
    other = TestClient(client.app, base_url="http://10.0.0.7:9000", client=("10.0.0.9", 1))
    assert other.post("/guess", json=GUESS).status_code == 409  # two answer here, and both have
    page.classroom.set_pupils(None)


def get(port: int, timeout: float = 5.0) -> bytes:
    """The phones' page by a plain socket; b"" when nobody answers in time."""
    with socket.create_connection(("127.0.0.1", port), timeout=timeout) as link:
        link.sendall(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode())
        try:
            return link.recv(200)
        except TimeoutError:
            return b""


def test_idle_connections_keep_no_phone_out(page: Page) -> None:
    page.phones.switch(True)
    opened = page.classroom.phones
    assert opened is not None
    port = int(opened["address"].rsplit(":", 1)[1].rstrip("/"))
    idle = [socket.create_connection(("127.0.0.1", port), timeout=5) for _ in range(180)]
    try:
        for number in range(30):  # phones behind one address
            assert b" 200 " in get(port), number
    finally:
        for link in idle:
            link.close()
        page.phones.switch(False)


def test_a_connection_that_dribbles_is_cut(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rig.page.server.door.REQUEST_S", 0.6)
    page.phones.switch(True)
    opened = page.classroom.phones
    assert opened is not None
    port = int(opened["address"].rsplit(":", 1)[1].rstrip("/"))
    began, sent = time.monotonic(), 0
    with socket.create_connection(("127.0.0.1", port), timeout=5) as link, contextlib.suppress(OSError):
        for letter in b"POST /guess HTTP/1.1\r\n" * 2:
            link.sendall(bytes([letter]))
            sent += 1
            time.sleep(0.1)
    assert 3 <= sent < 30
    assert time.monotonic() - began < 4.0
    page.phones.switch(False)


def test_phones_are_told_an_address_that_a_phone_can_reach(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    # 127/8 never leaves the machine (RFC 1122, 3.2.1.3); 169.254/16 is self-given (RFC 3927), so the last resort
    assert reachable(["127.0.0.1", "169.254.3.4", "10.42.0.1", "127.0.1.1", "10.42.0.1", "0.0.0.0"]) == [
        "10.42.0.1",
        "169.254.3.4",
    ]
    # a hotspot: no way to the internet, one interface with an address
    monkeypatch.setattr("rig.page.server.addresses.address_towards_the_internet", list)
    monkeypatch.setattr("rig.page.server.addresses.addresses_of_interfaces", lambda: ["127.0.0.1", "10.42.0.1"])
    monkeypatch.setattr("rig.page.server.addresses.addresses_of_the_own_name", lambda: ["127.0.1.1"])
    assert own_addresses() == ["10.42.0.1"]
    monkeypatch.setattr("rig.page.server.addresses.addresses_of_interfaces", list)
    alone = Phones(page.classroom, load_assets())
    with pytest.raises(BenchError, match="no network that a phone could share"):
        alone.switch(True)


def test_the_interfaces_of_this_machine_are_found() -> None:
    if not Path("/proc/net/dev").exists():
        pytest.skip("Linux only")
    assert "127.0.0.1" in addresses_of_interfaces()


def test_the_phones_port_is_the_same_every_time(page: Page) -> None:
    with socket.create_server(("127.0.0.1", 0)) as found:  # one that no other run of these tests takes meanwhile
        port = found.getsockname()[1]
    phones = Phones(page.classroom, load_assets(), host="127.0.0.1", port=port)
    for _ in range(2):
        assert f":{port}/" in phones.switch(True)
    phones.switch(False)


def test_the_way_in_for_phones_is_there_only_while_it_is_open(page: Page) -> None:
    page.phones.switch(True)
    opened = page.classroom.phones
    assert opened is not None
    port = int(opened["address"].rsplit(":", 1)[1].rstrip("/"))
    socket.create_connection(("127.0.0.1", port), timeout=5).close()
    page.phones.switch(False)
    with pytest.raises(OSError):  # noqa: PT011
        socket.create_connection(("127.0.0.1", port), timeout=5).close()


def test_a_far_screen_sees_the_weights_and_nothing_else(page: Page) -> None:
    """With the code, the racer's figures; without it, under another name or for anything else: a refusal."""
    news, clock = Broadcast(), Clock()
    app = far_app(news, load_assets(), "123456", lambda host: host == "10.0.0.7:9001", clock, is_open=lambda: False)
    client = TestClient(app, base_url="http://10.0.0.7:9001", raise_server_exceptions=False)
    assert client.get("/").status_code == 200
    assert client.get("/allowed", params={"code": "123456"}).status_code == 200
    assert client.get("/news", params={"code": "123456"}).status_code == 200
    for path in set(reading()) - {BENCH.path}:
        assert client.get(path, params={"code": "123456"}).status_code == 404, path
    for path in changing(page):
        assert client.post(path, headers=told(page), content=b"{}").status_code in (404, 413)
    assert client.get("/static/main.js").status_code == 404
    assert client.get("/", headers={"host": "evil.example"}).status_code == 403
    for path in ("/allowed", "/news"):
        assert client.get(path).status_code == 403
        assert client.get(path, params={"code": "000000"}).status_code == 403
    for _ in range(6):
        last = client.get("/allowed", params={"code": "000001"}).status_code
    assert last == 429


def test_what_leaves_the_bench_for_a_far_screen_is_what_stands_on_it(page: Page) -> None:
    page.bench.on_pads.weigh_typed([430.0, 380.0, 390.0, 400.0], 1.0)
    news = Broadcast()
    relay = Relay(news)
    page.bench.broadcast.admit(relay)
    page.bench.broadcast.leave(relay)
    kinds = {kind for kind in ("car", "port", "job", "class", "hidden", "far", "camera") if news.knows(kind)}
    assert kinds == {"car", "port"}
    car = json.loads(news.newest("car").split(b"data: ", 1)[1])
    assert set(car) == {"name", "weights", "racer"}
    assert car["weights"]["corner_weights_g"] == [430.0, 380.0, 390.0, 400.0]
