"""Entry point of the ``spotlamp`` command and of ``python -m scripts``."""

from scripts.cli import app

__all__ = ["main"]


def main() -> None:
    """Run the command line."""
    app()


if __name__ == "__main__":
    main()
