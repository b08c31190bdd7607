"""The print sizes of a record, in words."""

from __future__ import annotations

import json
from typing import Any


def print_words(print_sizes: str) -> str:
    """'at 300 ppi up to 508 x 254 mm; the ordered 800 mm get 230 ppi' from the JSON text the ledger keeps."""
    if not print_sizes:
        return ""
    held: Any = json.loads(print_sizes)
    if not isinstance(held, dict):
        return ""
    largest = [_largest(size) for size in held.get("largest") or () if size.get("ppi") in (300, 240)]
    words = [f"prints up to {', '.join(largest)}"] if largest else []
    ordered = held.get("ordered")
    if ordered:
        words.append(f"the ordered {ordered['long_mm']:.0f} mm get {ordered['effective_ppi']:.0f} ppi")
    return "; ".join(words)


def _largest(size: dict[str, float]) -> str:
    return f"{size['width_mm']:.0f} x {size['height_mm']:.0f} mm at {size['ppi']:.0f} ppi"
