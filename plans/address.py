"""Where an instrument is found: simulated:NAME, tcp://host:port, serial:DEVICE or visa:RESOURCE."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import AfterValidator, Field

_FORMS = re.compile(
    r"simulated:[a-z][a-z0-9_-]*|tcp://(?P<host>[A-Za-z0-9._-]+|\[[0-9A-Fa-f:]+\]):(?P<port>[0-9]{1,5})(\?unit=[0-9]{1,3})?"
    r"|serial:[!-~]+|visa:[!-~]+"
)


def _check(address: str) -> str:
    match = _FORMS.fullmatch(address)
    if match is None:
        raise ValueError(
            'use "simulated:source", "tcp://host:port", "serial:/dev/ttyUSB0" or "visa:RESOURCE".'
        )
    port = match["port"]
    if port is not None and not 1 <= int(port) <= 65535:
        raise ValueError("a TCP port is a number from 1 to 65535.")
    return address


Address = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_check)]


def is_simulated(address: str) -> bool:
    """True when the address belongs to the simulated bench."""
    return address.startswith("simulated:")
