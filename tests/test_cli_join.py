"""`join` by hand when things go wrong: what is refused and why, and that nothing half-written is left behind."""

import os
import pty
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from real_disks import run
from small_studio import PPI, _environment, called, dawnproof, document, halves, work, write

from dawnproof.rulebook import load_book
from dawnproof.workers.joining import HandJoin, join_by_hand, unfinished

PROFILE = (Path(__file__).parent / "data/icc/ProPhoto-v4.icc").read_bytes()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    found = tmp_path_factory.mktemp("by-hand")
    left, right = halves(41)
    write(found / "SL-0412_L.tif", left)
    write(found / "SL-0412_R.tif", right)
    write(found / "ppi_R.tif", right, ppi=PPI + 100)
    write(found / "depth_R.tif", np.asarray(right >> 8, np.uint8))
    write(found / "profile_R.tif", right, icc=PROFILE)
    write(found / "none_R.tif", right, icc=None)
    write(found / "grey_R.tif", right[:, :, 1])
    write(found / "copy_L.tif", left)
    (found / "cut_R.tif").write_bytes((found / "SL-0412_R.tif").read_bytes()[:-9000])
    (found / "text_R.tif").write_text("no scan at all")
    write(found / "other_R.tif", work(88)[:, :700])
    return found


REFUSALS = [
    ("ppi_R.tif", "differ in resolution: 400 and 500 ppi"),
    ("depth_R.tif", "differ in bits a channel: 16 and 8"),
    ("profile_R.tif", "differ in profile"),
    ("none_R.tif", "differ in profile"),
    ("grey_R.tif", "differ in channels: 3 and 1"),
    ("SL-0412_L.tif", "is given twice"),
    ("copy_L.tif", "show the same part of the work twice"),
    ("cut_R.tif", "cut_R.tif: "),
    ("text_R.tif", "text_R.tif: "),
    ("other_R.tif", "no common place found"),
]


@pytest.mark.parametrize(("other", "reason"), REFUSALS)
def test_refused_with_the_reason_and_nothing_left(folder: Path, other: str, reason: str) -> None:
    """Within this process: what the command makes of a refusal is tested beside and in `test_cli_files`."""
    before = sorted(folder.iterdir())
    book = load_book("fine-art")
    given = (str(folder / "SL-0412_L.tif"), str(folder / other))
    found = join_by_hand(HandJoin(given, str(folder / "never.tif"), book, book.bed(None), "test"))
    assert reason in found["refused"]
    assert (found["out"], found["width_px"], found["height_px"], found["parts"]) == (None, 0, 0, [])
    assert [(f["check"], f["name"], f["level"]) for f in found["findings"]] == [("join", "refused", "fault")]
    assert sorted(folder.iterdir()) == before


def test_a_refusal_is_told_a_person_with_what_to_do(folder: Path) -> None:
    code, out, _ = called("join", folder / "SL-0412_L.tif", folder / "ppi_R.tif", "--out", folder / "never.tif")
    assert code == 1
    assert out.startswith("refused: ")
    assert "scan all parts of a work with the same settings" in out


def test_fewer_than_two_and_a_taken_place_are_2(folder: Path, tmp_path: Path) -> None:
    one = folder / "SL-0412_L.tif"
    assert called("join", one, "--out", tmp_path / "x.tif")[0] == 2
    taken = tmp_path / "taken.tif"
    taken.write_bytes(b"mine")
    dangling = tmp_path / "dangling.tif"
    dangling.symlink_to(tmp_path / "nowhere")
    for place in (taken, dangling):
        code, out, err = called("join", one, folder / "SL-0412_R.tif", "--out", place)
        assert (code, out) == (2, "")
        assert "exists already" in err
    assert taken.read_bytes() == b"mine"
    assert dangling.is_symlink()


