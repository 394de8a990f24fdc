"""Who may say what to the daemon: refused by default, and a halt never refused to anyone present."""

from __future__ import annotations

import http.client
import json
import os
import socket
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.service.openapi import description
from daemon.service.operations import OPERATIONS
from daemon.service.token import TokenError, own_token, read_token
from tests.nights.served_lab import ServedLab, make_lab, served_lab

BODIES = {
    "submit": {"plan": "quick-bath", "who": "somebody"},
    "withdraw": {"number": 1, "who": "somebody"},
    "confirm": {"key": "limits", "who": "somebody"},
}
WORD = {"who": "somebody", "reason": "to see what happens"}
CHANGING = [one for one in OPERATIONS if one.body is not None]
NEED_TOKEN = [one.name for one in CHANGING if one.token]


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedLab]:
    with served_lab(make_lab(tmp_path_factory.mktemp("lab"))) as served:
        yield served


def body(name: str) -> dict[str, object]:
    return BODIES.get(name, WORD)  # type: ignore[return-value]


def test_only_the_halt_needs_no_token() -> None:
    assert {one.name for one in CHANGING} - set(NEED_TOKEN) == {"halt"}


def test_nothing_that_changes_something_is_a_get() -> None:
    assert all((one.method == "POST") == (one.body is not None) for one in OPERATIONS)


@pytest.mark.parametrize("name", NEED_TOKEN)
def test_without_a_token_or_with_a_wrong_one_nothing_happens(name: str, lab: ServedLab) -> None:
    path = f"/api/benches/bath/{name}"
    assert lab.post(path, body(name), token=None)[0] == 401
    assert lab.post(path, body(name), token="x" * 43)[0] == 403
    assert lab.post(path, body(name), token=lab.token[:-1])[0] == 403
    assert lab.post(path, body(name), token=None, authorization=f"Basic {lab.token}")[0] == 403
    assert lab.bench("bath")["queue"] == []


def test_anyone_may_say_halt(lab: ServedLab) -> None:
    assert lab.post("/api/benches/bath/halt", WORD, token=None)[0] == 200


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:1", "https://localhost"])
@pytest.mark.parametrize("name", ["halt", "submit"])
def test_a_page_from_elsewhere_changes_nothing_even_with_the_token(
    name: str, origin: str, lab: ServedLab
) -> None:
    assert lab.post(f"/api/benches/bath/{name}", body(name), origin=origin)[0] == 403
    assert lab.bench("bath")["queue"] == []


def test_a_cross_site_fetch_is_refused_and_no_other_origin_is_ever_allowed(lab: ServedLab) -> None:
    assert lab.post("/api/benches/bath/halt", WORD, sec_fetch_site="cross-site")[0] == 403
    connection = http.client.HTTPConnection("127.0.0.1", lab.port, timeout=10)
    connection.request("GET", "/api/status", headers={"Origin": "http://evil.example"})
    answer = connection.getresponse()
    headers = {name.lower() for name, _ in answer.getheaders()}
    connection.close()
    assert not any(name.startswith("access-control") for name in headers)
    assert {"content-security-policy", "x-frame-options", "x-content-type-options"} <= headers


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:80", "127.0.0.1", "127.0.0.1.evil.example", ""]
)
def test_a_name_that_was_rebound_to_loopback_is_refused(host: str, lab: ServedLab) -> None:
    assert lab.get("/api/status", host=host)[0] == 403
    assert lab.post("/api/benches/bath/halt", WORD, host=host)[0] == 403


@pytest.mark.parametrize(
    "path",
    [
        "/../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/style.css/../../lab.toml", "//etc/passwd",
        "/benches/..%2f..%2fetc", "/benches/bath%00", "/api/benches/%2e%2e/submit", "/lab.state/token",
        "/api/benches/bath/../../../lab.state/token", "/files/style.css", "/style.css%00.html",
    ],
)  # fmt: skip
def test_no_path_leads_to_a_file(path: str, lab: ServedLab) -> None:
    code, text = lab.get(path)
    assert code in (404, 405)
    assert lab.token not in text and "root:" not in text and "[lab]" not in text


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "OPTIONS", "CONNECT"])
def test_other_methods_are_not_known(method: str, lab: ServedLab) -> None:
    assert lab.ask(method, "/api/benches/bath/halt", b"", {})[0] in (400, 404, 405)


