"""The plan of a real bench can be rehearsed: simulated instruments stand in, all else is its own."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
import tomlkit

from daemon.cli import main
from daemon.night import recorded_plan_texts
from daemon.stand_in import stand_in
from plans.errors import PlanError
from plans.loading import load_plan, parse_plan
from plans.run_plan import RunPlan

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"
TONIGHT = datetime(2026, 5, 4, 19, 0, 0, 123456, tzinfo=UTC)
NIGHTS = ["overnight", "furnace", "block-night", "semi-wide", "sprt-bath"]


def wired(text: str) -> str:
    """The bench as it would stand in the laboratory: addresses of its own, no simulation."""
    ports = iter(range(5000, 5100))
    bench = tomlkit.parse(re.sub(r'"simulated:\w+"', lambda _: f'"tcp://127.0.0.1:{next(ports)}"', text))
    bench.pop("simulation")
    return tomlkit.dumps(bench)


def real(name: str) -> RunPlan:
    simulated = load_plan(EXAMPLES / f"{name}.toml")
    texts = simulated.texts
    return parse_plan(texts.plan, wired(texts.bench), texts.register, simulated.names)


@pytest.mark.parametrize("name", NIGHTS)
def test_plan_ratings_and_budget_stay_the_benchs_own(name: str) -> None:
    before = real(name)
    after = stand_in(before, TONIGHT)
    assert before.bench.simulation is None and after.bench.simulation is not None
    assert after.plan == before.plan
    assert after.rating == before.rating
    assert after.bench.budget == before.bench.budget
    assert after.bench.simulation.start_utc == TONIGHT.replace(microsecond=0)


@pytest.mark.parametrize("name", NIGHTS)
def test_the_source_that_stands_in_is_of_the_same_kind_and_reaches_as_far(name: str) -> None:
    simulated = load_plan(EXAMPLES / f"{name}.toml").bench.simulation
    stands = stand_in(real(name), TONIGHT).bench.simulation
    assert simulated is not None and stands is not None
    assert stands.model == simulated.model


def test_an_instrument_by_a_profile_of_the_laboratorys_own_is_stood_in_for_by_a_shipped_one() -> None:
    texts = real("overnight").texts
    own = texts.bench.replace('"ascii-bath"', '"our-bath"').replace('"text-bridge"', '"our-bridge"')
    bench = stand_in(parse_plan(texts.plan, own, texts.register), TONIGHT).bench
    assert (bench.heat_source.profile, bench.bridge.profile) == ("ascii-bath", "text-bridge")


def test_rehearsing_sends_nothing_and_keeps_its_record_apart(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for one in ("short.toml", "register.toml"):
        shutil.copy(EXAMPLES / one, tmp_path)
    register = (EXAMPLES / "register.toml").read_text("utf-8").replace("due = 20", "due = 21")
    (tmp_path / "register.toml").write_text(register, "utf-8")
    bench = wired((EXAMPLES / "bench-bath.toml").read_text("utf-8")).replace("_due = 20", "_due = 21")
    today = datetime.now(UTC).date().isoformat()
    bench = re.sub(r"tested_on = \S+", f"tested_on = {today}", bench)
    (tmp_path / "bench-bath.toml").write_text(bench, "utf-8")
    assert main(["rehearse", str(tmp_path / "short.toml"), "--no-report"]) == 0
    assert "stand in for those of bench-bath.toml" in capsys.readouterr().out
    assert not list((tmp_path / "records").glob("*.record"))
    record = tmp_path / "records" / "rehearsed" / "short.record"
    bench = parse_plan(*recorded_plan_texts(record)).bench
    assert bench.heat_source.address == "simulated:source" and bench.bridge.address == "simulated:bridge"


def test_more_channels_than_the_stand_in_has_are_refused_in_words() -> None:
    texts = real("short").texts
    many = texts.bench.replace("channels = 8", "channels = 20")
    far = texts.plan.replace("channel = 3", "channel = 17")
    with pytest.raises(PlanError, match=r"cannot stand in .* channels 1 to 8"):
        stand_in(parse_plan(far, many, texts.register), TONIGHT)
