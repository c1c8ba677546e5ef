"""The errors that the simulated bench raises on purpose.

``SceneError`` is a ``ValueError``: this folder stands apart from the others, so
that it can be used without them, and has no root error of its own.
"""

__all__ = ["SceneError"]


class SceneError(ValueError):
    """A scene or fixture file that cannot be used.

    Parameters
    ----------
    message
        One sentence: what is wrong and what would be right.
    path
        The file's path or the bundled scene's name.
    line
        Line of the first mistake, from 1; None where no line can be given.
    problems
        Every mistake found, one sentence each, in the order of the lines.
    """

    def __init__(
        self,
        message: str,
        *,
        path: str,
        line: int | None = None,
        problems: tuple[str, ...] = (),
    ) -> None:
        where = path if line is None else f"{path}, line {line}"
        super().__init__(f"{where}: {message}")
        self.path = path
        self.line = line
        self.problems = problems or (message,)
