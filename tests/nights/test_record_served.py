"""A record's instruments, served: whoever asks them is answered as it was that night."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from itertools import islice
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.cli import main
from daemon.journal.entry import Kind
from daemon.journal.read import read_entries
from daemon.night import Bench, run_night
from daemon.rehearsal import rehearse, served, simulation_of
from daemon.replay.far_registers import RegisterSide
from daemon.replay.far_text import TextSide
from daemon.replay.recorded_bench import RecordedBench
from daemon.replay.spelling import Spelling
from drivers.clock import Clock, ScaledClock
from drivers.errors import BadProfile, InstrumentError, NoAnswer
from drivers.lines import Lines
from drivers.registry import open_bridge, open_heat_source, profile_with_tables, shipped_profiles
from simulators import virtual_time
from tests.nights.replayed import brief_night, recorded
from tests.nights.served_night import one_point
from tests.nights.test_instruments_beside import BESIDE

FACTOR = 20.0
NIGHTS = {
    "bath-and-beside": lambda: one_point("bench-bath.toml", BESIDE),
    "modbus": lambda: one_point("bench-bath.toml", profile="modbus-block"),
}


@pytest.fixture(scope="module", params=NIGHTS)
def night(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A night on text instruments with others beside them, and one on Modbus."""
    record = tmp_path_factory.mktemp("served") / "night.record"
    rehearse(NIGHTS[request.param](), record)
    return record


def seen(record: Path, what: str) -> list[dict[str, Any]]:
    """The bodies of one sort of observation."""
    entries = read_entries(record, frozenset({Kind.OBSERVATION}))
    return [dict(entry.body) for entry in entries if entry.body["what"] == what]


def in_memory(record: Path, told: list[str]) -> tuple[RecordedBench, Bench]:
    bench = RecordedBench(record, lambda at_s, name, why: told.append(f"{name}: {why}"))
    ends = {name: bench.instrument(name) for name in bench.names}
    return bench, Bench(Clock(simulation_of(bench.run).start_utc), ends, simulated=True)


def test_the_same_plan_on_a_night_s_own_instruments_reads_that_night_again(
    night: Path, tmp_path: Path
) -> None:
    told: list[str] = []
    bench, outside = in_memory(night, told)
    record = tmp_path / "again.record"
    outcome = virtual_time.run(run_night(bench.run, record, outside), end_s=2 * 3600.0)
    assert outcome.good and outcome.cause is None and told == []
    readings = [[(one["channel"], one["raw"]) for one in seen(r, "resistance")] for r in (night, record)]
    assert readings[0] == readings[1]
    looks = [{one["raw"] for one in seen(r, "source")} for r in (night, record)]
    assert len(looks[1] - looks[0]) <= 2  # a set-point may be read back a moment before it was seen then
    shown = [[(one["role"], one["states"]) for one in seen(r, "monitored")] for r in (night, record)]
    assert len(shown[1]) == pytest.approx(len(shown[0]), abs=3)


@pytest.mark.parametrize("carrier", ["tcp", "pty"])
def test_our_drivers_read_the_night_again_over_socket_and_pseudo_terminal(night: Path, carrier: str) -> None:
    told: list[str] = []
    bench = RecordedBench(night, lambda at_s, name, why: told.append(why))
    actions = {e.seq: e.when_s for e in read_entries(night, frozenset({Kind.ACTION}))}
    first = list(islice(seen(night, "resistance"), 6))

    async def read() -> tuple[list[str], str]:
        carriers = bench.carriers = {"source": carrier, "bridge": carrier}
        async with served(bench, carriers, FACTOR) as addresses:
            clock = ScaledClock(FACTOR, simulation_of(bench.run).start_utc)
            lines = Lines(clock)
            profile = bench.run.bench.heat_source.profile
            source = open_heat_source(profile, addresses["source"], clock, lines=lines)
            bridge = open_bridge("text-bridge", addresses["bridge"], clock, lines=lines)
            raws = []
            try:
                for body in first:
                    await clock.sleep_until(actions[body["of"]])
                    raws.append((await bridge.measure(body["channel"], body["current_ma"])).raw)
                return raws, (await source.status()).raw
            finally:
                await source.close()
                await bridge.close()

    raws, look = asyncio.run(read())
    of_channel = {body["channel"]: {b["raw"] for b in seen(night, "resistance")} for body in first}
    assert all(raw in of_channel[body["channel"]] for raw, body in zip(raws, first, strict=True))
    assert look in {body["raw"] for body in seen(night, "source")}
    assert told == []


