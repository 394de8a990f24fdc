"""What a night teaches of its bench is what the bench was made of."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.learning.learn import CannotLearn, Lesson, learn
from daemon.learning.response import follow
from daemon.learning.timing import same_bench
from daemon.learning.twin_bench import rehearsed_as_learned
from daemon.learning.use import learned_of
from daemon.learning.write import as_toml
from daemon.rehearsal import Rehearsal, make_scene, rehearse
from plans.errors import PlanError
from plans.loading import load_learned, load_plan, parse_plan
from plans.run_plan import RunPlan
from tests.nights.rehearsed import EXAMPLES

RESPONSE = {"heat_capacity": 1.3, "exchange": 1.0, "loss": 0.8, "coolant": 1.2, "gain": 0.8, "integral": 1.25}
DISPLAY = {"offset_k": -0.2, "slope": 0.0015}
PLAN = """
[plan]
title = "Tern Rock, a few points in another block"
bench = "bench-block.toml"
register = "register.toml"
order = "up_and_down"
[reference]
serial = "TR-REF-01"
channel = 1
[[items]]
serial = "TR-IPRT-11"
channel = 2
[defaults]
ramp_k_per_min = 4.0
[zero]
kind = "attended_ice_point"
temperature_c = 50.0
reason = "the block does not reach 0 °C"
[[points]]
temperature_c = 150.0
[[points]]
temperature_c = 300.0
[[points]]
temperature_c = 150.0
[finish]
heater = "off"
"""


@dataclass(frozen=True)
class Taught:
    """A night on a block unlike the shipped one, and what it taught."""

    run: RunPlan
    record: Path
    night: Rehearsal
    lesson: Lesson


def another_block() -> RunPlan:
    """The plan above, on a block heavier than the shipped one, with another control and display."""
    tables = [("simulation.response", RESPONSE), ("simulation.display", DISPLAY)]
    lines = [(EXAMPLES / "bench-block.toml").read_text(encoding="utf-8")]
    for name, table in tables:
        lines += [f"[{name}]", *(f"{key} = {value}" for key, value in table.items())]
    bench = "\n".join(lines)
    return parse_plan(PLAN, bench, (EXAMPLES / "register.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def taught(tmp_path_factory: pytest.TempPathFactory) -> Taught:
    run, record = another_block(), tmp_path_factory.mktemp("nights") / "one.record"
    night = rehearse(run, record)
    return Taught(run, record, night, learn([record]))


def test_the_constants_of_the_source_are_found_within_their_uncertainty(taught: Taught) -> None:
    found = taught.lesson.learned.response
    assert {"heat_capacity", "loss", "coolant", "gain"} <= set(found)
    for part, figure in found.items():
        assert abs(figure.value - RESPONSE[part]) < max(3.0 * figure.u, 0.01 * RESPONSE[part]), part


def test_the_display_is_compared_with_the_reference(taught: Taught) -> None:
    display = taught.lesson.learned.display
    assert display is not None
    assert abs(display.offset_k.value - DISPLAY["offset_k"]) < 3.0 * display.offset_k.u
    # The reference errs within its certificate, and it stands elsewhere than the control sensor.
    assert display.slope.value == pytest.approx(DISPLAY["slope"], abs=1e-4)


def test_each_thermometer_lags_by_its_own_time_constant(taught: Taught) -> None:
    scene, lags = taught.night.scene, taught.lesson.learned.probes
    assert [lag.serial for lag in lags] == ["TR-IPRT-11", "TR-REF-01"]
    for lag in lags:
        behind_s = sum(scene.truth(lag.serial).truth.lags_s) - scene.source.constants.sensor_lag_s
        assert abs(lag.lag_s.value - behind_s) < max(3.0 * lag.lag_s.u, 1.0)


def test_the_simulated_source_follows_the_recorded_night(taught: Taught) -> None:
    learned, (night,) = taught.lesson.learned, taught.lesson.nights
    assert learned.display is not None
    followed = follow(night, learned.display, learned.response)
    shipped = follow(night, learned.display, {})
    off, far = (abs(one.simulated_c - one.recorded_c).max() for one in (followed, shipped))
    assert off < 0.5 < far


def test_what_was_learned_reads_back_and_can_be_rehearsed_on(taught: Taught, tmp_path: Path) -> None:
    path = tmp_path / "block.learned.toml"
    text = as_toml(taught.lesson.learned)
    path.write_text(text, encoding="utf-8")
    learned = load_learned(path)
    assert as_toml(learned) == text
    bench = (EXAMPLES / "bench-block.toml").read_text(encoding="utf-8")
    plain = parse_plan(PLAN, bench, taught.run.texts.register)
    constants = make_scene(rehearsed_as_learned(plain, learned)).source.constants
    true = taught.night.scene.source.constants
    assert constants.medium_j_per_k == pytest.approx(true.medium_j_per_k, rel=0.03)
    assert constants.display_slope == pytest.approx(true.display_slope, abs=1e-4)


def test_a_lesson_of_another_bench_is_refused(taught: Taught, tmp_path: Path) -> None:
    path = tmp_path / "block.learned.toml"
    text = as_toml(taught.lesson.learned).replace("Tern Rock block bench", "Tern Rock attic bench")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PlanError, match="this was learned of 'Tern Rock attic bench'"):
        learned_of(tmp_path / "plan.toml", taught.run, path)
    assert learned_of(tmp_path / "plan.toml", taught.run, None) is None


def test_nights_of_two_benches_are_told_apart(taught: Taught) -> None:
    assert same_bench(taught.run, load_plan(EXAMPLES / "block-night.toml"))
    assert not same_bench(taught.run, load_plan(EXAMPLES / "short.toml"))


def test_a_record_that_is_not_there_is_told(taught: Taught, tmp_path: Path) -> None:
    with pytest.raises(CannotLearn, match="there is no such record"):
        learn([taught.record, tmp_path / "nowhere.record"])


def test_the_command_learns_writes_draws_and_check_forecasts_by_it(
    taught: Taught, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("bench-block.toml", "register.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    out = tmp_path / "bench-block.learned.toml"
    assert main(["learn", str(taught.record), "--out", str(out), "--plot", str(tmp_path / "seen")]) == 0
    assert "simulated source: heat capacity × 1.3" in capsys.readouterr().out
    assert (tmp_path / "seen.png").stat().st_size > 10_000
    assert main(["check", str(tmp_path / "plan.toml")]) == 0
    assert "(learned from 1 night): ±" in capsys.readouterr().out
    out.write_text("[learned]\n", encoding="utf-8")
    assert main(["check", str(tmp_path / "plan.toml")]) == 2
    assert "bench-block.learned.toml" in capsys.readouterr().err
    assert main(["learn", str(tmp_path / "plan.toml")]) == 2
