"""An immersion profile: a person withdraws a probe when asked, and its stem conduction comes out in mK."""

from __future__ import annotations

import asyncio
import math
import os
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.cli.answering import heard_at
from daemon.history.past import runs_in
from daemon.history.words import history_lines
from daemon.journal.entry import Kind
from daemon.journal.read import read_entries
from daemon.rehearsal import rehearse, resume_rehearsal
from daemon.results.calibrate import calibrate
from daemon.results.immersion import conduction_mk
from daemon.results.report import write_report
from plans.errors import PlanError
from plans.loading import load_plan, parse_plan
from plans.run_plan import RunPlan
from tests.nights.rehearsed import EXAMPLES, RehearsedNight
from tests.nights.report_nights import told_again

SERIAL, DEPTH_MM = "TR-IPRT-11", 120.0
PROFILE = f'[points.immersion_profile]\nserial = "{SERIAL}"\nwait_minutes = 3\n'
ALONE = '[zero]\nfirst = false\nlast = false\nreason = "for the profile alone"\n\n'
MORE = "\n[[points]]\ntemperature_c = 62.0\n"


def profiled(profile: str = PROFILE, more: str = "") -> RunPlan:
    """One point at 60 °C, a probe only 120 mm deep withdrawn there; parked warm, to be short."""
    texts = load_plan(EXAMPLES / "short.toml").texts
    replaced = {
        f'serial = "{SERIAL}"\n': f'serial = "{SERIAL}"\nimmersion_mm = {DEPTH_MM}\n',
        "[zero]\n": f'{ALONE}[resume]\npolicy = "continue"\n\n',
        "temperature_c = 0.0\n": "",
        "temperature_c = 40.0\n": f"temperature_c = 60.0\n{profile}{more}",
        "parking_c = 20.0": "parking_c = 58.0",
    }
    plan = texts.plan
    for old, new in replaced.items():
        assert plan.count(old) == 1
        plan = plan.replace(old, new)
    return parse_plan(plan, texts.bench, texts.register)


def marks(record: Path, mark: str) -> list[dict[str, object]]:
    entries = read_entries(record, frozenset({Kind.MILESTONE}))
    return [dict(entry.body) for entry in entries if entry.body["mark"] == mark]


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> RehearsedNight:
    run, record = profiled(), tmp_path_factory.mktemp("immersion") / "night.record"
    return RehearsedNight(run, record, rehearse(run, record))


def test_stem_conduction_is_found_within_its_uncertainty(night: RehearsedNight) -> None:
    assert night.rehearsal.outcome.good
    item = calibrate(night.record).item(SERIAL)
    (found,) = item.immersion
    truth = night.rehearsal.scene.truth(SERIAL).truth
    air_c = night.rehearsal.scene.source.air_c[int(item.points[0].mid_time_s) + 1000]
    true_mk = -1e3 * truth.stem_error * (found.temperature_c - air_c)
    assert true_mk < -3.0
    assert found.conduction_mk == pytest.approx(true_mk, abs=found.expanded_mk)
    assert found.expanded_mk < 0.2 * abs(true_mk)
    assert found.depth_mm == DEPTH_MM


def test_the_person_is_asked_at_each_depth_and_to_put_it_back(night: RehearsedNight) -> None:
    entries = read_entries(night.record, frozenset({Kind.ACTION}))
    asked = [entry.body for entry in entries if entry.body["do"] == "ask_person"]
    assert [body["withdrawn_mm"] for body in asked] == [20.0, 40.0, 60.0, 0.0]
    assert "at its full depth again" in asked[-1]["request"]
    assert night.rehearsal.scene.truth(SERIAL).withdrawn_mm == 0.0
    words = [e.body["word"] for e in read_entries(night.record, frozenset({Kind.OPERATOR}))]
    assert words.count("proceed") == 4


def test_readings_at_lesser_depths_are_no_part_of_the_point(night: RehearsedNight) -> None:
    (point,) = calibrate(night.record).item(SERIAL).points
    assert point.readings == 24


def test_a_probe_that_nobody_put_back_is_left_out_and_the_night_goes_on(tmp_path: Path) -> None:
    record = tmp_path / "night.record"
    ended = rehearse(profiled(more=MORE), record, attended=False)
    assert ended.outcome.good
    (left,) = marks(record, "item_left_out")
    assert left["name"] == SERIAL and "nobody confirmed that it is back" in str(left["reason"])
    night = calibrate(record)
    assert night.item(SERIAL).immersion == ()
    assert [len(item.points) for item in night.items] == [1, 2]


