"""Pictures inside a page: as data, so that the page needs no other file and no network."""

from __future__ import annotations

import base64
from collections.abc import Mapping

from markupsafe import Markup

PAGE_BYTES = 20_000_000  # of encoded pictures in one page; what comes later is named by its path


def data_uri(picture: bytes) -> Markup:
    """A JPEG or PNG as a data URI; by the signature, JPEG where it is neither."""
    kind = "png" if picture.startswith(b"\x89PNG") else "jpeg"
    return Markup(f"data:image/{kind};base64,{base64.b64encode(picture).decode('ascii')}")


class Album:
    """Pictures of one page, up to its size: the first asked for come in, so ask for what matters most first."""

    def __init__(self, pictures: Mapping[str, bytes], most_bytes: int = PAGE_BYTES) -> None:
        self._pictures = pictures
        self._left = most_bytes

    def picture(self, key: str, most_bytes: int = PAGE_BYTES) -> Markup | None:
        """The picture as data URI; None where there is none, it is larger than `most_bytes`, or the page is full."""
        picture = self._pictures.get(key, b"")
        return self.data(picture) if len(picture) <= most_bytes else None

    def data(self, picture: bytes) -> Markup | None:
        """The same for bytes that are at hand."""
        size = len(picture) * 4 // 3
        if not picture or size > self._left:
            return None
        self._left -= size
        return data_uri(picture)
