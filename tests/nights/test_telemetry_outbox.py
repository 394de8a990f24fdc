"""What waits for the broker, and the door through which a run leaves it there."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.telemetry.inbox import Inbox
from daemon.telemetry.outbox import Outbox, OutboxError
from daemon.telemetry.topics import Message
from tests.nights.telemetry_broker import look, word


def kept(number: int, topic: str = "event") -> Message:
    return Message(topic, f'{{"seq":{number},"run":"tonight"}}')


def payloads(outbox: Outbox, count: int = 1000) -> list[str]:
    return [one.message.payload for one in outbox.first(count)]


def test_every_event_waits_and_of_live_readings_only_the_newest(tmp_path: Path) -> None:
    outbox = Outbox(tmp_path / "outbox")
    for number in range(1, 6):
        outbox.put([kept(number), Message("channel/1", f"reading {number}", live=True)])
    assert payloads(outbox) == [kept(n).payload for n in range(1, 6)] + ["reading 5"]
    outbox.close()


def test_a_reading_that_came_while_an_older_one_was_on_its_way_still_waits(tmp_path: Path) -> None:
    outbox = Outbox(tmp_path / "outbox")
    outbox.put([Message("channel/1", "older", live=True)])
    on_its_way = outbox.first(50)
    outbox.put([Message("channel/1", "newer", live=True)])
    outbox.sent(on_its_way)
    assert payloads(outbox) == ["newer"]
    outbox.close()


def test_what_was_not_confirmed_outlives_a_restart_and_what_was_confirmed_does_not(tmp_path: Path) -> None:
    before = Outbox(tmp_path / "outbox")
    before.put([kept(number) for number in range(1, 101)])
    before.sent(before.first(50))
    assert before.next_connection() == 1
    before.close()
    after = Outbox(tmp_path / "outbox")
    assert after.depth == 50 and payloads(after) == [kept(n).payload for n in range(51, 101)]
    assert after.next_connection() == 2
    after.close()


def test_a_full_outbox_gives_up_the_oldest_and_counts_them(tmp_path: Path) -> None:
    outbox = Outbox(tmp_path / "outbox", most=10)
    for number in range(1, 26):
        outbox.put([kept(number)])
    assert payloads(outbox) == [kept(n).payload for n in range(16, 26)]
    assert outbox.lost == 15 and outbox.depth == 10
    outbox.close()


def test_a_broker_that_forgot_is_told_the_newest_state_again_but_never_before_older_ones(
    tmp_path: Path,
) -> None:
    outbox = Outbox(tmp_path / "outbox")
    states = [Message("run", f'{{"seq":{n},"run":"tonight"}}', retain=True) for n in (1, 2)]
    outbox.put(states)
    outbox.retained_again()
    assert payloads(outbox) == [state.payload for state in states], "what still waits is not doubled"
    outbox.sent(outbox.first(50))
    outbox.retained_again()
    assert payloads(outbox) == [states[1].payload]
    outbox.close()


def test_two_daemons_cannot_share_an_outbox_and_a_damaged_one_is_named(tmp_path: Path) -> None:
    first = Outbox(tmp_path / "outbox")
    with pytest.raises(OutboxError, match="another ohmvigil"):
        Outbox(tmp_path / "outbox")
    first.close()
    (tmp_path / "letter").write_text("Dear night watch, " * 200)
    with pytest.raises(OutboxError, match="letter: not an outbox or damaged"):
        Outbox(tmp_path / "letter")
    with pytest.raises(OutboxError, match="cannot be opened"):
        Outbox(tmp_path)


def test_live_readings_pass_once_a_second_and_events_always() -> None:
    inbox = Inbox(lambda: None)
    for step in range(40):
        inbox.put(look(2 * step + 1, 0.25 * step, 20.0 + step))
        inbox.put(word(2 * step + 2))
        if step % 4 == 3:
            entries = inbox.take()
            assert [entry.kind for entry in entries].count("operator") == 4
            assert [e.body["temperature_c"] for e in entries if e.kind == "observation"] == [17.0 + step]


def test_a_clock_that_begins_again_after_a_restart_does_not_silence_the_readings() -> None:
    inbox = Inbox(lambda: None)
    inbox.put(look(1, 90_000.0, 20.0))
    inbox.take()
    inbox.put(look(2, 12.0, 21.0))
    assert [entry.seq for entry in inbox.take()] == [2]


def test_an_inbox_that_nobody_empties_stays_bounded_and_wakes_once() -> None:
    knocks: list[int] = []
    inbox = Inbox(lambda: knocks.append(1), most=100)
    for seq in range(1, 501):
        inbox.put(word(seq))
        inbox.put(look(seq, float(seq), 20.0))
    assert inbox.lost == 400 and len(knocks) == 1
    assert len(inbox.take()) == 101
    inbox.put(word(501))
    assert len(knocks) == 2
