"""Words on a terminal: arguments in, progress and results out."""

__all__ = ["main"]


def main() -> None:
    """Run the command line and leave with its exit status."""
    from .process import run_process

    run_process(_command_line)


def _command_line() -> None:
    from .app import app

    app()
