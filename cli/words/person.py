"""The person at the bench: questions on standard error, answers from standard input."""

from ...analysis.errors import InputError
from .output import talk

__all__ = ["ask_person"]


def ask_person(question: str) -> str:
    """Put a question and return the line that is typed.

    Raises
    ------
    InputError
        Nobody is there to answer.
    """
    talk(question)
    try:
        return input()
    except EOFError as error:
        raise InputError(
            "somebody at the bench has to answer, and standard input has ended; run it "
            "at a terminal"
        ) from error
