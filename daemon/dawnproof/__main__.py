"""`python -m dawnproof` and the console command."""

import sys

from .errors import DawnproofError


def main() -> None:
    """Run the command line; an error a person can mend is one message on stderr and its exit code."""
    from .cli import app

    try:
        app()
    except DawnproofError as error:
        sys.stderr.write(f"dawnproof: {str(error).encode('utf-8', 'backslashreplace').decode()}\n")
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)


if __name__ == "__main__":
    main()
