"""One guardianship from orders to end: drill, arm, watch, and on a death fence first, then park."""

from __future__ import annotations

import json
import signal
import socket
from contextlib import closing
from typing import Any

from daemon.guardian.lock import only_guardian_of
from daemon.guardian.logbook import Logbook
from daemon.guardian.now import monotonic_s
from daemon.guardian.orders import Orders, from_text
from daemon.guardian.parking import Parking
from daemon.guardian.watch import DISARMED, LONGEST_MESSAGE, Daemon, Watch, tell


def guard(connection: socket.socket) -> bool:
    """Serve one daemon until it disarms or its source is cool; True when all ended well."""
    try:
        orders = from_text(connection.recv(LONGEST_MESSAGE).decode())
        lock = only_guardian_of(orders.way)
    except (ValueError, KeyError, TypeError) as error:
        tell(connection, {"say": "refused", "why": f"the orders cannot be read: {error!r}"})
        return False
    except OSError:
        tell(connection, {"say": "refused", "why": "another guardian is still at work on this source"})
        return False
    with lock, closing(Daemon(connection)) as daemon:
        return _serve(connection, daemon, orders)


def _serve(connection: socket.socket, daemon: Daemon, orders: Orders) -> bool:
    log, digest = Logbook(orders.log), orders.script.digest()
    parking = Parking(orders, log.say)
    tell(connection, {"say": "ready", "script": digest})
    while message := connection.recv(LONGEST_MESSAGE):
        told: dict[str, Any] = json.loads(message)
        if told["say"] == "drill":
            _drill(connection, parking, log)
        elif told["say"] == "arm":
            log.say(f"armed: watching process {daemon.pid}, park script {digest[:12]}")
            tell(connection, {"say": "armed"})
            signal.signal(signal.SIGTERM, signal.SIG_IGN)  # no polite word ends it while heat may be on
            return _watch(Watch(connection, daemon, orders.limits, digest), daemon, parking, log)
        elif told["say"] == DISARMED:
            return True
    return True  # not armed: nothing was heated under its watch


def _drill(connection: socket.socket, parking: Parking, log: Logbook) -> None:
    started_s = monotonic_s()
    wrong = parking.drill()
    took_s = monotonic_s() - started_s
    log.say(f"drill {'failed: ' + wrong if wrong else 'passed'} ({took_s:.3f} s)")
    tell(connection, {"say": "drilled", "wrong": wrong, "took_s": took_s})


def _watch(watch: Watch, daemon: Daemon, parking: Parking, log: Logbook) -> bool:
    try:
        cause = watch.until_the_end()
    except Exception as error:  # noqa: BLE001  a watch that broke watches nobody: better parked than unseen
        cause = f"the watch itself failed ({type(error).__name__}: {error})"
    if cause == DISARMED:
        log.say("disarmed by the daemon")
        return True
    gone = daemon.fence()
    log.say(f"{cause}: process {daemon.pid} {'is gone' if gone else 'does not end'}; parking")
    return parking.until_cool()
