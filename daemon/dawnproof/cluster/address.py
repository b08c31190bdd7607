"""Where the scheduler is, when a file on the store says it: the scheduler writes it at its start and takes it away at
its end."""

from __future__ import annotations

import json
from pathlib import Path


def address_in(file: str) -> str:
    """The address the scheduler wrote there. ConnectionError with what to do where none stands in it."""
    try:
        text = Path(file).read_text("utf-8")
    except FileNotFoundError:
        raise ConnectionError("there is no such file: the scheduler is not running, or the store is away") from None
    except (OSError, UnicodeDecodeError) as error:
        raise ConnectionError(f"the file cannot be read ({error})") from None
    try:
        found = json.loads(text)["address"]
    except (ValueError, TypeError, LookupError):
        found = None
    if not isinstance(found, str) or "://" not in found:
        raise ConnectionError("no scheduler's address stands in the file: start the scheduler with --scheduler-file")
    return found
