"""Reading back a characteristic that `ohmvigil fit --to` wrote."""

from __future__ import annotations

import json
from pathlib import Path

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.errors import FittingError
from daemon.fitting.exchange import from_dict

_LARGEST_BYTES = 8 * 1024 * 1024


def read_characteristic(path: Path) -> Characteristic:
    """The characteristic in a JSON file; raises FittingError, OSError."""
    with path.open("rb") as file:
        content = file.read(_LARGEST_BYTES + 1)
    if len(content) > _LARGEST_BYTES:
        raise FittingError(f"{path.name}: larger than a characteristic can be")
    try:
        data = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise FittingError(f"{path.name}: not the JSON of a characteristic ({error})") from error
    return from_dict(data)
