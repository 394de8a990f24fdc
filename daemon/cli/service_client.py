"""Speaking to the daemon of a lab on this machine, with nothing but the standard library."""

from __future__ import annotations

import argparse
import http.client
import json
import os
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from plans.lab_state import state_folder

LAB_VARIABLE = "OHMVIGIL_LAB"
_WITHIN_S = 10.0


class NoService(Exception):
    """The daemon cannot be spoken to; the message says why and what to do."""


class ServiceRefused(Exception):
    """The daemon refused; the message is its own, `problems` what to put right."""

    def __init__(self, sentence: str, problems: list[str]) -> None:
        self.problems = problems
        super().__init__("\n".join([sentence, *(f"  {problem}" for problem in problems)]))


def add_lab_argument(parser: argparse.ArgumentParser) -> None:
    """The option that every command to the daemon shares."""
    parser.add_argument(
        "--lab",
        type=Path,
        metavar="LAB",
        default=Path(os.environ.get(LAB_VARIABLE, "lab.toml")),
        help=f"the lab file the daemon serves (default: {LAB_VARIABLE}, else lab.toml here)",
    )


class Service:
    """The daemon that serves a lab file."""

    def __init__(self, lab: Path) -> None:
        """Find it; raises NoService."""
        self._state = state_folder(lab)
        try:
            address = (self._state / "address").read_text(encoding="ascii").strip()
        except OSError:
            raise NoService(
                f"no daemon serves {lab}: start it with `ohmvigil serve {lab}`, or name another lab file "
                f"with --lab or {LAB_VARIABLE}."
            ) from None
        self._host, self._port = urlsplit(address).hostname or "", urlsplit(address).port

    def ask(self, path: str) -> Any:
        """Read something; raises NoService, ServiceRefused."""
        return self._exchange("GET", path, None, {})

    def tell(self, path: str, body: dict[str, Any]) -> Any:
        """Say something, with the token where it can be read; raises NoService, ServiceRefused."""
        headers = {"content-type": "application/json"}
        try:
            token = (self._state / "token").read_text(encoding="ascii").strip()
            headers["authorization"] = f"Bearer {token}"
        except OSError:
            pass  # a halt needs none, and for all else the daemon says what is missing
        return self._exchange("POST", path, json.dumps(body), headers)

    def _exchange(self, method: str, path: str, body: str | None, headers: dict[str, str]) -> Any:
        connection = http.client.HTTPConnection(self._host, self._port, timeout=_WITHIN_S)
        try:
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            content = json.loads(answer.read())
        except (OSError, http.client.HTTPException, ValueError) as error:
            raise NoService(
                f"the daemon at {self._host}:{self._port} does not answer ({error}). If the bench must be "
                "stopped now, use its own switch."
            ) from error
        finally:
            connection.close()
        if answer.status != http.client.OK:
            raise ServiceRefused(content["refused"], content["problems"])
        return content


def own_name() -> str:
    """Who speaks, when nobody says otherwise."""
    return os.environ.get("USER") or os.environ.get("USERNAME") or "somebody at the terminal"
