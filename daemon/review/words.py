"""A signed entry as a sentence."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from daemon.journal.entry import Entry
from daemon.results.numbers import day_and_clock


def in_words(entry: Entry) -> str:
    """Who decided what, when and why."""
    body = entry.body
    return f"{day_and_clock(entry.utc_s)}, {body['name']} ({body['who']}): {decision(body)}"


def decision(body: Mapping[str, Any]) -> str:
    """What was decided."""
    whom = body.get("serial") or "all thermometers"
    match body["what"]:
        case "accepted":
            return f"results accepted{': ' + body['remark'] if body['remark'] else ''}"
        case "excluded":
            return f"point {body['index'] + 1} of {whom} left out of the fit: {body['cause']}"
        case "put_back":
            return f"point {body['index'] + 1} of {whom} put back into the fit: {body['reason']}"
        case "amended":
            return f"amended, {whom}: {body['change']} ({body['reason']})"
        case "attached":
            return f"attached {body['file']}, {body['about']} (SHA-256 {body['sha256'][:12]}…)"
        case "authorised":
            replaces = f", replacing {body['replaces']}" if body["replaces"] else ""
            return f"certificate {body['number']} of {whom} authorised{replaces}"
    return str(body["what"])
