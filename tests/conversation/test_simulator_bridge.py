"""The simulated resistance bridge answers its own text protocol."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

import pytest

from simulators.instruments.text_bridge import TextBridge
from simulators.physics.noise import generator

LOOK = b"ROUT:CLOS:STAT?;:SOUR:CURR?;:FRES?\n"
FORM = re.compile(r"\(@(\d)\);([+-]\d\.\d{8}E[+-]\d\d);([+-]\d\.\d{8}E[+-]\d\d)\n")


@dataclass
class Resistor:
    """A resistor on a channel that notes the currents sent through it."""

    value_ohm: float
    noise_factor: float = 1.0
    emf_uv: float = 0.0
    currents_ma: list[float] = field(default_factory=list)

    def drive(self, when_s: float, current_ma: float) -> None:
        self.currents_ma.append(current_ma)

    def ohm(self, when_s: float) -> float:
        return self.value_ohm


def bridge(*ohms: float, noise: float = 1.0, seed: int = 1) -> TextBridge:
    inputs = {channel: Resistor(ohm, noise) for channel, ohm in enumerate(ohms, 1)}
    return TextBridge(inputs, lambda now_s: None, generator(seed, "bridge"))


def ask(instrument: TextBridge, text: bytes, now_s: float = 0.0) -> str:
    (reply,) = instrument.accept(text, now_s)
    return reply[1].decode()


def value(instrument: TextBridge, now_s: float) -> float:
    match = FORM.fullmatch(ask(instrument, LOOK, now_s))
    assert match
    return float(match[3])


def test_a_reading_comes_with_its_channel_and_current_after_one_second() -> None:
    instrument = bridge(25.5, 100.0, 138.5)
    assert instrument.accept(b"ROUT:CLOS (@3)\nSOUR:CURR 5.0E-04\n", 0.0) == []
    ((delay_s, reply),) = instrument.accept(LOOK, 10.0)
    assert 1.0 < delay_s < 1.05
    match = FORM.fullmatch(reply.decode())
    assert match and match[1] == "3" and float(match[2]) == 5e-4
    assert float(match[3]) == pytest.approx(138.5, rel=5e-6)


def test_it_says_who_it_is_and_forgets_nothing_split_into_fragments() -> None:
    instrument = bridge(100.0)
    assert instrument.accept(b"*ID", 0.0) == []
    assert ask(instrument, b"N?\n") == "TERN ROCK WORKSHOP,BRIDGE-8,0042,1.0\n"
    assert len(instrument.accept(b"*IDN?\n*IDN?\n", 1.0)) == 2


@pytest.mark.parametrize(
    ("command", "error"),
    [
        (b"ROUT:CLOS (@9)\n", '-222,"Data out of range"'),
        (b"ROUT:CLOS 3\n", '-222,"Data out of range"'),
        (b"SOUR:CURR 3.0E-03\n", '-222,"Data out of range"'),
        (b"SOUR:CURR nan\n", '-222,"Data out of range"'),
        (b"SOUR:CURR much\n", '-104,"Data type error"'),
        (b"MAKE:TEA\n", '-113,"Undefined header"'),
    ],
)
def test_what_it_cannot_do_goes_into_its_error_queue(command: bytes, error: str) -> None:
    instrument = bridge(100.0)
    assert instrument.accept(command, 0.0) == []
    assert ask(instrument, b"SYST:ERR?\n") == error + "\n"
    assert ask(instrument, b"SYST:ERR?\n") == '0,"No error"\n'


def test_the_error_queue_gives_the_oldest_first_and_can_be_cleared() -> None:
    instrument = bridge(100.0)
    instrument.accept(b"TEA\nROUT:CLOS (@9)\n", 0.0)
    assert ask(instrument, b"SYST:ERR?\n").startswith("-113")
    instrument.accept(b"*CLS\n", 0.0)
    assert ask(instrument, b"SYST:ERR?\n").startswith("0,")


def test_an_open_lead_an_empty_channel_and_too_much_resistance_read_as_overload() -> None:
    instrument = bridge(math.inf, 501.0)
    for channel in (1, 2, 3):
        instrument.accept(b"ROUT:CLOS (@%d)\n" % channel, 10.0 * channel)
        assert ask(instrument, LOOK, 10.0 * channel).endswith(";+9.90000000E+37\n")


def test_noise_is_half_a_millionth_and_grows_as_the_current_falls() -> None:
    def spread(current: bytes) -> float:
        instrument = bridge(100.0)
        instrument.accept(b"SOUR:CURR " + current + b"\n", 0.0)
        values = [value(instrument, 10.0 + 2.0 * n) for n in range(400)]
        mean = sum(values) / 400
        return math.sqrt(sum((v - mean) ** 2 for v in values) / 399)

    assert spread(b"1.0E-03") == pytest.approx(50e-6, rel=0.15)
    assert spread(b"1.0E-04") == pytest.approx(500e-6, rel=0.15)


def test_what_the_scanner_leaves_behind_decays_from_the_moment_of_switching() -> None:
    def error_ohm(wait_s: float) -> float:
        instrument = bridge(100.0, 200.0, noise=0.0)
        value(instrument, 0.0)
        instrument.accept(b"ROUT:CLOS (@2)\n", 10.0)
        return value(instrument, 10.0 + wait_s) - 200.0

    at_once = 20e-6 * (100.0 - 200.0) * 0.15 * (1 - math.exp(-1 / 0.15))
    assert error_ohm(0.0) == pytest.approx(at_once, abs=2e-6)
    assert error_ohm(0.3) == pytest.approx(at_once * math.exp(-2.0), abs=2e-6)
    assert abs(error_ohm(2.0)) < 1.1e-6


def test_a_question_during_a_conversion_waits_for_its_end() -> None:
    instrument = bridge(100.0)
    instrument.accept(LOOK, 0.0)
    ((delay_s, _),) = instrument.accept(b"*IDN?\n", 0.4)
    assert 0.6 <= delay_s < 0.7
    ((delay_s, _),) = instrument.accept(b"FRES?\n", 0.5)
    assert 1.5 <= delay_s < 1.6


def test_the_bridge_error_is_a_common_factor() -> None:
    inputs = {1: Resistor(100.0, 0.0), 2: Resistor(25.0, 0.0)}
    instrument = TextBridge(inputs, lambda now_s: None, generator(1, "bridge"), gain_ppm=3.0)
    assert value(instrument, 0.0) == pytest.approx(100.0003, abs=1e-6)
    instrument.accept(b"ROUT:CLOS (@2)\n", 10.0)
    assert value(instrument, 30.0) == pytest.approx(25.000075, abs=1e-6)


def test_rubbish_without_an_end_does_not_pile_up() -> None:
    instrument = bridge(100.0)
    for _ in range(100):
        assert instrument.accept(b"\xff" * 1000, 0.0) == []
    assert instrument.accept(b"\n", 0.0) == []
    assert ask(instrument, b"*IDN?\n").startswith("TERN ROCK")
