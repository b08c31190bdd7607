"""Free names: numbered where taken, kept apart by case and composition, never too long."""

from __future__ import annotations

import os
import tempfile
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnproof.storage.free_names import folded, free_name


@pytest.mark.parametrize(
    ("taken", "name", "free"),
    [
        ([], "SL-0412_L.tif", "SL-0412_L.tif"),
        (["SL-0412_L.tif"], "SL-0412_L.tif", "SL-0412_L~2.tif"),
        (["SL-0412_L.tif", "SL-0412_L~2.tif"], "SL-0412_L.tif", "SL-0412_L~3.tif"),
        (["sl-0412_l.TIF"], "SL-0412_L.tif", "SL-0412_L~2.tif"),
        ([unicodedata.normalize("NFD", "é.tif")], "é.tif", "é~2.tif"),
        (["noext"], "noext", "noext~2"),
        ([".hidden"], ".hidden", ".hidden~2"),
    ],
)
def test_free_names(tmp_path: Path, taken: list[str], name: str, free: str) -> None:
    for other in taken:
        (tmp_path / other).write_bytes(b"")
    assert free_name(tmp_path, name) == free
    assert free_name(tmp_path, name, reserved=[free]) != free


NAMES = st.text(
    st.characters(exclude_characters="/\0", exclude_categories=()), min_size=1, max_size=120
).filter(lambda name: name not in (".", "..") and encodable(name))  # fmt: skip


def encodable(name: str) -> bool:
    try:
        return 0 < len(os.fsencode(name)) <= 255
    except UnicodeEncodeError:
        return False


@given(st.lists(NAMES, min_size=1, max_size=8), st.integers(1, 4))
def test_any_names_given_in_turn_are_all_kept_apart(names: list[str], times: int) -> None:
    """Whatever arrives under whatever names, repeatedly: none shares a name with another, not even by case."""
    with tempfile.TemporaryDirectory() as folder:
        given_out = []
        for name in names * times:
            free = free_name(Path(folder), name)
            assert len(os.fsencode(free)) <= 255
            assert not (Path(folder) / free).exists()
            (Path(folder) / free).write_bytes(b"")
            given_out.append(folded(free))
        assert len(set(given_out)) == len(given_out)
