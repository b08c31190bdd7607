"""The units: nothing for systemd to complain of, and little that the daemon could touch beside its studio."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

UNITS = Path(__file__).resolve().parent.parent / "systemd"
MOST_EXPOSURE = 1.5


@pytest.fixture
def analyze(tmp_path: Path) -> str:
    found = shutil.which("systemd-analyze")
    if found is None:
        pytest.skip("systemd-analyze is not installed: the units cannot be looked at")
    return found


def on_this_machine(unit: Path, folder: Path) -> Path:
    """The unit with a program that exists in place of the one a studio installs."""
    program = shutil.which("true") or "/bin/true"
    lines = [f"ExecStart={program} watch %f" if line.startswith("ExecStart=") else line
             for line in unit.read_text("utf-8").splitlines()]  # fmt: skip
    folder.mkdir(exist_ok=True)
    copied = folder / unit.name
    copied.write_text("\n".join(lines) + "\n", "utf-8")
    return copied


def run(*command: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command, capture_output=True, text=True, check=False, timeout=60, env=os.environ | environment
    )


@pytest.mark.parametrize("unit", ["dawnproof@.service", "user/dawnproof@.service"])
def test_systemd_understands_every_line(unit: str, analyze: str, tmp_path: Path) -> None:
    """A misspelt line is only printed, the exit code stays 0: nothing at all may be printed."""
    copied = on_this_machine(UNITS / unit, tmp_path / "units")
    runtime = tmp_path / "runtime"
    runtime.mkdir(mode=0o700)
    user = ["--user"] if unit.startswith("user/") else []
    done = run(analyze, *user, "verify", "--man=no", str(copied), XDG_RUNTIME_DIR=str(runtime))
    assert done.stdout + done.stderr == ""
    assert done.returncode == 0


def test_a_misspelt_line_would_be_seen(analyze: str, tmp_path: Path) -> None:
    copied = on_this_machine(UNITS / "dawnproof@.service", tmp_path / "units")
    copied.write_text(copied.read_text("utf-8").replace("ProtectSystem=", "ProtectSystm="), "utf-8")
    done = run(analyze, "verify", "--man=no", str(copied))
    assert "ProtectSystm" in done.stdout + done.stderr


def test_little_is_exposed(analyze: str, tmp_path: Path) -> None:
    copied = on_this_machine(UNITS / "dawnproof@.service", tmp_path / "units")
    done = run(analyze, "security", "--offline=true", "--no-pager", str(copied))
    line = next((line for line in done.stdout.splitlines() if "Overall exposure level" in line), "")
    if not line:
        pytest.skip(f"this systemd-analyze does not look at units offline: {(done.stderr or done.stdout)[-200:]}")
    exposure = float(line.split(":")[-1].split()[0])
    print(f"exposure {exposure}")
    assert exposure <= MOST_EXPOSURE


@pytest.mark.parametrize("unit", ["dawnproof@.service", "user/dawnproof@.service"])
def test_the_daemon_gets_the_time_it_needs(unit: str) -> None:
    text = (UNITS / unit).read_text("utf-8")
    assert "Type=notify" in text
    assert "KillMode=mixed" in text
    assert "watch --plain %f" in text
    assert "TimeoutStopSec=20" in text.splitlines()
    assert "StartLimitIntervalSec=0" in text.splitlines(), "a night of failed starts must not end it for good"
