"""JSON that others wrote, read so that whatever is wrong with it is a ``ValueError``."""

import json
from typing import Any

__all__ = ["read_json"]


def read_json(data: bytes | str) -> Any:  # noqa: ANN401  whatever stands in it
    """Return what a JSON text holds.

    Raises
    ------
    ValueError
        When it is no JSON, no text, or nested deeper than Python may call.
    """
    try:
        return json.loads(data)
    except RecursionError as error:
        raise ValueError("it is nested too deeply") from error
