"""`python -m dawnproof` and the console command."""

import signal
import sys
from types import FrameType

from .errors import DawnproofError


class _Interrupts:
    """Remembers Ctrl-C: an interrupt that strikes inside a library's own clean-up is swallowed there."""

    def __init__(self) -> None:
        self.came = False

    def __call__(self, number: int, frame: FrameType | None) -> None:
        self.came = True
        raise KeyboardInterrupt


def main() -> None:
    """Run the command line; an error a person can mend is one message on stderr and its exit code."""
    interrupts = _Interrupts()
    signal.signal(signal.SIGINT, interrupts)
    from .cli import app

    try:
        app()
    except DawnproofError as error:
        sys.stderr.write(f"dawnproof: {str(error).encode('utf-8', 'backslashreplace').decode()}\n")
        sys.exit(130 if interrupts.came else error.exit_code)
    except SystemExit:
        if interrupts.came:
            sys.exit(130)
        raise
    except KeyboardInterrupt:
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)


if __name__ == "__main__":
    main()
