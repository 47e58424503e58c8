"""Instances behind nginx as it is shipped: what it keeps, what it must not keep, and what happens when one is lost."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import pytest
import requests
from prometheus_client.parser import text_string_to_metric_families
from sheetmargin import Client, Job, Sheet
from sheetmargin_service.api.keys import new_key
from support.catalogues import OWN
from support.load import Crowd, Question, json_question, statuses
from support.proxy import nginx
from support.servers import Server, gunicorn

TESTS = Path(__file__).parents[1]
PATH = "/v1/recommendations"
FRESH_S = 1.0
"""As `support.brief` has it."""


def query(grammage_gsm: float) -> str:
    return f"{PATH}?material=copy-paper&grammage_gsm={grammage_gsm:g}&limit=1"


def counted(instance: Server, name: str, **labels: str) -> float:
    text = requests.get(f"{instance.url}/metrics", timeout=30).text
    return sum(
        sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
        if sample.name == name and labels.items() <= sample.labels.items()
    )


@dataclass(frozen=True, kw_only=True)
class Site:
    """nginx and what stands behind it."""

    front: Server
    instances: list[Server]
    environment: dict[str, str]

    def get(self, path: str, **headers: str) -> requests.Response:
        return requests.get(f"{self.front.url}{path}", headers=headers, timeout=30)

    def computed(self) -> float:
        """Jobs that were computed, whichever instance did."""
        return sum(counted(instance, "sheetmargin_physics_seconds_count") for instance in self.instances)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """With a catalogue of one class, so that an instance starts soon."""
    made = tmp_path_factory.mktemp("site")
    (made / "own.toml").write_text("[[class]]".join(OWN.split("[[class]]")[:2]))
    return made


@pytest.fixture(scope="module")
def site(require_part: Callable[[str], str], folder: Path) -> Iterator[Site]:
    """Two instances at which anybody may ask. Their answers are fresh for a second."""
    program = require_part("nginx")
    environment = {"SHEETMARGIN_CATALOGUE": str(folder / "own.toml")}
    with ExitStack() as stack:
        options = ("--pythonpath", str(TESTS), "support.brief:app")
        instances = [stack.enter_context(gunicorn(folder, *options, environment=environment)) for _ in range(2)]
        ports = [instance.port for instance in instances]
        front = stack.enter_context(nginx(program, folder / "open", ports))
        yield Site(front=front, instances=instances, environment=environment)


def test_what_was_asked_is_not_asked_again(site: Site) -> None:
    before = site.computed()
    first = site.get(query(80), **{"X-Request-Id": "one"})
    again = site.get(query(80), **{"X-Request-Id": "two"})
    assert [first.headers["X-Cache"], again.headers["X-Cache"]] == ["MISS", "HIT"]
    assert again.content == first.content
    same = ("ETag", "Cache-Control", "Vary", "Content-Type", "Content-Language", "X-Content-Type-Options")
    assert {name: again.headers[name] for name in same} == {name: first.headers[name] for name in same}
    assert [first.headers["X-Request-Id"], again.headers["X-Request-Id"]] == ["one", "two"]
    held = site.get(query(80), **{"If-None-Match": first.headers["ETag"]})
    assert (held.status_code, held.content, held.headers["X-Cache"]) == (304, b"", "HIT")
    assert site.computed() == before + 1
    german = site.get(query(80), **{"Accept-Language": "de"})
    assert (german.headers["X-Cache"], german.headers["Content-Language"]) == ("MISS", "de")
    assert site.get(query(80)).headers["Content-Language"] == "en"


def test_texts_and_answers_are_compressed_for_who_takes_it(site: Site) -> None:
    for path in ("/embed/v1/selector.js", query(90)):
        plain = site.get(path, **{"Accept-Encoding": "identity"})
        packed = site.get(path, **{"Accept-Encoding": "gzip"})
        assert "Content-Encoding" not in plain.headers
        assert packed.headers["Content-Encoding"] == "gzip"
        if path.startswith(PATH):
            assert packed.headers["X-Cache"] == "HIT"  # one answer is held for both
        assert packed.content == plain.content
        held = site.get(path, **{"Accept-Encoding": "gzip", "If-None-Match": packed.headers["ETag"]})
        assert held.status_code == 304


def test_what_is_wrong_is_not_kept(site: Site) -> None:
    answers = [site.get(f"{PATH}?material=nothing&grammage_gsm=80", **{"X-Request-Id": f"n{n}"}) for n in range(2)]
    assert [(answer.status_code, answer.headers["X-Cache"]) for answer in answers] == [(422, "MISS")] * 2
    assert [answer.json()["request_id"] for answer in answers] == ["n0", "n1"]
    assert site.get("/metrics").status_code == 404


def test_an_old_answer_is_kept_on_when_its_tag_still_holds(site: Site) -> None:
    first = site.get(query(81))
    computed = site.computed()
    held = sum(counted(instance, "sheetmargin_cache_total", outcome="hit") for instance in site.instances)
    time.sleep(FRESH_S + 1.1)  # nginx counts whole seconds
    again = site.get(query(81))
    assert (again.status_code, again.headers["X-Cache"]) == (200, "REVALIDATED")
    assert again.content == first.content
    assert site.computed() == computed
    assert sum(counted(one, "sheetmargin_cache_total", outcome="hit") for one in site.instances) == held + 1
    assert site.get(query(81)).headers["X-Cache"] == "HIT"


def test_many_who_ask_the_same_at_once_have_it_computed_once(site: Site) -> None:
    before = site.computed()
    answers: list[requests.Response] = []
    threads = [threading.Thread(target=lambda: answers.append(site.get(query(82)))) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [answer.status_code for answer in answers] == [200] * 6
    assert len({answer.content for answer in answers}) == 1
    assert site.computed() == before + 1


def test_an_answer_to_a_key_is_its_holders_alone(
    site: Site, folder: Path, require_part: Callable[[str], str], tmp_path: Path
) -> None:
    # Also where anybody may ask, nothing is kept of, or given to, who comes with a key.
    site.get(query(83))
    for headers, more in (({"Authorization": "Bearer a.b"}, ""), ({}, "&key=a.b")):
        assert [site.get(query(83) + more, **headers).headers["X-Cache"] for _ in range(2)] == ["BYPASS"] * 2
    assert site.get(query(83)).headers["X-Cache"] == "HIT"

    secret, entry = new_key("quoting", ("recommend",), ())
    shown, publishable = new_key("shop", ("recommend",), ("https://shop.example",))
    (tmp_path / "keys.toml").write_text(entry + publishable)
    keys = {"SHEETMARGIN_ACCESS": "keys", "SHEETMARGIN_KEYS_FILE": str(tmp_path / "keys.toml")}
    with (
        gunicorn(tmp_path, environment=site.environment | keys) as instance,
        nginx(require_part("nginx"), tmp_path / "keyed", [instance.port]) as front,
    ):
        keyed = Site(front=front, instances=[instance], environment={})
        bearer = {"Authorization": f"Bearer {secret}"}
        for path, headers in ((query(80), bearer), (f"{query(80)}&key={shown}", {"Origin": "https://shop.example"})):
            for _ in range(2):
                answer = keyed.get(path, **headers)
                assert (answer.status_code, answer.headers["X-Cache"]) == (200, "BYPASS")
                assert answer.headers["Cache-Control"].startswith("private")
        assert keyed.get(query(80)).status_code == 401
        assert keyed.get(query(80), Authorization="Bearer quoting.wrong").status_code == 401
        assert keyed.get(f"{query(80)}&key={shown}", Origin="https://other.example").status_code == 403


def test_a_post_whose_instance_breaks_off_is_computed_by_the_other(
    site: Site, require_part: Callable[[str], str], tmp_path: Path
) -> None:
    """Without any retry of the client. One of two replicas is a stand-in that dies whenever it has read a question."""
    questions: list[bytes] = []

    def read_and_die(listener: socket.socket) -> None:
        while True:
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            with connection:
                questions.append(connection.recv(65536))

    job = {"sheets": [{"material": "copy-paper", "grammage_gsm": 86}], "limit": 1}
    with socket.create_server(("127.0.0.1", 0)) as listener:
        threading.Thread(target=read_and_die, args=(listener,), daemon=True).start()
        ports = [listener.getsockname()[1], site.instances[0].port]
        with nginx(require_part("nginx"), tmp_path / "broken", ports) as front:
            statuses = [requests.post(front.url + PATH, json=job, timeout=30).status_code for _ in range(6)]
        listener.shutdown(socket.SHUT_RDWR)
    assert statuses == [200] * 6
    assert any(question.startswith(b"POST ") for question in questions)


@pytest.mark.long
@pytest.mark.parametrize(("path", "most"), [(PATH, 2), (f"{PATH}/batch", 1)])
def test_what_ends_a_replica_does_not_go_round(
    require_part: Callable[[str], str], tmp_path: Path, path: str, most: int
) -> None:
    """Of four replicas that die of a question, one or two do."""
    questions: list[bytes] = []

    def read_and_die(listener: socket.socket) -> None:
        while True:
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            with connection:
                questions.append(connection.recv(65536))

    with ExitStack() as stack:
        listeners = [stack.enter_context(socket.create_server(("127.0.0.1", 0))) for _ in range(4)]
        for listener in listeners:
            threading.Thread(target=read_and_die, args=(listener,), daemon=True).start()
        ports = [listener.getsockname()[1] for listener in listeners]
        with nginx(require_part("nginx"), tmp_path / "poison", ports) as front:
            questions.clear()
            assert requests.post(front.url + path, json=[], timeout=30).status_code == 502
        for listener in listeners:
            listener.shutdown(socket.SHUT_RDWR)
    assert 1 <= len(questions) <= most


@pytest.mark.long
def test_replicas_are_replaced_one_after_the_other_under_load(
    require_part: Callable[[str], str], folder: Path, tmp_path: Path
) -> None:
    """As a rollout does it: each is told to stop, drains, and another one takes its port. Nobody asks twice."""
    environment = {"SHEETMARGIN_CATALOGUE": str(folder / "own.toml")}
    with ExitStack() as stack:
        replicas = [stack.enter_context(gunicorn(tmp_path, environment=environment)) for _ in range(2)]
        ports = [replica.port for replica in replicas]
        front = stack.enter_context(nginx(require_part("nginx"), tmp_path / "rollout", ports))

        def question(number: int) -> Question:
            grammage_gsm = 60 + number / 1000
            if number % 2:
                return Question(kind="GET", path=query(grammage_gsm))
            job = {"sheets": [{"material": "copy-paper", "grammage_gsm": grammage_gsm}], "limit": 1}
            return json_question("POST", PATH, job)

        crowd = Crowd(port=front.port, question=question, callers=4, pause_s=0.05)
        crowd.start()
        crowd.wait_for(20)
        for replica in replicas:
            assert replica.stop() == 0
            stack.enter_context(gunicorn(tmp_path, port=replica.port, environment=environment))
            crowd.wait_for(len(crowd.asked) + 20)
        crowd.stop()
    assert statuses(crowd.asked) == {200: len(crowd.asked)}


def test_one_of_two_is_killed_under_load(site: Site) -> None:
    """Nobody who asks through the client sees it, whether by GET or POST; with the other gone, what is kept is told."""
    answered: list[str] = []
    failed: list[str] = []
    stop = threading.Event()

    def ask(caller: int) -> None:
        with Client(site.front.url, timeout=30) as client:
            number = 0
            while not stop.is_set():
                number += 1
                grammage_gsm = 90 + caller + number / 1000
                try:
                    if number % 2:
                        client.recommend(
                            Job(sheets=(Sheet(material="copy-paper", grammage_gsm=grammage_gsm),), limit=1)
                        )
                        answered.append("POST")
                    else:
                        client.request("GET", query(grammage_gsm))
                        answered.append("GET")
                except Exception as error:
                    failed.append(repr(error))

    def wait_for(count: int) -> None:
        ends = time.monotonic() + 60.0
        while len(answered) < count and not failed:
            assert time.monotonic() < ends, f"{len(answered)} are answered"
            time.sleep(0.01)

    threads = [threading.Thread(target=ask, args=(caller,)) for caller in range(4)]
    for thread in threads:
        thread.start()
    first, second = site.instances
    try:
        wait_for(40)
        shares = [counted(one, "sheetmargin_requests_total", route=PATH, status="200") for one in site.instances]
        first.kill()
        wait_for(120)
    finally:
        stop.set()
        for thread in threads:
            thread.join()
    assert failed == []
    assert min(shares) > 0, "one of the two had nothing to do"
    assert {kind: answered.count(kind) >= 40 for kind in ("GET", "POST")} == {"GET": True, "POST": True}

    kept = site.get(query(84))
    second.kill()
    time.sleep(FRESH_S + 1.1)
    stale = site.get(query(84))
    assert (stale.status_code, stale.headers["X-Cache"], stale.content) == (200, "STALE", kept.content)
    assert site.get(query(85)).status_code == 502
