"""One move in a process of its own, so that it can be killed at any system call.

python moving_child.py SOURCE TARGET SHA256
"""

from __future__ import annotations

import sys
from pathlib import Path

from dawnproof.storage.moves import move

move(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3])
