"""A bench for the guardian's trials: the example plans as if real, and a source that notes what it hears."""

from __future__ import annotations

import re
import time
from pathlib import Path

from plans.loading import parse_plan
from plans.run_plan import RunPlan
from simulators.draw import draw_probe
from simulators.scene import Scene, SceneSpec
from simulators.wire_faults import FarEnd

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"
PLANS = {
    "ascii-bath": ("short.toml", "bench-bath.toml"),
    "modbus-block": ("block-night.toml", "bench-block.toml"),
}
MODELS = {"ascii-bath": "oil_bath", "modbus-rtu": "dry_block", "modbus-tcp": "dry_block"}
NOWHERE = "tcp://127.0.0.1:9"


def real_plan(profile: str, source: str, bridge: str = NOWHERE, parking_c: float = 40.0) -> RunPlan:
    """An example plan whose bench is real, with the instruments at these addresses."""
    plan_file, bench_file = PLANS[profile]
    plan, bench = ((EXAMPLES / name).read_text("utf-8") for name in (plan_file, bench_file))
    bench = bench[: bench.index("\n[simulation]")].replace("simulated:source", source)
    bench = bench.replace("simulated:bridge", bridge)
    plan = re.sub(r"parking_c = [\d.]+", f"parking_c = {parking_c}", plan)
    return parse_plan(plan, bench, (EXAMPLES / "register.toml").read_text("utf-8"))


def scene(speech: str, seed: int = 1, start_c: float | None = None) -> Scene:
    """A simulated source of that speech and a probe on channel 1."""
    probe = draw_probe("TR-REF-01", 1, "iprt", 100.0, seed)
    return Scene(SceneSpec(MODELS[speech], seed, (probe,), source_speech=speech, start_c=start_c))


class Heard:
    """A far end that notes what was said to it and when (monotonic s); `deaf` stops every answer.

    Its own time begins with the first word.
    """

    def __init__(self, end: FarEnd) -> None:
        self._end, self._zero_s = end, time.monotonic()
        self.words: list[tuple[float, bytes]] = []
        self.deaf = False

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        """Note and pass on."""
        at_s = time.monotonic()
        self.words.append((at_s, data))
        replies = self._end.accept(data, at_s - self._zero_s)
        return [] if self.deaf else replies

    def first(self, said: bytes, after_s: float = 0.0) -> float | None:
        """When these bytes were first heard after a moment; None when never."""
        return next((at_s for at_s, data in self.words if at_s > after_s and said in data), None)
