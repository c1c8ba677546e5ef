"""Words on a terminal: arguments in, progress and results out."""

__all__ = ["main"]


def main() -> None:
    """Run the command line and leave with its exit status."""
    from .app import app
    from .words import run_process

    run_process(app)
