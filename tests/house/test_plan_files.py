"""Files that are missing, too large, not text or absurd are refused quickly and in words."""

from __future__ import annotations

import re
import shutil
import time
from pathlib import Path
from typing import get_args

import pytest
from pydantic import BaseModel

from plans.errors import PlanError
from plans.loading import load_bench, load_plan, parse_plan
from plans.plan import Plan

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("overnight.toml", "bench-bath.toml", "register.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    return tmp_path


def refusal(path: Path) -> str:
    with pytest.raises(PlanError) as caught:
        load_plan(path)
    return str(caught.value)


def test_a_missing_plan_is_named(tmp_path: Path) -> None:
    assert "there is no such file" in refusal(tmp_path / "nowhere.toml")


def test_a_folder_is_not_a_plan(tmp_path: Path) -> None:
    assert "this is a folder" in refusal(tmp_path)


def test_a_device_is_not_a_plan() -> None:
    assert "device" in refusal(Path("/dev/zero"))


def test_a_missing_bench_and_register_are_both_named(folder: Path) -> None:
    (folder / "bench-bath.toml").unlink()
    (folder / "register.toml").unlink()
    text = refusal(folder / "overnight.toml")
    assert "bench-bath.toml: there is no such file" in text
    assert "register.toml: there is no such file" in text


def test_a_plan_that_names_no_bench_says_so(folder: Path) -> None:
    path = folder / "overnight.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace('bench = "bench-bath.toml"', ""), encoding="utf-8"
    )
    assert "[plan] bench: this is missing" in refusal(path)


def test_text_that_is_not_utf8_is_refused_with_its_line(folder: Path) -> None:
    path = folder / "overnight.toml"
    path.write_bytes(b'# first line\ntitle = "20 \xb0C"\n')
    assert "line 2 is not UTF-8" in refusal(path)


def test_a_byte_order_mark_does_no_harm(folder: Path) -> None:
    path = folder / "overnight.toml"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert load_plan(path).plan.header.title.startswith("Tern Rock")


def test_ten_megabytes_are_refused_unread(folder: Path) -> None:
    path = folder / "overnight.toml"
    path.write_bytes(b"#" * 10_000_000)
    assert "larger than 64 KiB" in refusal(path)


def test_ten_thousand_points_are_refused_at_once(folder: Path) -> None:
    path = folder / "overnight.toml"
    points = "".join(f"[[points]]\ntemperature_c = {n / 100}\n" for n in range(10_000))
    path.write_text(path.read_text(encoding="utf-8") + points, encoding="utf-8")
    before = time.process_time()
    assert "larger than 64 KiB" in refusal(path)
    assert time.process_time() - before < 0.5


def test_more_points_than_a_run_may_have_are_counted(folder: Path) -> None:
    path = folder / "overnight.toml"
    points = "".join(f"[[points]]\ntemperature_c = {n / 10}\n" for n in range(1000))
    path.write_text(path.read_text(encoding="utf-8") + points, encoding="utf-8")
    text = refusal(path)
    assert "1007 entries" in text
    assert "at most 200" in text


@pytest.mark.parametrize("depth", [9, 2000, 30_000])
def test_deep_nesting_is_refused(folder: Path, depth: int) -> None:
    path = folder / "overnight.toml"
    path.write_text("deep = " + "[" * depth + "]" * depth, encoding="utf-8")
    assert "nested more than 8 deep" in refusal(path)


def test_deep_tables_are_refused(folder: Path) -> None:
    path = folder / "overnight.toml"
    path.write_text("[" + ".".join("a" * 300) + "]\nkey = 1\n", encoding="utf-8")
    assert "nested more than 8 deep" in refusal(path)


def keys(table: type[BaseModel], found: set[str]) -> set[str]:
    """Every key of a table and of the tables inside it, as it is written in TOML."""
    for name, field in table.model_fields.items():
        found.add(field.alias or name)
        kinds = [field.annotation]
        while kinds:
            kind = kinds.pop()
            kinds += get_args(kind)
            if isinstance(kind, type) and issubclass(kind, BaseModel):
                keys(kind, found)
    return found


def test_every_key_of_a_plan_stands_in_an_example_or_is_told_there_in_a_comment() -> None:
    plans = [path.read_text("utf-8") for path in EXAMPLES.glob("*.toml")]
    told = "\n".join(text for text in plans if "[[points]]" in text)
    known = keys(Plan, set())
    assert len(known) > 40
    assert {key for key in known if not re.search(rf"\b{key}( = |\]|\.\w+\])", told)} == set()


def test_a_profile_that_a_bench_names_as_a_file_lies_beside_the_bench_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("short.toml", "bench-bath.toml", "register.toml"):
        shutil.copy(EXAMPLES / name, tmp_path)
    bench = tmp_path / "bench-bath.toml"
    text = bench.read_text("utf-8")
    bench.write_text(text.replace('profile = "ascii-bath"', 'profile = "our bath.toml"  # ours'), "utf-8")
    monkeypatch.chdir(tmp_path.parent)
    run = load_plan(Path(tmp_path.name) / "short.toml")
    assert run.bench.heat_source.profile == str(tmp_path / "our bath.toml")
    assert run.bench == load_bench(bench)
    assert parse_plan(run.texts.plan, run.texts.bench, run.texts.register).bench == run.bench
    assert "# ours" in run.texts.bench
    assert run.bench.bridge.profile == "text-bridge"


def test_a_bench_that_names_no_such_file_is_kept_to_the_letter() -> None:
    text = (EXAMPLES / "bench-bath.toml").read_text("utf-8")
    assert load_plan(EXAMPLES / "short.toml").texts.bench == text
