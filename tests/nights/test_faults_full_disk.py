"""A disk that fills up in the middle of the night: parked, told in a sentence, and readable up to there."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from pathlib import Path

from daemon.journal.read import verify
from tests.nights.rehearsed import EXAMPLES

ROOT = Path(__file__).resolve().parents[2]
_ROOM_BYTES = 2_000_000


def rehearsed_with_room_for(room_bytes: int, record: Path) -> subprocess.CompletedProcess[str]:
    """The short example on a file system that takes no file larger than that."""
    words = [sys.executable, "-m", "daemon", "rehearse", str(EXAMPLES / "short.toml"), "--no-report"]
    return subprocess.run(
        [*words, "--record", str(record)],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (room_bytes, room_bytes)),
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_full_disk_parks_the_run_and_is_told_without_a_traceback(tmp_path: Path) -> None:
    done = rehearsed_with_room_for(_ROOM_BYTES, tmp_path / "night.record")
    assert done.returncode == 1 and "Traceback" not in done.stderr
    assert "THE RECORD IS NOT WHOLE" in done.stderr and "The run was parked" in done.stderr
    found = verify(tmp_path / "night.record")
    assert found.intact and found.entries > 1000 and not found.closed


def test_no_room_for_a_record_means_no_heat(tmp_path: Path) -> None:
    done = rehearsed_with_room_for(2000, tmp_path / "night.record")
    assert done.returncode == 2 and "Traceback" not in done.stderr
    assert "nothing was heated" in done.stderr
