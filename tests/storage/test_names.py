"""A job's name in a shared archive is one studio's, whoever comes first, whatever breaks off."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest

from dawnproof.errors import EnvironmentFault
from dawnproof.storage.names import NAMES, check_archive, is_own, mark_of, owner_of, take_name
from dawnproof.storage.studio import Studio, make_folders, new_studio, open_studio


def studio_at(root: Path, archive: Path, shared: bool = True) -> Studio:
    new_studio(root, "fine-art")
    text = f'[folders]\narchive = "{archive}"\n[archive]\nshared = {str(shared).lower()}\n'
    (root / "dawnproof.toml").write_text(text, "utf-8")
    studio = open_studio(root)
    make_folders(studio)
    return studio


@pytest.fixture
def two(tmp_path: Path) -> tuple[Studio, Studio]:
    return studio_at(tmp_path / "prints", tmp_path / "archive"), studio_at(tmp_path / "annex", tmp_path / "archive")


def test_the_first_keeps_the_name_in_any_spelling(two: tuple[Studio, Studio]) -> None:
    prints, annex = two
    assert take_name(prints, "SL-0401") is None
    assert take_name(prints, "SL-0401") is None, "and has it still"
    other = take_name(annex, "sl 0401")
    assert other is not None
    assert str(prints.root) in other.words
    assert take_name(annex, "SL-0402") is None
    assert is_own(prints, "SL-0401")
    assert not is_own(annex, "SL-0401")


def test_a_studio_is_itself_again_at_the_next_start(two: tuple[Studio, Studio]) -> None:
    prints, annex = two
    assert owner_of(prints).id == owner_of(open_studio(prints.root)).id != owner_of(annex).id
    assert mark_of(prints) != mark_of(annex)


def test_what_a_crash_leaves_takes_no_name(two: tuple[Studio, Studio]) -> None:
    """The hidden file was written, the rename never came; then half of a hidden file."""
    prints, annex = two
    take_name(prints, "SL-0401")
    for left in (f"{owner_of(prints).id}\nprints\n", "ab"):
        (prints.archive / NAMES / f".{owner_of(prints).id}").write_text(left, "utf-8")
        assert take_name(annex, "SL-0402") is None
        assert take_name(prints, "SL-0402") is not None
        assert take_name(prints, "SL-0403") is None


def test_an_archive_of_ones_own_has_no_names(tmp_path: Path) -> None:
    alone = studio_at(tmp_path / "prints", tmp_path / "archive", shared=False)
    assert take_name(alone, "SL-0401") is None
    assert mark_of(alone) == ""
    assert list(alone.archive.iterdir()) == []
    check_archive(alone)


def test_who_does_not_say_that_others_file_here_too_may_not_begin(tmp_path: Path) -> None:
    take_name(studio_at(tmp_path / "prints", tmp_path / "archive"), "SL-0401")
    with pytest.raises(EnvironmentFault, match="shared = true"):
        check_archive(studio_at(tmp_path / "annex", tmp_path / "archive", shared=False))


def race(root: str, jobs: int) -> list[str]:
    """The names one studio got of many it wanted."""
    studio = open_studio(Path(root))
    return [f"SL-{n:04d}" for n in range(jobs) if take_name(studio, f"SL-{n:04d}") is None]


def test_of_two_at_the_same_moment_exactly_one_gets_each_name(two: tuple[Studio, Studio]) -> None:
    with ProcessPoolExecutor(2, get_context("fork")) as pool:
        got = [f.result() for f in [pool.submit(race, str(s.root), 300) for s in two]]
    assert sorted(got[0] + got[1]) == [f"SL-{n:04d}" for n in range(300)]
