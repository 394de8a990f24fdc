"""A short seeded campaign: with late, lost, cut and noisy answers no wrong number ever comes out."""

from __future__ import annotations

import asyncio

import pytest

from simulators.virtual_time import run
from tests.campaigns.wire_faults import FAMILIES, WIRES, Tally, on_real_wire, questions_in_memory

QUESTIONS = 300
# Opening, draining and proving before the question, each within its own limit, and a busy machine.
LONGEST_S = 3.0


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("wire", ["memory", "tcp", "pty"])
def test_no_answer_is_ever_filed_under_another_question(family: str, wire: str) -> None:
    holds_for(family, wire, QUESTIONS)


@pytest.mark.parametrize("wire", [wire for wire in WIRES if wire.startswith("visa")])
def test_neither_is_one_through_visa(wire: str) -> None:
    holds_for("text", wire, QUESTIONS // 2)


def holds_for(family: str, wire: str, questions: int) -> None:
    """No wrong number, no halt lost, no hang, and most answers come through."""
    tally = Tally()
    if wire == "memory":
        run(questions_in_memory(family, 10 * questions, 1, tally))
    else:
        with on_real_wire(family, wire, 1) as link:
            asyncio.run(link.ask_all(questions, tally))
    assert tally.wrong == 0
    assert tally.reported > 0
    assert tally.right > 0.5 * (tally.right + tally.reported)
    assert tally.halts == tally.halts_arrived > 0
    assert tally.longest_s < LONGEST_S
