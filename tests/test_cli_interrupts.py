"""Ctrl-C at any moment: exit code 130, nothing on stderr, nobody left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parent
ENVIRONMENT = {**os.environ, "PYTHONPATH": f"{TESTS.parent / 'daemon'}:{TESTS}"}

# the command, and Ctrl-C the moment it begins to load the module named first; whoever runs the tests may ignore it
STRUCK_WHILE_LOADING = """
import os, runpy, signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
class Striking:
    def find_spec(self, name, *rest):
        if name == wanted:
            sys.meta_path.remove(self)
            os.kill(os.getpid(), signal.SIGINT)
wanted = sys.argv.pop(1)
sys.modules.pop(wanted, None)
sys.meta_path.insert(0, Striking())
runpy.run_module("dawnproof", run_name="__main__", alter_sys=True)
"""

# the command, and Ctrl-C while the interpreter ends
STRUCK_AT_THE_END = """
import atexit, os, runpy, signal
signal.signal(signal.SIGINT, signal.default_int_handler)
atexit.register(os.kill, os.getpid(), signal.SIGINT)
runpy.run_module("dawnproof", run_name="__main__", alter_sys=True)
"""

# every process of the command gets Ctrl-C again and again; its owner heeds none of them
STRUCK_WHILE_CHILDREN_START = """
import os, signal, threading, time
signal.signal(signal.SIGINT, lambda number, frame: None)
from dawnproof.workers.ahead import Ahead
from dawnproof.workers.pool import Pool
from workers.child_tasks import number_of_child, rest
def strike():
    while not done.wait(0.002):
        os.killpg(0, signal.SIGINT)
done = threading.Event()
pool = Pool(3, 3000, 60.0, 1, FIRST)
threading.Thread(target=strike).start()
try:
    rests = [pool.submit("measuring", name, rest, 0.2) for name in "abcd"]
    print(all(isinstance(one.result(60), int) for one in rests))
finally:
    done.set()
    pool.close(wait=False, reap=True)
"""

# the owner is gone before its child can ask to be told of that
LEFT_WHILE_A_CHILD_STARTS = """
import os, time
from dawnproof.workers import ahead, child
def late(*arguments):
    time.sleep(1.0)
    child.guard(*arguments)
ahead.guard = late
ahead.Ahead(os.getpid)
os._exit(130)
"""


@pytest.mark.parametrize("module", ["contextlib", "dawnproof.errors", "dawnproof.workers.child", "typer",
                                    "dawnproof.workers.pool", "dawnproof.rulebook.book"])  # fmt: skip
def test_ctrl_c_while_the_command_loads_is_quiet(module: str, tmp_path: Path) -> None:
    (tmp_path / "one.tif").write_bytes(b"II*\0")
    (tmp_path / "two.tif").write_bytes(b"II*\0")
    ran = subprocess.run([sys.executable, "-c", STRUCK_WHILE_LOADING, module, "examine", "one.tif", "two.tif"],
                         cwd=tmp_path, env=ENVIRONMENT, capture_output=True, text=True, timeout=60)  # fmt: skip
    assert (ran.returncode, ran.stdout, ran.stderr) == (130, "", "")


def test_ctrl_c_while_the_command_ends_is_quiet(tmp_path: Path) -> None:
    ran = subprocess.run([sys.executable, "-c", STRUCK_AT_THE_END, "examine", "nowhere.tif"],
                         cwd=tmp_path, env=ENVIRONMENT, capture_output=True, text=True, timeout=60)  # fmt: skip
    assert (ran.returncode, ran.stderr) == (130, "dawnproof: no such file: nowhere.tif\n")


@pytest.mark.parametrize("first", ["None", "Ahead(number_of_child)"])
def test_ctrl_c_never_strikes_a_child_that_is_only_just_starting(first: str) -> None:
    code = STRUCK_WHILE_CHILDREN_START.replace("FIRST", first)
    ran = subprocess.run([sys.executable, "-c", code], env=ENVIRONMENT, capture_output=True, text=True, timeout=120,
                         start_new_session=True)  # fmt: skip
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "True\n", "")


def test_a_child_whose_owner_is_gone_before_it_began_ends() -> None:
    """It holds the command's output open: whoever reads that would wait for ever."""
    with subprocess.Popen([sys.executable, "-c", LEFT_WHILE_A_CHILD_STARTS], env=ENVIRONMENT, stdout=subprocess.PIPE,
                          start_new_session=True) as ran:  # fmt: skip
        try:
            ran.communicate(timeout=30)
        finally:
            with suppress(ProcessLookupError):
                os.killpg(ran.pid, signal.SIGKILL)
    assert ran.returncode == 130
