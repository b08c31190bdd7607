"""Two builds of one version are told apart; one build is the same wherever it is installed."""

from __future__ import annotations

import shutil
from pathlib import Path

from dawnproof import __version__
from dawnproof.cluster.build import BUILD, build_of


def test_a_build_is_known_by_its_source_wherever_it_lies(tmp_path: Path) -> None:
    for name in ("one", "other"):
        (tmp_path / name / "measure").mkdir(parents=True)
        (tmp_path / name / "measure" / "seam.py").write_text("LIMIT = 1\n", "utf-8")
    one = build_of(tmp_path / "one", "1.2.0")
    assert one.startswith("1.2.0 (")
    assert build_of(tmp_path / "other", "1.2.0") == one
    (tmp_path / "other" / "measure" / "seam.py").write_text("LIMIT = 2\n", "utf-8")
    assert build_of(tmp_path / "other", "1.2.0") != one
    shutil.move(tmp_path / "one" / "measure" / "seam.py", tmp_path / "one" / "measure" / "streak.py")
    assert build_of(tmp_path / "one", "1.2.0") != one


def test_this_build_names_its_version() -> None:
    assert BUILD.startswith(f"{__version__} (")
