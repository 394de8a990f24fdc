"""`python -m daemon.guardian`: --socket N when started by a run, --listen PATH in a unit, --park FILE."""

from __future__ import annotations

import os
import signal
import socket
import sys
from contextlib import suppress

from daemon.guardian.lock import only_guardian_of
from daemon.guardian.logbook import Logbook
from daemon.guardian.orders import from_text
from daemon.guardian.parking import Parking
from daemon.guardian.serving import guard
from daemon.guardian.stay import stay_in_memory

USAGE = "usage: python -m daemon.guardian --socket NUMBER | --listen PATH | --park FILE"


def main(words: list[str]) -> int:
    """Exit 0 when all ended well, 1 when a source was left hot, 2 for a wrong call."""
    if len(words) != 2:
        print(USAGE, file=sys.stderr)
        return 2
    # Only whoever started it by name, or the end of its work, ends a guardian.
    for ignored in (signal.SIGINT, signal.SIGHUP):
        signal.signal(ignored, signal.SIG_IGN)
    stay_in_memory()
    match words:
        case ["--socket", number] if number.isdecimal():
            with socket.socket(fileno=int(number)) as connection:
                return 0 if guard(connection) else 1
        case ["--listen", path]:
            return _listen(path)
        case ["--park", path]:
            return _park(path)
    print(USAGE, file=sys.stderr)
    return 2


def _listen(path: str) -> int:
    """One daemon after the other, each until it disarms or its source is cool."""
    with suppress(FileNotFoundError):
        os.unlink(path)
    with socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET) as listening:
        listening.bind(path)
        os.chmod(path, 0o600)
        listening.listen(1)
        while True:
            connection, _ = listening.accept()
            with connection, suppress(OSError):  # a daemon gone before it was armed
                guard(connection)
            signal.signal(signal.SIGTERM, signal.SIG_DFL)


def _park(path: str) -> int:
    """Park once from standing orders, when there are any: what the service manager calls after a death."""
    try:
        with open(path, encoding="utf-8") as file:
            orders = from_text(file.read())
        lock = only_guardian_of(orders.way)
    except OSError:
        return 0  # nothing is armed, or a guardian is at work
    with lock:
        return 0 if Parking(orders, Logbook(orders.log).say).now() else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
