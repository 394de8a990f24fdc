"""Whatever stands in a file, the answer is a run plan or a PlanError, never another exception."""

from __future__ import annotations

import string
from pathlib import Path

from hypothesis import example, given, settings
from hypothesis import strategies as st

from plans.errors import PlanError
from plans.loading import parse_plan
from plans.reading import decode

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"
TEXTS = [
    (EXAMPLES / name).read_text(encoding="utf-8")
    for name in ("overnight.toml", "bench-bath.toml", "register.toml")
]
ODD = [
    "nan",
    "-inf",
    "1e999",
    "-300",
    "true",
    '""',
    "[]",
    "{}",
    "2026-01-15",
    "07:30:00",
    "0x7f",
    "[[1]]",
    "'''x'''",
]
ODD += [
    "9" * 40,
    '"\\u0000"',
    "{a = {b = {}}}",
    "-0.0",
    "1e-320",
    "1979-05-27T07:32:00",
    '"\\U0010ffff"',
    "0.01",
]


def read_to_the_end(texts: list[str]) -> None:
    try:
        run = parse_plan(texts[0], texts[1], texts[2])
    except PlanError as fault:
        assert fault.problems
        assert all(problem.file and problem.sentence for problem in fault.problems)
        assert "Traceback" not in str(fault)
    else:
        assert run.rating.lowest_allowed_c < run.rating.highest_allowed_c


@given(st.binary(max_size=400), st.integers(0, 2))
@settings(max_examples=200, deadline=None)
@example(b"a = [[[[[[[[[[[[", 0)
@example(b"x = 99999-99-99", 1)
def test_random_bytes_never_escape(data: bytes, which: int) -> None:
    texts = list(TEXTS)
    try:
        texts[which] = decode(data, "random.toml")
    except PlanError:
        return
    read_to_the_end(texts)


@given(st.data())
@settings(max_examples=300, deadline=None)
def test_a_value_replaced_by_an_odd_one_never_escapes(data: st.DataObject) -> None:
    which = data.draw(st.integers(0, 2))
    lines = TEXTS[which].splitlines()
    keyed = [number for number, line in enumerate(lines) if " = " in line and not line.startswith("#")]
    for number in data.draw(st.lists(st.sampled_from(keyed), min_size=1, max_size=3)):
        key = lines[number].split(" = ")[0]
        lines[number] = f"{key} = {data.draw(st.sampled_from(ODD))}"
    texts = list(TEXTS)
    texts[which] = "\n".join(lines)
    read_to_the_end(texts)


@given(st.data())
@settings(max_examples=300, deadline=None)
def test_characters_changed_lost_or_doubled_never_escape(data: st.DataObject) -> None:
    which = data.draw(st.integers(0, 2))
    text = TEXTS[which]
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text) - 1))
        length = data.draw(st.integers(0, 40))
        put = data.draw(st.text(alphabet=string.printable + "°µ\u202e\x00", max_size=6))
        text = text[:start] + put + text[start + length :]
    texts = list(TEXTS)
    texts[which] = text
    read_to_the_end(texts)
