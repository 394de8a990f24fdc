"""Telling an MQTT broker of the run, when asked to: never in the way of the run itself."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from daemon.journal.entry import Entry
from daemon.journal.journal import Listener
from plans.run_plan import RunPlan

_PATIENCE_S = 5.0


class CannotTell(Exception):
    """The broker's address or the outbox cannot be used; the message says why. Nothing was heated."""


def add_mqtt_argument(parser: argparse.ArgumentParser) -> None:
    """The option that commands with a run share."""
    parser.add_argument(
        "--mqtt", metavar="ADDRESS", help="tell a broker: mqtt://host/station (mqtts:// for TLS); sends only"
    )


@contextmanager
def telling(
    address: str | None, run: RunPlan, record: Path, opening: Entry | None = None
) -> Iterator[Sequence[Listener]]:
    """Listeners for the journal: none without an address; raises CannotTell before any heat."""
    if address is None:
        yield []
        return
    from daemon.telemetry.outbox import OutboxError
    from daemon.telemetry.settings import MqttAddressError, parse_mqtt_address
    from daemon.telemetry.telemetry import Telemetry

    try:
        settings = parse_mqtt_address(address, run.bench.name, os.environ)
        record.parent.mkdir(parents=True, exist_ok=True)
        telemetry = Telemetry(settings, record.parent / "mqtt.outbox", opening=opening, tell=_say)
    except (MqttAddressError, OutboxError, OSError) as error:
        raise CannotTell(str(error)) from error
    try:
        yield [telemetry.listener]
    finally:
        if not telemetry.close(_PATIENCE_S):
            print("mqtt: the broker has not taken everything; the rest goes out next time", file=sys.stderr)


def _say(sentence: str) -> None:
    print(f"mqtt: {sentence or 'the broker takes messages again'}", file=sys.stderr)
