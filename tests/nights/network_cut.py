"""A network that is cut for real: this module runs in a network namespace of its own, whose only interface
goes down and up again. Run by the test beside it: `unshare -rn python -m tests.nights.network_cut FOLDER`.
"""

from __future__ import annotations

import fcntl
import json
import socket
import struct
import sys
from dataclasses import replace
from pathlib import Path

from daemon.telemetry.telemetry import Telemetry
from tests.nights.telemetry_broker import PATIENCE_S, Told, broker, reading, settings_for, word

_GET_FLAGS, _SET_FLAGS, _UP = 0x8913, 0x8914, 0x1  # from <linux/sockios.h> and <linux/if.h>


def loopback(*, up: bool) -> None:
    """Bring the namespace's own loopback up or down; raises OSError."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        name = struct.pack("16sH14s", b"lo", 0, b"")
        _, flags, _ = struct.unpack("16sH14s", fcntl.ioctl(one, _GET_FLAGS, name))
        flags = flags | _UP if up else flags & ~_UP
        fcntl.ioctl(one, _SET_FLAGS, struct.pack("16sH14s", b"lo", flags, b""))


def main(folder: Path) -> dict[str, object]:
    """Tell, cut, go on telling, mend; what came of it."""
    loopback(up=True)
    told = Told()
    with broker(folder) as one, reading(one.port) as reader:
        settings = replace(settings_for(one.port), keepalive_s=2, answer_s=1.0)
        telemetry = Telemetry(settings, folder / "outbox", tell=told)
        for seq in range(1, 101):
            telemetry.listener(word(seq))
        reader.until(lambda: len(reader.on("event")) == 100)
        loopback(up=False)
        for seq in range(101, 501):
            telemetry.listener(word(seq))
        told.until("trying again")
        waiting = telemetry.waiting
        loopback(up=True)
        reader.until(lambda: any(event["seq"] == 500 for event in reader.on("event")[-50:]))
        closed = telemetry.close(PATIENCE_S)
        numbers = reader.event_numbers()
    whole = numbers == list(range(1, 501))
    return {"whole": whole, "waiting": waiting, "closed": closed, "lost": telemetry.lost}


if __name__ == "__main__":
    print(json.dumps(main(Path(sys.argv[1]))))
