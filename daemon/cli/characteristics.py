"""Reading back a characteristic that `ohmvigil fit --to` wrote."""

from __future__ import annotations

import json
from pathlib import Path

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.errors import FittingError
from daemon.fitting.exchange import from_dict


def read_characteristic(path: Path) -> Characteristic:
    """The characteristic in a JSON file; raises FittingError, OSError."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, RecursionError) as error:
        raise FittingError(f"{path.name}: not the JSON of a characteristic ({error})") from error
    return from_dict(data)
