"""Calling a person: in order, again until acknowledged, and a silent daemon is noticed by somebody else."""

from __future__ import annotations

import asyncio
import io
import json
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.notices.caller import Caller
from daemon.notices.escalation import Escalation, Step, Waits
from daemon.notices.sending import Apprise, NoticeError, Sender
from tests.nights.served_lab import make_lab, served_lab

# What Apprise's own plug-ins import is not ours to mend.
pytestmark = pytest.mark.filterwarnings("ignore:.*slated for removal:DeprecationWarning")

WAITS = Waits(first_s=60.0, second_s=600.0, repeat_s=600.0)


class Inbox:
    """What a person's telephone has received: a real HTTP server that Apprise posts to."""

    def __init__(self) -> None:
        self.letters: list[dict[str, str]] = []
        self._change = threading.Condition()
        inbox = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                letter = json.loads(self.rfile.read(int(self.headers["content-length"])))
                with inbox._change:
                    inbox.letters.append(letter)
                    inbox._change.notify_all()
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self._server = HTTPServer(("127.0.0.1", 0), Handler)
        self.port = self._server.server_address[1]
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.01,))
        self._thread.start()

    def until(self, words: str) -> dict[str, str]:
        """The first letter with these words, once it has come."""

        def found() -> list[dict[str, str]]:
            return [one for one in self.letters if words in one["title"] + one["message"]]

        with self._change:
            assert self._change.wait_for(lambda: bool(found()), 60.0), self.letters
        return found()[0]

    def close(self) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


@pytest.fixture
def inbox() -> Iterator[Inbox]:
    pytest.importorskip("apprise", reason="apprise, which sends the notices, is not installed")
    one = Inbox()
    yield one
    one.close()


def addresses(path: Path, port: int) -> Path:
    path.write_text(f"# the night watch\njson://127.0.0.1:{port}/\n", encoding="utf-8")
    path.chmod(0o600)
    return path


def steps(escalation: Escalation, cause: str, now_s: float) -> list[str]:
    return [f"{call.step} {call.round}" for call in escalation.look(cause, now_s)]


def test_bell_then_first_then_second_then_all_again_until_it_is_over() -> None:
    one = Escalation(WAITS)
    assert steps(one, "halted", 1000.0) == ["bell 1"]
    assert steps(one, "halted", 1059.9) == []
    assert steps(one, "halted", 1060.0) == ["first person 1"]
    assert steps(one, "halted", 1659.9) == []
    assert steps(one, "halted", 1660.0) == ["second person 1"]
    assert steps(one, "halted", 2260.0) == ["bell 2", "first person 2", "second person 2"]
    assert steps(one, "halted", 2261.0) == []
    assert steps(one, "halted", 2860.0) == ["bell 3", "first person 3", "second person 3"]
    assert steps(one, "", 2861.0) == []
    assert steps(one, "halted", 2862.0) == ["bell 1"]


def test_a_new_cause_rings_at_once_and_a_late_look_forgets_nobody() -> None:
    one = Escalation(WAITS)
    assert steps(one, "holding", 0.0) == ["bell 1"]
    assert steps(one, "parking", 1.0) == ["bell 1"]
    assert steps(one, "parking", 700.0) == ["first person 1", "second person 1"]


@given(st.lists(st.floats(0.1, 400.0), min_size=1, max_size=60))
def test_however_one_looks_nobody_is_called_twice_in_a_round(gaps_s: list[float]) -> None:
    one, now_s, made = Escalation(WAITS), 0.0, []
    for gap_s in gaps_s:
        made += [(call.step, call.round) for call in one.look("halted", now_s)]
        now_s += gap_s
    assert len(made) == len(set(made)) and made[0] == (Step.BELL, 1)
    assert all(made.count((Step.BELL, number)) <= 1 for _, number in made)


def test_a_person_is_called_by_a_real_message_and_the_rest_goes_on(inbox: Inbox, tmp_path: Path) -> None:
    class Broken:
        def send(self, title: str, text: str) -> bool:
            raise RuntimeError("no network")

    told: list[str] = []
    persons: dict[Step, Sender] = {
        Step.FIRST: Broken(),
        Step.SECOND: Apprise(addresses(tmp_path / "second.urls", inbox.port)),
    }

    async def night() -> None:
        bell = io.StringIO()
        caller = Caller(Waits(0.0, 60.0, 60.0), persons, told.append, bell)
        caller.look("bath", "the bath is parking", 0.0)
        caller.look("bath", "the bath is parking", 60.0)
        await caller.finish()
        caller.look("bath", "", 61.0)
        assert bell.getvalue().splitlines() == ["ohmvigil calls: the bath is parking"]

    asyncio.run(night())
    assert [letter["message"].splitlines()[0] for letter in inbox.letters] == ["the bath is parking"]
    assert any("first person could not be called" in one for one in told)
    assert any("second person was called" in one for one in told)
    assert told[-1] == "no call any more: the bath is parking"


def test_a_terminal_rings_and_its_screen_is_not_written_over() -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    terminal = Terminal()
    Caller(WAITS, {}, lambda _: None, terminal).look("bath", "the bath is parking", 0.0)
    assert terminal.getvalue() == "\a"


@pytest.mark.parametrize(
    ("text", "mode", "words"),
    [
        ("json://127.0.0.1/", 0o644, "chmod 600"),
        ("", 0o600, "0 addresses"),
        ("json://127.0.0.1/\nnonsense", 0o600, "line 2 is no Apprise address"),
        ("json://127.0.0.1/\n" * 30, 0o600, "1 to 20"),
    ],
)
def test_a_file_of_addresses_that_cannot_be_used_is_a_sentence(
    text: str, mode: int, words: str, tmp_path: Path
) -> None:
    pytest.importorskip("apprise", reason="apprise, which sends the notices, is not installed")
    path = tmp_path / "first.urls"
    path.write_text(text, encoding="utf-8")
    path.chmod(mode)
    with pytest.raises(NoticeError, match=words) as refused:
        Apprise(path)
    assert "nonsense" not in str(refused.value)


def test_a_halt_in_the_night_calls_and_the_morning_gets_its_summary(inbox: Inbox, tmp_path: Path) -> None:
    addresses(tmp_path / "first.urls", inbox.port)
    table = '\n[notices]\nbell = false\nfirst_person = "first.urls"\nfirst_after_minutes = 0.0\n'
    with served_lab(make_lab(tmp_path, 300.0, table)) as lab:
        lab.submit("bath", "overnight")
        lab.until_readings("bath")
        lab.post("/api/benches/bath/halt", {"who": "the night watch"}, token=None)
        letter = inbox.until("the night watch said halt")
        assert letter["title"] == "ohmvigil calls" and "acknowledge" in letter["message"]
        morning = inbox.until("Tern Rock bath bench: parked")
        assert "head " in morning["message"]
        lab.until_standing("bath", "needs a person")
        assert lab.post("/api/benches/bath/acknowledge", {"who": "the night watch"})[1]["effect"]
        assert lab.bench("bath")["calls"] == ""
