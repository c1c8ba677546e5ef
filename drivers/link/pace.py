"""Find out whether an instrument drops commands that come straight after others.

Some older ones do: they are busy with the last command, and what arrives meanwhile is
gone, without an error. What gives it away is that the same commands are taken after a
rest. A line that loses something now and then does not pass for that: it would have to
lose something three times running, and nothing in the rests between.
"""

from collections.abc import Callable

from ..errors import AnswerLostError, LinkTimeoutError, ReplyError, TooEarlyError
from .visa import Link

__all__ = ["PAUSES_S", "see_pace", "too_early"]

PAUSES_S = (0.05, 0.1, 0.2)
SURE = 2  # times that a rest must help, and its lack harm


def too_early(name: str, pause_s: float) -> TooEarlyError:
    """Say that an instrument drops commands, and which rest cures it, in s."""
    return TooEarlyError(
        f"{name} drops a command that comes straight after another one, and takes it "
        f"after a rest; set pause_s = {pause_s:g} under [link] in its dialect",
        pause_s=pause_s,
    )


def see_pace(
    link: Link, *, settings: tuple[str, str], read: str, taken: Callable[[str], bool]
) -> None:
    """See that a setting straight after another is taken, and the question after it.

    Parameters
    ----------
    link
        The instrument's link.
    settings
        Two commands that set one quantity to different values.
    read
        The question for it.
    taken
        Whether its answer is the second of them (raises `ReplyError` where it is no
        answer).

    Raises
    ------
    TooEarlyError
        It needs a rest between commands, which the sentence names.
    TransportError
        The link is lost.
    """

    def takes(pause_s: float) -> bool:
        with link.paced(pause_s):
            for setting in settings:
                link.write(setting)
            try:
                return taken(link.query(read, repeatable=False))
            except LinkTimeoutError:
                return False
            except (AnswerLostError, ReplyError):
                return True  # a spoilt answer says nothing of the pace

    if takes(0.0):
        return
    cure_s = next((pause_s for pause_s in PAUSES_S if takes(pause_s)), None)
    if cure_s is None:
        return  # something else is amiss, which whoever sets it finds
    if not any(takes(0.0) or not takes(cure_s) for _ in range(SURE)):
        raise too_early(link.name, cure_s)
