"""Telemetry against a real broker that is killed, hangs, refuses and comes back."""

from __future__ import annotations

import asyncio
import json
import shutil
import signal
import socket
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.telemetry.outbox import Outbox
from daemon.telemetry.publisher import Publisher
from daemon.telemetry.settings import PASSWORD_VARIABLE
from daemon.telemetry.telemetry import Telemetry
from drivers.clock import Clock
from tests.nights.telemetry_broker import PATIENCE_S, Told, broker, free_port, reading, settings_for, word

EXAMPLE = Path(__file__).resolve().parents[2] / "plans" / "examples" / "broker"
_DAEMON = """
import sys
from dataclasses import replace
from pathlib import Path
from daemon.telemetry.telemetry import Telemetry
from tests.nights.telemetry_broker import settings_for
telemetry = Telemetry(settings_for(int(sys.argv[1])), Path(sys.argv[2]))
sys.stdin.read()
"""


def test_a_killed_broker_loses_nothing_and_the_order_stays(tmp_path: Path) -> None:
    with broker(tmp_path) as one, reading(one.port) as reader:
        telemetry = Telemetry(settings_for(one.port), tmp_path / "outbox")
        for seq in range(1, 101):
            telemetry.listener(word(seq))
        reader.until(lambda: len(reader.on("event")) == 100)
        one.end(signal.SIGKILL)
        for seq in range(101, 1001):
            telemetry.listener(word(seq))
        one.start()
        reader.until(lambda: any(event["seq"] == 1000 for event in reader.on("event")[-50:]))
        assert telemetry.close(PATIENCE_S)
        assert reader.event_numbers() == list(range(1, 1001))


def test_a_broker_restarted_in_mid_flow_loses_nothing_and_repeats_can_be_told(tmp_path: Path) -> None:
    with broker(tmp_path) as one, reading(one.port) as reader:
        telemetry = Telemetry(settings_for(one.port), tmp_path / "outbox")
        for seq in range(1, 1001):
            telemetry.listener(word(seq))
        reader.until(lambda: len(reader.on("event")) > 50)
        one.end(signal.SIGTERM)
        one.start()
        reader.until(lambda: any(event["seq"] == 1000 for event in reader.on("event")[-50:]))
        assert telemetry.close(PATIENCE_S)
        assert reader.event_numbers() == list(range(1, 1001))


def test_a_killed_daemon_is_offline_at_once_by_its_will(tmp_path: Path) -> None:
    with broker(tmp_path) as one, reading(one.port) as reader:
        command = [sys.executable, "-c", _DAEMON, str(one.port), str(tmp_path / "outbox")]
        daemon = subprocess.Popen(command, stdin=subprocess.PIPE, cwd=Path(__file__).parents[2])
        assert daemon.stdin is not None
        with daemon.stdin:
            reader.until(lambda: reader.statuses() == ["online"])
            daemon.kill()
            daemon.wait(PATIENCE_S)
        reader.until(lambda: reader.statuses() == ["online", "offline"])
        assert reader.on("status")[-1]["reason"] == "connection lost"
        with reading(one.port, "who comes later") as later:
            later.until(lambda: later.statuses() == ["offline"])
            assert later.messages[0][2], "the status is retained for whoever comes later"


def test_a_clean_exit_says_offline_after_everything_else(tmp_path: Path) -> None:
    with broker(tmp_path) as one, reading(one.port) as reader:
        telemetry = Telemetry(settings_for(one.port), tmp_path / "outbox")
        telemetry.listener(word(1))
        assert telemetry.close(PATIENCE_S)
        reader.until(lambda: reader.statuses()[-1:] == ["offline"])
        assert [topic.rsplit("/", 1)[1] for topic, *_ in reader.messages] == ["status", "event", "status"]
        assert reader.on("status")[-1]["reason"] == "left"
        assert [status["seq"] for status in reader.on("status")] == [1, 2]


