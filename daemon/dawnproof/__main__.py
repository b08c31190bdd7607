"""`python -m dawnproof` and the console command."""


def main() -> None:
    """Run the command line."""
    from .cli import app

    app()


if __name__ == "__main__":
    main()
