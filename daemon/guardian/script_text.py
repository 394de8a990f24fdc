"""Reply patterns of the text families: the profile's own pattern in its frame."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from daemon.guardian.orders import Number

_ANY_CHECK = "[0-9A-F]{2}"


def text_look(told: Mapping[str, Any], link: Mapping[str, Any]) -> tuple[str, dict[str, Number]]:
    """Pattern and numbers of a question, from its table and the profile's link table."""
    fields = told["fields"]
    return _framed(told["parse"], link), {name: _number(name, fields[name]) for name in _WANTED}


def text_reply(told: Mapping[str, Any], link: Mapping[str, Any]) -> str:
    """Pattern of the answer to a command."""
    return _framed(told["parse"], link)


_WANTED = ("temperature", "set_point")


def _number(name: str, field: Mapping[str, Any]) -> Number:
    low, high = field.get("range", (-math.inf, math.inf))
    return Number(
        name, "", (), field.get("scale", 1.0), field.get("offset", 0.0), max(low, -300.0), min(high, 3000.0)
    )


def _framed(parse: str, link: Mapping[str, Any]) -> str:
    end = re.escape(link["receive_end"])
    frame = link.get("frame")
    if frame is None:
        return f"(?:{parse}){end}"
    return f"{re.escape(frame.get('receive_prefix', ''))}(?:{parse}){_ANY_CHECK}{end}"