async def talk(record: Path, at_s: float, told: list[str]) -> Mapping[str, Any]:
    bench, outside = in_memory(record, told)
    lines = Lines(outside.clock, outside.far_ends)
    source = open_heat_source(
        bench.run.bench.heat_source.profile, "simulated:source", outside.clock, lines=lines
    )
    await outside.clock.sleep_until(at_s)
    before = await source.status()
    await source.write_set_point(65.0)
    after = await source.status()
    bridge = open_bridge("text-bridge", "simulated:bridge", outside.clock, lines=lines)
    try:
        await bridge.measure(7, 1.0)
        unasked = ""
    except NoAnswer:
        unasked = "silent"
    return {"before": before.set_point.value, "after": after.set_point.value, "channel 7": unasked}


def test_a_written_value_is_read_back_and_what_was_never_asked_gets_silence(night: Path) -> None:
    told: list[str] = []
    found = virtual_time.run(talk(night, 150.0, told))
    assert found["before"] != 65.0 and found["after"] == 65.0 and found["channel 7"] == "silent"
    assert told == ["bridge: channel 7 at 1 mA had not been asked so far that night: no answer"]


def test_what_failed_that_night_fails_again_and_behind_the_end_nobody_answers(tmp_path: Path) -> None:
    record = recorded(tmp_path / "night.record", brief_night(), ["silence@0:10=source/40"])

    async def look(at_s: float) -> str:
        _, outside = in_memory(record, told)
        lines = Lines(outside.clock, outside.far_ends)
        source = open_heat_source("ascii-bath", "simulated:source", outside.clock, lines=lines)
        await outside.clock.sleep_until(at_s)
        try:
            return (await source.status()).raw
        except InstrumentError as error:
            return type(error).__name__

    told: list[str] = []
    assert virtual_time.run(look(590.0)).startswith("+")
    assert virtual_time.run(look(620.0)) == "NoAnswer"
    assert told == ["source: gave no answer that night either"]
    assert virtual_time.run(look(RecordedBench(record, print).lasted_s + 10.0)) == "NoAnswer"
    assert told[1:] == ["source: the record ends here: no answer any more"]


WITHIN = {"resistance": (1, 20), "ratio": (1, 5), "channel": (1, 8), "integration": (1, 8)}


@given(st.data())
def test_a_composed_reply_reads_as_it_was_meant(data: st.DataObject) -> None:
    profile, tables = profile_with_tables(data.draw(st.sampled_from(shipped_profiles())))
    question = data.draw(st.sampled_from(sorted(profile.questions.values(), key=lambda q: q.name)))
    numbers = {
        name: data.draw(st.integers(*WITHIN.get(name, (0, 20)))) * (1e-3 if unit == "mA" else 1.0)
        for name, unit in question.units.items()
    }
    if "pressure" in numbers:
        numbers["pressure"] += 990.0
    shown = numbers | {name: data.draw(st.booleans()) for name in question.flags}
    modbus = profile.protocol == "modbus"
    side = RegisterSide(tables, 1, serial=False) if modbus else TextSide(tables)
    frame = side.answer(("read", question.name), question.body, shown, b"\0\1\0\0")
    framing = profile.framing("tcp")
    sent = framing.wrap(question.body)
    if modbus:
        frame = frame[:6] + sent[6:7] + frame[7:]
    assert framing.complete(bytearray(frame)) == len(frame)
    values = question.decode(framing.unwrap(frame, sent))
    read = {name: value if isinstance(value, bool) else value.value for name, value in values.items()}
    assert read == pytest.approx(shown, rel=1e-6)


def test_a_pattern_that_is_no_plain_text_between_groups_is_refused() -> None:
    assert Spelling(r"T\((?P<t>[+-]\d{3}\.\d)\)").text({"t": 21.5}) == "T(+021.5)"
    with pytest.raises(BadProfile, match="more than plain text"):
        Spelling(r"T(?P<t>\d+)\s*")
    with pytest.raises(BadProfile, match="cannot be written"):
        Spelling(r"T(?P<t>\d{2})").text({"t": 100.0})


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "give a plan, or --record"),
        (["plan.toml", "--from", "0:10"], "needs --record"),
        (["--record", "RECORD", "--from", "9:99"], "such as 5:30"),
        (["--record", "RECORD", "--from", "9:00"], "begin within that time"),
        (["--record", "RECORD", "--fault", "level-low@0:01"], "leave --fault out"),
        (["--record", "nowhere.record"], "there is no such record"),
    ],
)
def test_what_cannot_be_served_is_a_sentence(
    night: Path, words: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["simulate", *(str(night) if word == "RECORD" else word for word in words)]) == 2
    assert says in capsys.readouterr().err
