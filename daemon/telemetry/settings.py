"""Where telemetry goes: one address line, and a password that stands in neither a plan nor an address."""

from __future__ import annotations

import re
import socket
import ssl
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import SplitResult, parse_qsl, urlsplit

PASSWORD_VARIABLE = "OHMVIGIL_MQTT_PASSWORD"
PORTS = {"mqtt": 1883, "mqtts": 8883}
EXAMPLE = "mqtts://broker.example/tern-rock?user=tern-rock&password_file=/etc/ohmvigil/mqtt-password"

AT_ONCE = ((socket.IPPROTO_TCP, socket.TCP_NODELAY, 1),)
"""For every connection: a small message is sent when it is ready, not when the one before was confirmed."""

QUERY = {
    "bench": "the bench's level of the topics, for a lab of one bench; otherwise made from the bench's name",
    "cafile": "PEM file with the certificate of the broker's authority, when the system does not know it",
    "password_file": f"file with the user's password; without it {PASSWORD_VARIABLE} in the environment",
    "user": "account at the broker",
}
"""What may stand behind the '?' of an address, and its meaning."""

_LEVEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,63}")


class MqttAddressError(Exception):
    """The address cannot be used; the message is a sentence for the person at the bench."""


@dataclass(frozen=True, slots=True)
class MqttSettings:
    """One daemon's way to its broker; waits in s. `tls` is None on an unencrypted connection."""

    host: str
    port: int
    station: str
    bench: str
    tls: ssl.SSLContext | None = None
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    first_wait_s: float = 1.0
    longest_wait_s: float = 15.0
    answer_s: float = 5.0
    keepalive_s: int = 10

    @property
    def base(self) -> str:
        """What every topic of this bench begins with."""
        return f"ohmvigil/{self.station}/{self.bench}"

    @property
    def broker(self) -> str:
        """The broker as people write it."""
        return f"{self.host}:{self.port}"


def parse_mqtt_address(address: str, bench: str, environment: Mapping[str, str]) -> MqttSettings:
    """Settings from `mqtt(s)://host:port/station?…`; `bench` is used unless the address names one.

    Raises MqttAddressError. The password comes from `password_file` or from the environment.
    """
    parts, port = _split(address)
    query = _query(parts)
    user = query.get("user")
    return MqttSettings(
        host=parts.hostname or "",
        port=port,
        station=_level(parts.path.strip("/"), "station"),
        bench=_level(query["bench"], "bench") if "bench" in query else topic_level(bench),
        tls=_tls(parts.scheme, query.get("cafile")),
        user=user,
        password=_password(user, query.get("password_file"), environment),
    )


def settings_of_lab(
    address: str, benches: Sequence[str], environment: Mapping[str, str]
) -> list[MqttSettings]:
    """Settings of all benches of one daemon, by their names; raises MqttAddressError."""
    found = [parse_mqtt_address(address, bench, environment) for bench in benches]
    bases = [one.base for one in found]
    twice = sorted({base for base in bases if bases.count(base) > 1})
    if twice:
        raise MqttAddressError(
            f"Two benches would both tell of themselves below {twice[0]}: leave `bench` out of the address, "
            "and give each bench a name of its own."
        )
    return found


def topic_level(name: str) -> str:
    """A name as one level of a topic: "Stirred bath 2" becomes "stirred-bath-2"."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:64] or "bench"


def _split(address: str) -> tuple[SplitResult, int]:
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError as error:
        raise MqttAddressError(f"The MQTT address cannot be read: {error}. Example: {EXAMPLE}") from error
    if parts.scheme not in PORTS:
        raise MqttAddressError(f"An MQTT address begins with mqtt:// or mqtts://. Example: {EXAMPLE}")
    if not parts.hostname:
        raise MqttAddressError(f"The MQTT address names no host. Example: {EXAMPLE}")
    if parts.username is not None or parts.password is not None:
        raise MqttAddressError(
            "The MQTT address must not hold a name or password before the host, since addresses are shown "
            f"in process lists: write ?user=NAME and put the password into {PASSWORD_VARIABLE} or a file."
        )
    if port == 0 or parts.fragment:
        raise MqttAddressError(f"The MQTT address has port 0 or a part after '#'. Example: {EXAMPLE}")
    return parts, port or PORTS[parts.scheme]


def _query(parts: SplitResult) -> dict[str, str]:
    try:
        pairs = parse_qsl(parts.query, keep_blank_values=True, strict_parsing=True) if parts.query else []
    except ValueError as error:
        raise MqttAddressError(f"The part after '?' of the MQTT address cannot be read: {error}.") from error
    found: dict[str, str] = {}
    for key, value in pairs:
        if key not in QUERY:
            known = ", ".join(QUERY)
            raise MqttAddressError(f"The MQTT address has an unknown setting {key!r}; known are {known}.")
        if key in found:
            raise MqttAddressError(f"The MQTT address gives {key!r} twice.")
        if not value:
            raise MqttAddressError(f"The MQTT address gives {key!r} without a value.")
        found[key] = value
    return found


def _level(text: str, what: str) -> str:
    if not _LEVEL.fullmatch(text):
        raise MqttAddressError(
            f"The MQTT address has {text!r} as its {what}: expected one word of letters, digits, "
            f"'-', '_' and '.'. Example: {EXAMPLE}"
        )
    return text


def _tls(scheme: str, cafile: str | None) -> ssl.SSLContext | None:
    if scheme == "mqtt":
        if cafile is not None:
            raise MqttAddressError("The MQTT address gives a cafile but is not encrypted: write mqtts://.")
        return None
    try:
        return ssl.create_default_context(cafile=cafile)
    except OSError as error:
        raise MqttAddressError(
            f"The certificate file {cafile} cannot be used: {error.strerror or error}. "
            "Expected a PEM file with the certificate of the broker's authority."
        ) from error


def _password(user: str | None, file: str | None, environment: Mapping[str, str]) -> str | None:
    if user is None:
        if file is not None:
            raise MqttAddressError("The MQTT address gives a password_file but no user.")
        return None
    if file is None:
        if PASSWORD_VARIABLE not in environment:
            raise MqttAddressError(
                f"The MQTT user {user!r} needs a password: set {PASSWORD_VARIABLE} or add password_file."
            )
        return environment[PASSWORD_VARIABLE]
    try:
        password = Path(file).read_text("utf-8").removesuffix("\n").removesuffix("\r")
    except (OSError, ValueError) as error:
        raise MqttAddressError(f"The MQTT password file {file} cannot be read: {error}.") from error
    if not password:
        raise MqttAddressError(f"The MQTT password file {file} is empty.")
    return password