def test_halting_by_a_link_is_not_possible(lab: ServedLab) -> None:
    for path in ("/api/benches/bath/halt", "/benches/bath/halt"):
        assert lab.get(path)[0] == 405


def test_a_body_over_64_kib_is_refused_however_it_is_announced(lab: ServedLab) -> None:
    path, json_type = "/api/benches/bath/halt", {"content-type": "application/json"}
    large = json.dumps({"who": "x", "reason": "y" * 70_000}).encode()
    assert lab.ask("POST", path, large, json_type)[0] == 413
    announced = json_type | {"content-length": "99999999999999999999"}
    assert lab.ask("POST", path, b"{}", announced)[0] in (400, 413)
    chunked = [b"z" * 8192] * 10
    connection = http.client.HTTPConnection("127.0.0.1", lab.port, timeout=10)
    try:
        connection.request("POST", path, iter(chunked), json_type, encode_chunked=True)
        code = connection.getresponse().status
    except (BrokenPipeError, ConnectionResetError):
        code = 413  # hung up on before all of it was sent
    finally:
        connection.close()
    assert code == 413


@pytest.mark.parametrize(
    "text",
    [
        "", "{", "[]", "null", '{"who": 1}', '{"who": ""}', '{"who": "a", "reason": "b", "more": 1}',
        '{"who": "a\\u0000b"}', '{"reason": NaN}', '{"who": "' + "a" * 500 + '"}', "[" * 10_000,
    ],
    ids=range(11),
)  # fmt: skip
def test_a_body_that_does_not_fit_is_refused_in_words(text: str, lab: ServedLab) -> None:
    sent = {"content-type": "application/json"}
    code, answer = lab.ask("POST", "/api/benches/bath/halt", text.encode(), sent)
    assert code == 422 and json.loads(answer)["refused"]


def test_a_form_from_elsewhere_is_not_taken_for_json(lab: ServedLab) -> None:
    text = json.dumps(WORD).encode()
    assert lab.ask("POST", "/api/benches/bath/halt", text, {"content-type": "text/plain"})[0] == 415


def test_the_halt_of_the_page_needs_the_key_of_the_page(lab: ServedLab) -> None:
    form = {"content-type": "application/x-www-form-urlencoded"}
    for sent in (b"", b"key=&who=x", b"key=%00", b"key=" + b"0" * 64):
        assert lab.ask("POST", "/benches/bath/halt", sent, form)[0] == 403
    page = lab.get("/benches/bath")[1]
    key = page.partition('name="key" value="')[2].partition('"')[0]
    assert lab.ask("POST", "/benches/bath/halt", f"key={key}&who=x".encode(), form)[0] == 303
    assert lab.ask("POST", "/benches/block/halt", f"key={key}&who=x".encode(), form)[0] == 403


def test_only_loopback_is_listened_on(lab: ServedLab) -> None:
    with socket.socket() as other:
        other.settimeout(2.0)
        addresses = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
        for address in addresses - {"127.0.0.1"}:
            if not str(address).startswith("127."):
                assert other.connect_ex((address, lab.port)) != 0


def test_names_are_shown_as_text_never_as_markup(lab: ServedLab) -> None:
    name = "<script>alert(1)</script>"
    assert lab.post("/api/benches/block/submit", {"plan": name, "who": name})[0] == 409
    assert "<script>alert" not in lab.get("/benches/block")[1]


@pytest.mark.skipif(os.name != "posix", reason="file modes are a matter of POSIX")
def test_the_token_is_readable_by_its_owner_alone(tmp_path: Path) -> None:
    path = tmp_path / "state" / "token"
    token = own_token(path)
    assert len(token) >= 43 and stat.S_IMODE(path.stat().st_mode) == 0o600
    assert own_token(path) == token and own_token(tmp_path / "other") != token
    path.chmod(0o644)
    with pytest.raises(TokenError, match="chmod 600"):
        read_token(path)
    path.chmod(0o600)
    path.write_text("short\n", encoding="ascii")
    with pytest.raises(TokenError, match="holds no token"):
        read_token(path)


def test_the_description_has_every_operation_and_is_served(lab: ServedLab) -> None:
    served = json.loads(lab.get("/api/openapi.json")[1])
    assert served["paths"] == description("")["paths"]
    assert {(one.path, one.method.lower()) for one in OPERATIONS} == {
        (path, method) for path, methods in served["paths"].items() for method in methods
    }
