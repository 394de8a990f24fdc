"""The token: whoever can read its file may change something."""

from __future__ import annotations

import hmac
import os
import secrets
import stat
from pathlib import Path

_BYTES = 32


class TokenError(Exception):
    """The token file cannot be used; the message says why and what to do."""


def own_token(path: Path) -> str:
    """The token, made at the first start with mode 600; raises TokenError, OSError."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return read_token(path)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(secrets.token_urlsafe(_BYTES) + "\n")
    return read_token(path)


def read_token(path: Path) -> str:
    """The token of an existing file; raises TokenError, OSError."""
    if os.name == "posix" and stat.S_IMODE(path.stat().st_mode) & 0o077:
        raise TokenError(f"{path} can be read by others: chmod 600 it, or delete it for a new token.")
    token = path.read_text(encoding="ascii", errors="replace").strip()
    if len(token) < _BYTES:
        raise TokenError(f"{path} holds no token: delete it, the daemon makes a new one at its start.")
    return token


def same(given: str, token: str) -> bool:
    """Compared in a time that tells nothing about how much of it was right."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), token.encode("ascii"))
