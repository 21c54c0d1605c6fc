"""Requests of every shape: never a 5xx answer, and nothing changes without the token."""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from rig.page.bench.bench import Bench
from rig.page.server.app import Page

HERE = "http://127.0.0.1:8377"
QUIET = settings(
    deadline=None, max_examples=50, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
LONG = {"virtual", "hidden-start", "phones", "first-push", "film"}
"""Actions that open devices or take seconds; the other tests try them."""


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """A page on an empty bench."""
    made = Page(Bench(tmp_path_factory.mktemp("log")), port=8377, phone_host="127.0.0.1")
    made.should_end = lambda: True  # the endless stream ends at once
    yield made
    made.close()


@pytest.fixture(scope="module")
def client(page: Page) -> TestClient:
    """Requests to it."""
    return TestClient(page.app, base_url=HERE, raise_server_exceptions=False)


def state(page: Page) -> tuple[Any, ...]:
    """All that a request could have changed."""
    with page.bench.log() as log:
        records, cards = len(list(log.records())), len(log.cards())
    texts = tuple(sorted(page.bench.cards().texts.items()))
    return records, cards, texts, page.classroom.guesses, page.bench.step, page.bench.virtual


scalars = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20)
anything = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=8,
)
keys = st.sampled_from(
    [
        "station_pct",
        "side_mm",
        "on",
        "name",
        "placings",
        "kind",
        "values",
        "weights_g",
        "resolution_g",
        "masses_g",
        "mass_u_g",
        "pivot_pct",
        "u_pct",
        "position_pct",
    ]
)
numbers = st.floats(-1e6, 1e6) | st.integers(-(10**30), 10**30)
near = st.dictionaries(
    keys,
    numbers | st.lists(numbers, max_size=5) | st.sampled_from(["test", "car", "bench", "balanced", True]) | anything,
    max_size=4,
)
card_keys = st.sampled_from(
    [
        "push.position_pct",
        "push.wheels",
        "grip.front",
        "typed.weights_g",
        "typed.pivot_pct",
        "geometry.wheelbase_mm",
        "geometry.contacts_mm",
        "front.kind",
        "masses.parts",
        "masses.total_g",
        "pads.wheels",
        "pads.baud",
        "name",
        "car",
        "clip",
        "card",
        "floor.markers",
        "plate.markers",
        "",
        ".",
        "push",
        "push.",
        "a.b.c",
        "camera.calibration",
    ]
)
cards = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(["test", "car", "bench"]),
        "values": st.dictionaries(card_keys, numbers | anything, max_size=3),
    }
)


@QUIET
@given(data=st.data())
def test_no_body_brings_the_page_down(page: Page, client: TestClient, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(set(page.actions) - LONG)))
    body = data.draw(st.binary(max_size=60) | (anything | near | cards).map(lambda sent: json.dumps(sent).encode()))
    answer = client.post(f"/api/do/{name}", content=body, headers={"x-bench-token": page.token})
    assert answer.status_code < 500, answer.text
    if answer.status_code >= 400:
        assert answer.json()["error"]
    page.bench.work.stop()


@QUIET
@given(sent=cards)
def test_a_card_is_saved_whole_or_not_at_all(page: Page, client: TestClient, sent: dict[str, Any]) -> None:
    before = page.bench.cards().texts
    answer = client.post("/api/do/save-card", content=json.dumps(sent), headers={"x-bench-token": page.token})
    after = page.bench.cards()  # still a card that can be read
    assert answer.status_code in (200, 400, 409), answer.text
    if answer.status_code != 200:
        assert after.texts == before


@QUIET
@given(
    path=st.sampled_from(["/api/what-if", "/api/cards", "/api/record", "/static/", "/print/ring", "/events", "/"]),
    tail=st.text(max_size=30),
    query=st.dictionaries(
        st.sampled_from(["front", "rear", "ballast_g", "ballast_pct", "push_pct", "whole"]),
        st.floats().map(str) | st.text(max_size=8),
        max_size=6,
    ),
)
def test_no_address_brings_the_page_down(client: TestClient, path: str, tail: str, query: dict[str, str]) -> None:
    from urllib.parse import quote

    answer = client.get(path + quote(tail), params=query)
    assert answer.status_code < 500, answer.text


@pytest.mark.thorough
@QUIET
@given(
    front=st.floats(0, 5),
    rear=st.floats(0, 5),
    ballast=st.floats(-3000, 1e5),
    at=st.floats(-1e5, 1e5),
    push=st.floats(-1e5, 1e5),
)
def test_every_slider_has_an_answer(
    client: TestClient, front: float, rear: float, ballast: float, at: float, push: float
) -> None:
    query = {"front": front, "rear": rear, "ballast_g": ballast, "ballast_pct": at, "push_pct": push}
    answer = client.get("/api/what-if", params=query)
    assert answer.status_code in (200, 400), answer.text


@QUIET
@given(
    name=st.sampled_from(["guess", "save-card", "undo", "weigh-typed", "step", "virtual", "again", "push", "phones"]),
    sent=near | cards,
    token=st.sampled_from(["", "x"]) | st.text(st.characters(codec="ascii", exclude_categories=["C"]), max_size=40),
)
def test_nothing_changes_without_the_token(
    page: Page, client: TestClient, name: str, sent: dict[str, Any], token: str
) -> None:
    before = state(page)
    answer = client.post(f"/api/do/{name}", content=json.dumps(sent), headers={"x-bench-token": token})
    assert answer.status_code == 403
    assert state(page) == before


@pytest.mark.thorough
def test_a_fuzzer_driven_by_the_interface_s_document_finds_no_fault(page: Page, client: TestClient) -> None:
    schemathesis = pytest.importorskip("schemathesis", reason="needs python -m pip install -e '.[dev]'")
    schema = schemathesis.openapi.from_dict(page.document)
    operations = [result.ok() for result in schema.get_all_operations()]
    tried = [one for one in operations if one.path.rsplit("/", 1)[-1] not in LONG and "report" not in one.path]
    for operation in tried:
        fuzz(page, client, operation)
    assert len(tried) > 20


def fuzz(page: Page, client: TestClient, operation: Any) -> None:
    """Try one operation with requests that its own document describes, and judge the answers by it."""

    @settings(deadline=None, max_examples=5, database=None, suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy())
    def try_it(case: Any) -> None:
        body = case.body if isinstance(case.body, bytes) else json.dumps(case.body, default=str).encode()
        answer = client.request(
            operation.method.upper(),
            operation.path,
            headers={"x-bench-token": page.token},
            params={str(key): value for key, value in (case.query or {}).items()},
            content=None if operation.method == "get" else body,
        )
        page.bench.work.stop()
        assert answer.status_code < 500, answer.text
        assert str(answer.status_code) in operation.definition.raw["responses"]

    try_it()