@pytest.mark.parametrize("asked", [0, 1])
def test_after_an_interruption_a_person_is_heard_again(
    night: RehearsedNight, tmp_path: Path, asked: int
) -> None:
    """Broken off before the profile it is made; while the probe is out, nobody knows where it is."""
    record = broken_off(night.record, tmp_path / "night.record", asked)
    ended = resume_rehearsal(profiled(), record, gap_s=30.0)
    assert ended.outcome.good
    words = [e.body["word"] for e in read_entries(record, frozenset({Kind.OPERATOR}))]
    left = [str(mark["reason"]) for mark in marks(record, "item_left_out")]
    if asked == 0:
        assert words.count("proceed") == 4 and left == []
        assert len(calibrate(record).item(SERIAL).immersion) == 1
    else:
        assert words.count("proceed") == 1 and "nobody confirmed that it is back" in left[0]


def broken_off(record: Path, new: Path, asked: int) -> Path:
    """The record as it would stand had the program died after so many requests were answered."""
    entries = [(e.seq, e.body) for e in read_entries(record)]
    reading = next(seq for seq, body in entries if body.get("mark") == "sequence_started")
    answered = [seq for seq, body in entries if body.get("word") == "proceed"]
    upto = answered[asked - 1] + 50 if asked else reading
    return told_again(record, new, lambda e: [(e.kind, e.body)] if e.seq <= upto else [])


def test_a_run_that_asks_a_person_is_parked_when_nobody_is_said_to_be_there(
    night: RehearsedNight, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = broken_off(night.record, tmp_path / "night.record", 0)
    assert main(["resume", str(record)]) == 1
    told = capsys.readouterr()
    assert "The run is parked" in told.out and "resume --attended" in told.out
    states = [e.body["to"] for e in read_entries(record, frozenset({Kind.STATE}))]
    assert states[-1] == "parked"


def test_three_steps_give_the_conduction_at_full_depth() -> None:
    at_depth_mk, length_mm = -4.0, 30.0
    changes = [at_depth_mk * (math.exp(20.0 * k / length_mm) - 1.0) for k in (1, 2, 3)]
    value_mk, expanded_mk = conduction_mk(changes, 0.01)
    assert value_mk == pytest.approx(at_depth_mk, rel=1e-9)
    assert 0.0 < expanded_mk < 0.2


def test_what_is_lost_in_the_scatter_is_only_bounded() -> None:
    assert conduction_mk([0.1, -0.1, 0.2], 0.5) == (0.0, pytest.approx(1.1))


@pytest.mark.parametrize(
    ("profile", "why"),
    [
        (PROFILE.replace(SERIAL, "TR-REF-01"), "not among the \\[\\[items\\]\\]"),
        (PROFILE + "step_mm = 40.0\n", "3 steps out leave 0 mm inside"),
    ],
)
def test_a_profile_that_cannot_be_is_refused(profile: str, why: str) -> None:
    with pytest.raises(PlanError, match=why):
        profiled(profile)


def test_the_last_profile_is_kept_in_the_history(night: RehearsedNight) -> None:
    found = runs_in(night.record.parent, SERIAL).of(SERIAL)
    (one,) = found[-1].immersion
    (line,) = [line for line in history_lines(SERIAL, found) if line.startswith("last immersion profile")]
    assert f"stem conduction at {DEPTH_MM:g} mm {one.conduction_mk:+.2f} mK".replace("-", "−") in line


def test_a_run_that_asks_a_person_is_not_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    texts, record = profiled().texts, tmp_path / "night.record"
    written = {"p.toml": texts.plan, "bench-bath.toml": texts.bench, "register.toml": texts.register}
    for name, text in written.items():
        (tmp_path / name).write_text(text.replace(f"immersion_mm = {DEPTH_MM}\n", ""), encoding="utf-8")
    assert main(["run", str(tmp_path / "p.toml"), "--record", str(record)]) == 2
    assert f"asks a person to withdraw {SERIAL}" in capsys.readouterr().err
    assert not record.exists()


def test_a_word_typed_at_the_terminal_reaches_the_run(capsys: pytest.CaptureFixture[str]) -> None:
    heard: list[tuple[str, str]] = []
    reading, writing = os.pipe()

    def voice(word: str, who: str, _reason: str) -> bool:
        heard.append((word, who))
        return word == "proceed"

    async def night() -> None:
        with os.fdopen(reading, encoding="utf-8") as terminal:
            heard_at(terminal, "M. Tern")(voice)
            for line in ("proceed\n", "go on\n", "release\n"):
                os.write(writing, line.encode())
                await asyncio.sleep(0)
                await asyncio.sleep(0)
            os.close(writing)
            await asyncio.sleep(0)
            await asyncio.sleep(0)

    asyncio.run(night())
    assert heard == [("proceed", "M. Tern"), ("release", "M. Tern")]
    said = capsys.readouterr().err
    assert "'go on' is not a word for the run" in said and "release has no effect now" in said


def test_the_profile_stands_on_the_page_even_where_nothing_could_be_fitted(
    night: RehearsedNight, tmp_path: Path
) -> None:
    write_report(night.record, tmp_path)
    page = (tmp_path / "summary.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    item = calibrate(night.record).item(SERIAL)
    assert item.characteristic is None
    assert f"stem conduction at {DEPTH_MM:g} mm" in page and "immersion profile" in page