def test_an_overview_among_the_parts_is_not_joined_but_asked(folder: Path, tmp_path: Path) -> None:
    """The work of the command's tests has little to see at half size: the answer may be that it cannot be told."""
    whole = work(41, 640)[::2, ::2]
    overview = write(tmp_path / "SL-0412_overview.tif", whole, ppi=PPI / 2)
    given = (folder / "SL-0412_L.tif", folder / "SL-0412_R.tif", overview)
    found = document("join", *given, "--out", tmp_path / "out.tif")
    assert [Path(p["file"]).name for p in found["parts"]] == ["SL-0412_L.tif", "SL-0412_R.tif"]
    assert [f["level"] for f in found["findings"] if f["name"] == "overview"] in (["sound"], ["undecided"])


def begun(folder: Path, out: Path) -> subprocess.Popen[str]:
    """A join that has begun to write."""
    words = ["join", str(folder / "SL-0412_L.tif"), str(folder / "SL-0412_R.tif"), "--out", str(out)]
    child = subprocess.Popen([sys.executable, "-m", "dawnproof", *words], stdout=subprocess.PIPE,
                             stderr=subprocess.PIPE, text=True, env=_environment())  # fmt: skip
    while not unfinished(out).exists():
        assert child.poll() is None, child.stderr.read() if child.stderr else ""
        time.sleep(0.002)
    return child


def test_interrupted_while_writing_leaves_nothing(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "SL-0412.tif"
    child = begun(folder, out)
    child.send_signal(signal.SIGINT)
    child.communicate(timeout=120)
    assert child.returncode == 130
    assert list(tmp_path.iterdir()) == []


def test_killed_while_writing_leaves_one_file_that_says_what_it_is_and_the_next_run_removes_it(
    folder: Path, tmp_path: Path
) -> None:
    out = tmp_path / "SL-0412.tif"
    child = begun(folder, out)
    child.kill()
    child.communicate(timeout=120)
    assert [p.name for p in tmp_path.iterdir()] == ["SL-0412.tif.unfinished-join.part"]
    again = dawnproof("join", folder / "SL-0412_L.tif", folder / "SL-0412_R.tif", "--out", out)
    assert again.returncode == 0, again.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["SL-0412.tif"]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    if os.geteuid() != 0:
        pytest.skip("mounting a small disk needs root")
    place = tmp_path / "small"
    place.mkdir()
    try:
        run("mount", "-t", "tmpfs", "-o", "size=400k", "tmpfs", str(place))
    except subprocess.CalledProcessError:
        pytest.skip("this kernel does not let us mount a tmpfs")
    yield place
    run("umount", str(place))


def test_a_full_disk_is_named_and_leaves_nothing(folder: Path, small_disk: Path) -> None:
    given = (folder / "SL-0412_L.tif", folder / "SL-0412_R.tif")
    ran = dawnproof("join", *given, "--out", small_disk / "SL-0412.tif", "--json")
    assert (ran.returncode, ran.stdout) == (2, "")
    assert "SL-0412.tif" in ran.stderr
    assert "No space left" in ran.stderr
    assert list(small_disk.iterdir()) == []


def test_a_bar_is_shown_on_a_terminal(folder: Path, tmp_path: Path) -> None:
    ours, theirs = pty.openpty()
    words = ["join", str(folder / "SL-0412_L.tif"), str(folder / "SL-0412_R.tif"), "--out", str(tmp_path / "x.tif")]
    child = subprocess.Popen([sys.executable, "-m", "dawnproof", *words], stdout=subprocess.DEVNULL, stderr=theirs,
                             env=_environment() | {"TERM": "xterm"})  # fmt: skip
    os.close(theirs)
    shown = b""
    while piece := _read(ours):
        shown += piece
    os.close(ours)
    assert child.wait(timeout=120) == 0
    assert b"joining 2 parts" in shown
    percents = {int(p) for p in re.findall(rb"(\d+)%", shown)}
    assert len(percents) > 1


def _read(terminal: int) -> bytes:
    try:
        return os.read(terminal, 4096)
    except OSError:  # the other end is closed
        return b""