def test_a_network_that_is_cut_and_mended_loses_nothing(tmp_path: Path) -> None:
    """A dead connection is not closed by anyone: it is the keepalive that notices."""
    apart = [str(shutil.which("unshare")), "--map-root-user", "--net"]
    if not shutil.which("unshare") or subprocess.run([*apart, "true"], capture_output=True).returncode:
        pytest.skip("this machine lets nobody make a network of his own")
    with broker(tmp_path):
        pass  # skips where there is no broker
    command = [*apart, sys.executable, "-m", "tests.nights.network_cut", str(tmp_path)]
    done = subprocess.run(command, cwd=Path(__file__).parents[2], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["whole"] and found["closed"] and found["lost"] == 0
    assert found["waiting"] >= 400


def test_a_wrong_password_ends_the_attempts_and_is_said(tmp_path: Path) -> None:
    passwords = tmp_path / "passwords"
    tool = shutil.which("mosquitto_passwd")
    if tool is None:
        pytest.skip("mosquitto_passwd is not installed, so no password can be set")
    subprocess.run([tool, "-b", "-c", str(passwords), "bench-1", "right"], check=True, capture_output=True)
    told = Told()

    async def sends(outbox: Outbox, port: int, password: str) -> None:
        settings = settings_for(port, "?user=bench-1", **{PASSWORD_VARIABLE: password})
        publisher = Publisher(settings, outbox, Clock(), told)
        if password == "right":
            publisher.leave(PATIENCE_S)
        # With the wrong password it returns although nobody told it to leave.
        await asyncio.wait_for(publisher.run(), PATIENCE_S)

    with broker(tmp_path, f"allow_anonymous false\npassword_file {passwords}\n") as one:
        outbox = Outbox(tmp_path / "outbox")
        asyncio.run(sends(outbox, one.port, "wrong"))
        assert "wrong name or password" in told.problems[-1] and "'bench-1'" in told.problems[-1]
        asyncio.run(sends(outbox, one.port, "right"))
        assert told.problems[-1] == ""
        outbox.close()


def test_messages_that_the_access_list_throws_away_are_kept_and_sent_when_it_is_put_right(
    tmp_path: Path,
) -> None:
    access = tmp_path / "access"
    access.write_text("topic read #\n")
    told = Told()
    with (
        broker(tmp_path, f"allow_anonymous true\nacl_file {access}\n") as one,
        reading(one.port) as reader,
    ):
        telemetry = Telemetry(settings_for(one.port), tmp_path / "outbox", tell=told)
        telemetry.listener(word(1))
        told.until("access list")
        assert telemetry.waiting == 1 and reader.messages == []
        access.write_text("topic readwrite ohmvigil/tern-rock/thermometry-bench/#\ntopic read #\n")
        one.send(signal.SIGHUP)
        reader.until(lambda: len(reader.on("event")) == 1)
        assert telemetry.close(PATIENCE_S) and telemetry.problem == ""


def test_what_was_not_sent_before_a_restart_is_sent_after_it(tmp_path: Path) -> None:
    told = Told()
    before = Telemetry(settings_for(free_port()), tmp_path / "outbox", tell=told)
    for seq in range(1, 201):
        before.listener(word(seq))
    told.until("trying again")
    assert not before.close(PATIENCE_S) and before.waiting == 200
    with broker(tmp_path) as one, reading(one.port) as reader:
        after = Telemetry(settings_for(one.port), tmp_path / "outbox")
        after.listener(word(201))
        reader.until(lambda: len(reader.on("event")) == 201)
        assert after.close(PATIENCE_S)
        assert [event["seq"] for event in reader.on("event")] == list(range(1, 202))


def test_a_broker_that_accepts_and_never_answers_delays_nobody(tmp_path: Path) -> None:
    with socket.socket() as deaf:
        deaf.bind(("127.0.0.1", 0))
        deaf.listen()
        told = Told()
        settings = replace(settings_for(deaf.getsockname()[1]), answer_s=0.2)
        telemetry = Telemetry(settings, tmp_path / "outbox", tell=told)
        for seq in range(1, 5001):
            telemetry.listener(word(seq))
        told.until("mqtts://")
        telemetry.close(PATIENCE_S)
        assert telemetry.waiting == 5000 and telemetry.lost == 0


def test_the_example_of_a_broker_keeps_a_station_apart_from_others(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tool = shutil.which("mosquitto_passwd")
    if tool is None:
        pytest.skip("mosquitto_passwd is not installed, so no password can be set")
    passwords, rules = tmp_path / "passwords", (EXAMPLE / "mosquitto.conf").read_text("utf-8")
    passwords.touch(0o700)
    for user in ("tern-rock", "furnace", "watch"):
        subprocess.run([tool, "-b", str(passwords), user, "ice point"], check=True, capture_output=True)
    rules = rules.replace("/etc/mosquitto/passwords", str(passwords))
    rules = rules.replace("/etc/mosquitto/access-list", str(EXAMPLE / "access-list"))
    # The test's broker listens elsewhere, unencrypted; that is tried by itself below.
    kept = [
        line for line in rules.splitlines() if not line.startswith(("listener", "cert", "key", "persist"))
    ]
    password = {PASSWORD_VARIABLE: "ice point"}
    with broker(tmp_path, "\n".join(kept).replace("set_tcp_nodelay true", "") + "\n") as one:
        may = Telemetry(settings_for(one.port, "?user=tern-rock", **password), tmp_path / "a")
        told = Told()
        query = "?user=furnace&bench=bath"
        may_not = Telemetry(settings_for(one.port, query, **password), tmp_path / "b", tell=told)
        may.listener(word(1))
        may_not.listener(word(1))
        told.until("access list")
        assert may.close(PATIENCE_S) and not may_not.close(PATIENCE_S)
        own = settings_for(one.port, "?user=furnace&bench=furnace", **password)
        assert Telemetry(own, tmp_path / "c").close(PATIENCE_S)
        (tmp_path / "password").write_text("ice point\n", encoding="ascii")
        watch = f"mqtt://127.0.0.1:{one.port}/tern-rock?user=watch&password_file={tmp_path}/password"
        assert main(["watch", watch, "--once-s", "0.5", "--json"]) == 0
    seen = [one["bench"] for one in json.loads(capsys.readouterr().out)["benches"]]
    assert seen == ["furnace", "thermometry-bench"]


@pytest.mark.filterwarnings(
    "ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning"
)
def test_an_encrypted_connection_knows_its_broker_by_the_certificate(tmp_path: Path) -> None:
    tool = shutil.which("openssl")
    if tool is None:
        pytest.skip("openssl is not installed, so no certificate can be made")
    for name in ("broker", "stranger"):
        key = "-newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes"
        make = f"{tool} req -x509 {key} -days 2 -subj /CN={name}"
        files = ["-keyout", f"{tmp_path}/{name}.key", "-out", f"{tmp_path}/{name}.pem"]
        place = ["-addext", "subjectAltName=IP:127.0.0.1"]
        subprocess.run([*make.split(), *place, *files], check=True, capture_output=True)
    rules = f"allow_anonymous true\ncertfile {tmp_path}/broker.pem\nkeyfile {tmp_path}/broker.key\n"
    told = Told()
    with broker(tmp_path, rules) as one:
        strange = settings_for(one.port, f"?cafile={tmp_path}/stranger.pem", "mqtts")
        telemetry = Telemetry(strange, tmp_path / "outbox", tell=told)
        telemetry.listener(word(1))
        told.until("certificate")
        assert not telemetry.close(PATIENCE_S)
        known = settings_for(one.port, f"?cafile={tmp_path}/broker.pem", "mqtts")
        telemetry = Telemetry(known, tmp_path / "outbox")
        assert telemetry.close(PATIENCE_S), "what waited was sent once the certificate was the right one"
