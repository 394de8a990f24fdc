"""Sending a notice by Apprise (mail, messengers, SMS gateways …): its addresses come from a private file."""

from __future__ import annotations

import importlib
import os
import stat
from pathlib import Path
from typing import Protocol

from daemon.program import to_install

MOST_ADDRESSES = 20
_MOST_CHARACTERS = 64 * 1024


class NoticeError(Exception):
    """Notices cannot be sent; the message says why and what to do."""


class Sender(Protocol):
    """Sends a notice to one person, by every way there is to that person."""

    def send(self, title: str, text: str) -> bool:
        """Blocks until it is handed over; False when any way failed. Raises nothing."""


class Apprise:
    """A person's addresses, one Apprise URL a line; '#' begins a comment."""

    def __init__(self, path: Path) -> None:
        """Read the addresses; raises NoticeError."""
        try:
            library = importlib.import_module("apprise")
        except ImportError:
            raise NoticeError(
                f"notices need the package apprise: {to_install('notices')}, or take the persons out."
            ) from None
        self._notifier = library.Apprise()
        for number, address in addresses_in(path):
            if not self._notifier.add(address):
                raise NoticeError(
                    f"{path.name}, line {number} is no Apprise address. The line is not shown, it may hold a "
                    "password."
                )

    def send(self, title: str, text: str) -> bool:
        """Send by every address; False when one of them failed."""
        return bool(self._notifier.notify(title=title, body=text))


def addresses_in(path: Path) -> list[tuple[int, str]]:
    """Line number and address of each line that is one; raises NoticeError."""
    try:
        if os.name == "posix" and stat.S_IMODE(path.stat().st_mode) & 0o077:
            raise NoticeError(f"{path.name} holds secrets and can be read by others: chmod 600 it.")
        with path.open(encoding="utf-8") as file:
            text = file.read(_MOST_CHARACTERS + 1)
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not text"
        raise NoticeError(f"{path}: the addresses cannot be read ({reason}).") from None
    if len(text) > _MOST_CHARACTERS:
        raise NoticeError(f"{path.name} is larger than a list of addresses can be.")
    found = [(n, line.strip()) for n, line in enumerate(text.splitlines(), 1) if line.strip()]
    found = [(n, line) for n, line in found if not line.startswith("#")]
    if not 1 <= len(found) <= MOST_ADDRESSES:
        raise NoticeError(f"{path.name} holds {len(found)} addresses; 1 to {MOST_ADDRESSES} are expected.")
    return found
