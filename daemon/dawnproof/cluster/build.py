"""Which Dawnproof this is, so exactly that two computers cannot take two for one: a checkout that was brought up to
date on one of them alone has the same version still."""

from __future__ import annotations

import hashlib
from pathlib import Path

from .. import __version__

SHOWN = 8  # letters of the digest


def build_of(package: Path, version: str) -> str:
    """The version, and the digest of all source below this folder."""
    digest = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        digest.update(path.relative_to(package).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return f"{version} ({digest.hexdigest()[:SHOWN]})"


BUILD = build_of(Path(__file__).resolve().parents[1], __version__)
