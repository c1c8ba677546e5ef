"""One way into an instrument: buffers, terminators, the message exchange.

IEEE 488.2 section 6: a response waits in the output queue until it is read; a new
message while one waits is -410 (Query INTERRUPTED), a read with nothing to say is
-420 (Query UNTERMINATED). A stream (a TCP socket) sends every response at once and
knows neither. What goes wrong on the way goes wrong here.
"""

from collections import deque
from dataclasses import dataclass

from .faults import Fault, FaultPlan
from .instrument import InstrumentCore

__all__ = ["Link", "LinkClosedError"]

TERMINATOR = b"\n"
HIGHEST_INPUT = 65536
OVERLOAD = b"+9.90000000E+37"
FAULT_ERROR = -300


class LinkClosedError(ConnectionError):
    """The simulated link has been closed from the instrument's side."""


@dataclass(slots=True)
class _Response:
    ready_s: float
    data: bytes
    is_whole: bool  # its end is marked


class Link:
    """A connection's buffers in front of an instrument core.

    Parameters
    ----------
    core
        The instrument.
    """

    def __init__(self, core: InstrumentCore) -> None:
        self.core = core
        self._input = bytearray()
        self._output: deque[_Response] = deque()
        self._is_closed = False

    def write(self, data: bytes, *, end: bool = False, exchange: bool = True) -> None:
        """Take bytes in and execute every message that they complete.

        Parameters
        ----------
        data
            Any piece of the stream.
        end
            The interface marked the last byte as the end of the message.
        exchange
            Obey the message exchange: unread responses are dropped with -410.

        Raises
        ------
        LinkClosedError
            The link is closed, or this message closed it.
        """
        self._check_open()
        self._input += data
        if len(self._input) > HIGHEST_INPUT:
            self._input.clear()
            self.core.status.report(-363)
            return
        *messages, rest = self._input.split(TERMINATOR)
        if end and rest:
            messages.append(rest)
            rest = bytearray()
        self._input = bytearray(rest)
        for message in messages:
            self._execute(bytes(message.rstrip(b"\r")), exchange=exchange)

    def _check_open(self) -> None:
        if self._is_closed:
            raise LinkClosedError("the link is closed")

    def reopen(self) -> None:
        """Open a link that a fault has closed, with empty buffers."""
        if self._is_closed:
            self._is_closed = False
            self.clear()

    def _execute(self, message: bytes, *, exchange: bool) -> None:
        if not message.strip():
            return
        if exchange and self._output:
            self._output.clear()
            self.core.status.report(-410)
        plan = self.core.faults
        if plan is not None:
            self._disturb(plan)
        answer = self.core.execute(message)
        if not answer:
            return
        response = _Response(self.core.clock.now_s, answer + TERMINATOR, is_whole=True)
        if plan is not None:
            fault = plan.next(self.core.clock.now_s, spoils_answer=True)
            if fault is not None and fault.kind == "silence":
                return
            if fault is not None:
                _spoil(response, fault, plan)
        self._output.append(response)

    def _disturb(self, plan: FaultPlan) -> None:
        """Let happen what comes with any message, answered or not."""
        fault = plan.next(self.core.clock.now_s, spoils_answer=False)
        if fault is None:
            return
        if fault.kind == "error":
            self.core.status.report(FAULT_ERROR, "simulated fault")
        elif fault.kind == "reset":
            self.core.power_cycle()
        else:
            self.clear()
            self._is_closed = True
            self._check_open()

    @property
    def has_response(self) -> bool:
        """Tell whether something waits to be read."""
        return bool(self._output)

    def ready_in_s(self) -> float:
        """Tell how long the oldest response will still take; 0 if it is there."""
        self._check_open()
        if not self._output:
            return 0.0
        return max(0.0, self._output[0].ready_s - self.core.clock.now_s)

    def take(self, count: int) -> tuple[bytes, bool]:
        """Take up to so many bytes of the oldest response; tell whether it ends."""
        if not self._output:
            return b"", False
        response = self._output[0]
        if len(response.data) <= count:
            self._output.popleft()
            return response.data, response.is_whole
        data, response.data = response.data[:count], response.data[count:]
        return data, False

    def unterminated(self) -> None:
        """Say that a read found nothing to say."""
        self.core.status.report(-420)

    def clear(self) -> None:
        """Do what a device clear does: empty both buffers (IEEE 488.2, 5.8)."""
        self._input.clear()
        self._output.clear()


def _spoil(response: _Response, fault: Fault, plan: FaultPlan) -> None:
    """Change a response as a fault does."""
    body = response.data[: -len(TERMINATOR)]
    if fault.kind == "late":
        response.ready_s += fault.delay_s
    elif fault.kind == "half":
        response.data, response.is_whole = body[: (len(body) + 1) // 2], False
    elif fault.kind == "garbage":
        response.data = plan.garbage(len(body)) + TERMINATOR
    elif fault.kind == "overload":
        response.data = OVERLOAD + TERMINATOR
    elif fault.kind == "terminator":
        response.data = body + b"\r"
