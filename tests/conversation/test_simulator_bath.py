"""The simulated bath controller answers its own framed text."""

from __future__ import annotations

import re

import pytest

from simulators.instruments.ascii_bath import AsciiBath, check
from simulators.physics.heat import HeatSource
from simulators.physics.models import OIL_BATH
from simulators.physics.noise import generator


def bath() -> AsciiBath:
    source = HeatSource(OIL_BATH, generator(1, "source"))
    return AsciiBath(source, source.advance, generator(1, "wire"))


def framed(body: str) -> bytes:
    text = b"$01" + body.encode()
    return text + check(text) + b"\r"


def ask(instrument: AsciiBath, body: str, now_s: float = 0.0) -> str:
    ((delay_s, reply),) = instrument.accept(framed(body), now_s)
    assert 0.02 < delay_s < 0.05
    assert reply[:3] == b">01" and reply[-1:] == b"\r" and reply[-3:-1] == check(reply[:-3])
    return reply[3:-3].decode()


def test_the_check_is_the_exclusive_or_of_all_bytes() -> None:
    assert check(b"\x0f\xf0") == b"FF"
    assert check(b"$01RA") == b"%02X" % (0x24 ^ 0x30 ^ 0x31 ^ 0x52 ^ 0x41)


def test_a_whole_conversation() -> None:
    instrument = bath()
    assert ask(instrument, "ID") == "IDEXBATH-0007"
    assert ask(instrument, "RS") == "RS+0025.000"
    assert ask(instrument, "WS+0100.000") == "WSOK"
    assert ask(instrument, "RS") == "RS+0100.000"
    assert ask(instrument, "WR+02.50") == "WROK"
    assert ask(instrument, "RR") == "RR+02.50"
    assert ask(instrument, "WH0") == "WHOK"
    assert ask(instrument, "WC0") == "WCOK"
    assert re.fullmatch(r"RA\+0022\.\d{3},\+0100\.000,\+000\.0,0,0,1,0,0", ask(instrument, "RA"))
    assert ask(instrument, "WH1") == "WHOK"
    assert re.fullmatch(r"RA\+0041\.\d{3},\+0100\.000,\+\d{3}\.\d,1,0,1,0,0", ask(instrument, "RA", 480.0))


def test_below_zero_the_sign_is_shown() -> None:
    instrument = bath()
    ask(instrument, "WS-0020.500")
    assert ask(instrument, "RS") == "RS-0020.500"


@pytest.mark.parametrize(
    ("body", "answer"),
    [
        ("WS+0300.001", "WSE1"),
        ("WS-0040.001", "WSE1"),
        ("WSnan", "WSE1"),
        ("WSinf", "WSE1"),
        ("WR+00.04", "WRE1"),
        ("WR+20.01", "WRE1"),
        ("WSx", "??E2"),
        ("WH2", "??E2"),
        ("XX", "??E2"),
        ("", "??E2"),
    ],
)
def test_what_it_cannot_do_is_refused_and_changes_nothing(body: str, answer: str) -> None:
    instrument = bath()
    assert ask(instrument, body) == answer
    assert ask(instrument, "RS") == "RS+0025.000"
    assert ask(instrument, "RR") == "RR+05.00"


def test_a_wrong_check_is_answered_by_nothing_and_does_nothing() -> None:
    instrument = bath()
    spoilt = framed("WS+0100.000").replace(b"+0100", b"+0180")
    assert instrument.accept(spoilt, 0.0) == []
    assert instrument.accept(b"\r\r$01\r", 0.0) == []
    assert ask(instrument, "RS") == "RS+0025.000"


def test_fragments_are_put_together_and_several_frames_are_all_answered() -> None:
    instrument = bath()
    for piece in (b"$0", b"1RS", check(b"$01RS")):
        assert instrument.accept(piece, 0.0) == []
    assert len(instrument.accept(b"\r" + framed("RR"), 0.0)) == 2
