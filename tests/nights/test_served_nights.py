"""The night is the same whether bytes go through memory, sockets, serial lines, PyVISA or Modbus."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path

import pytest

from daemon.fitting.comparison import common_c, furthest_apart_mk
from daemon.journal.entry import Kind
from daemon.journal.read import read_entries, verify
from daemon.night import Outcome
from daemon.rehearsal import rehearse
from daemon.results.calibrate import calibrate
from daemon.states import State
from plans.loading import load_plan
from tests.nights.rehearsed import EXAMPLES
from tests.nights.served_night import Wiring, differences_mk, night_over_wires, one_point

# A guard that allows ten seconds of silence then allows a quarter of a real one: enough for a busy machine.
FACTOR = 40.0

WIRINGS = {
    "bath through pyserial, bridge through TCP": ("bench-bath.toml", Wiring("pty", "tcp")),
    "bath through TCP, bridge through a socket of PyVISA": ("bench-bath.toml", Wiring("tcp", "tcp", True)),
    "block by a server of pymodbus, bridge through pyserial": (
        "bench-block.toml",
        Wiring("tcp", "pty", source_by_pymodbus=True),
    ),
    "block through Modbus RTU, bridge through PyVISA": ("bench-block.toml", Wiring("pty", "pty", True)),
}

# Noise of 0.5 ppm in a hundred ohms is 0.13 mK; twenty-four readings of item and reference in two nights
# leave 0.05 mK. The rest is how far a source at rest still moves between one thermometer and the next.
TOLERANCE_MK = {"bench-bath.toml": 0.5, "bench-block.toml": 2.0}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("served")


@pytest.fixture(scope="module")
def outcomes(folder: Path) -> dict[str, Outcome]:
    """The short night over every kind of wire, all at the same time."""

    async def main() -> list[Outcome]:
        nights = (
            night_over_wires(one_point(bench), folder / f"{name}.record", wiring, FACTOR)
            for name, (bench, wiring) in WIRINGS.items()
        )
        return await asyncio.gather(*nights)

    return dict(zip(WIRINGS, asyncio.run(main()), strict=True))


@pytest.mark.parametrize("name", WIRINGS)
def test_a_night_over_real_wires_comes_to_its_end(
    name: str, outcomes: dict[str, Outcome], folder: Path
) -> None:
    assert outcomes[name].good, outcomes[name].cause
    found = verify(folder / f"{name}.record")
    assert found.intact and found.closed and found.head == outcomes[name].head


@pytest.mark.parametrize("name", WIRINGS)
def test_every_byte_of_a_night_over_real_wires_stands_beside_its_record(
    name: str, outcomes: dict[str, Outcome], folder: Path
) -> None:
    """Each reading in the record came over one of the wires as the record has it."""
    lines = [json.loads(line) for line in (folder / f"{name}.wires.jsonl").read_text("ascii").splitlines()]
    came = {
        wire: "".join(line["bytes"] for line in lines if (line["link"], line["event"]) == (wire, "rx"))
        for wire in {line["link"] for line in lines}
    }
    entries = read_entries(folder / f"{name}.record", frozenset({Kind.OBSERVATION}))
    raw = [entry.body["raw"] for entry in entries if entry.body["what"] == "resistance"]
    assert raw and any(all(one in bytes_ for one in raw) for bytes_ in came.values())
    assert {"open", "tx", "rx", "proved", "close"} <= {line["event"] for line in lines}


@pytest.mark.parametrize("name", WIRINGS)
def test_a_night_over_real_wires_measures_what_one_in_memory_does(
    name: str, outcomes: dict[str, Outcome], folder: Path, tmp_path: Path
) -> None:
    bench, _ = WIRINGS[name]
    assert rehearse(one_point(bench), tmp_path / "memory.record").outcome.good
    differences = differences_mk(folder / f"{name}.record", tmp_path / "memory.record")
    assert len(differences) == 2
    assert max(map(abs, differences.values())) < TOLERANCE_MK[bench], differences


@pytest.mark.campaign
def test_the_overnight_example_over_real_wires_gives_the_same_characteristics(tmp_path: Path) -> None:
    """Some half an hour: thirteen hours and more through pyserial and TCP.

    A turn through seven channels grows by what the machine takes for each of its readings, which scaled
    time makes long: the guard of the reference's silence allows ten seconds for it.
    """
    run = load_plan(EXAMPLES / "overnight.toml")
    wired, memory = tmp_path / "wired.record", tmp_path / "memory.record"
    wiring = Wiring("pty", "tcp")
    outcome = asyncio.run(night_over_wires(run, wired, wiring, 30.0))
    assert outcome.state is State.FINISHED
    rehearse(run, memory)
    for item, same in zip(calibrate(wired).items, calibrate(memory).items, strict=True):
        one, other = item.characteristic, same.characteristic
        assert one is not None and other is not None
        apart_mk = furthest_apart_mk(one, other)
        expanded_mk = 1e3 * max(other.expanded_uncertainty_k(common_c(one, other)))
        print(f"{item.serial}: at most {apart_mk:.2f} mK apart, U at most {expanded_mk:.1f} mK")
        assert apart_mk < 1.0
