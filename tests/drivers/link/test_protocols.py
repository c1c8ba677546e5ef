"""HiSLIP, VXI-11 and serial lines, each against a server with no line of ours."""

import contextlib
import gc
import time
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest

from halfpower.analysis import Setting
from halfpower.drivers.errors import LinkLostError, LinkTimeoutError, TransportError
from halfpower.drivers.link import LinkSettings, open_steady_link, open_visa
from halfpower.sweeps import Span, measure_resonance

KINDS = ["hislip", "vxi11", "serial"]
NETWORK = ["hislip", "vxi11"]
SPAN = Span(lowest_hz=5e6, highest_hz=9e6)
AT = Setting(frequency_hz=6.9e6, settle_s=0.0)


@pytest.fixture
def collected() -> Iterator[None]:
    """Leave no dropped socket to a later test's warnings."""
    yield
    gc.collect()


@contextlib.contextmanager
def linked(
    resource: str, *, timeout_s: float = 0.3, settings: LinkSettings | None = None
) -> Iterator[Any]:
    """Open a steady link."""
    with open_visa("@py") as manager:
        link = open_steady_link(
            manager,
            resource=resource,
            name="generator",
            timeout_s=timeout_s,
            identity_query="*IDN?",
            settings=settings or LinkSettings(),
            sleep=lambda _: None,
        )
        try:
            yield link
        finally:
            link.close()


def measured_hz(generator: Any, detector: Any, open_over: Any, **how: Any) -> float:
    """Sweep over two servers; the resonance found, the output off again."""
    with (
        generator.serving() as one,
        detector.serving() as two,
        open_over(one, two, **how) as bench,
    ):
        found = measure_resonance(bench, SPAN)["resonant_frequency"].value
    return float(found)


@pytest.mark.parametrize("end", ["\n", "\r\n", ""])
@pytest.mark.parametrize("kind", KINDS)
def test_a_sweep_finds_the_circuit_s_resonance(
    kind: str,
    end: str,
    *,
    instruments: SimpleNamespace,
    talkers: SimpleNamespace,
    open_over: Any,
    resonance_hz: float,
) -> None:
    """Whatever ends an answer; on the network END alone does, on a wire it cannot.

    A loss of 1/Q moves the peak by the order of 1/Q**2 (Q = 119: 7e-5).
    """
    made = [getattr(talkers, kind)(one.obey) for one in vars(instruments).values()]
    for one in made:
        one.end = end or ("\r" if kind == "serial" else "")
    link = '[link]\nread_termination = "\\r"' if made[0].end == "\r" else ""
    found_hz = measured_hz(*made, open_over, link=link)
    assert found_hz == pytest.approx(resonance_hz, rel=2e-4)
    assert not instruments.source.on


def test_an_instrument_that_prefers_overlapped_answers(
    instruments: SimpleNamespace,
    talkers: SimpleNamespace,
    open_over: Any,
    resonance_hz: float,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """It is asked for one answer at a time, and standard output stays clean."""
    made = [talkers.hislip(one.obey) for one in vars(instruments).values()]
    for one in made:
        one.prefers_overlapped = True
    assert measured_hz(*made, open_over) == pytest.approx(resonance_hz, rel=2e-4)
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize("keeps_unread", [False, True])
@pytest.mark.parametrize("kind", KINDS)
def test_a_late_answer_is_not_taken_for_the_next(
    kind: str,
    *,
    keeps_unread: bool,
    instruments: SimpleNamespace,
    talkers: SimpleNamespace,
) -> None:
    """One that comes when nobody waits any more, whether or not it is dropped then."""
    talker = getattr(talkers, kind)(instruments.source.obey)
    talker.keeps_unread = keeps_unread
    with talker.serving() as resource, linked(resource) as link:
        talker.delay_s = lambda line: 0.4 * ("FREQ" in line)
        with pytest.raises(LinkTimeoutError, match="no answer in time"):
            link.query("SOURce:FREQuency:CW?", repeatable=False)
        talker.delay_s = lambda _: 0.0
        assert link.query("OUTPut:STATe?") == "0"
        assert float(link.query("SOURce:FREQuency:CW?")) == 1e6


@pytest.mark.parametrize("kind", NETWORK)
def test_a_reset_in_the_middle_is_made_good(
    kind: str,
    instruments: SimpleNamespace,
    talkers: SimpleNamespace,
    open_over: Any,
    fake: SimpleNamespace,
) -> None:
    """Power off and on: the link breaks, the settings go, the reading is right."""
    source = instruments.source
    made = [getattr(talkers, kind)(one.obey) for one in vars(instruments).values()]

    def cut(line: str) -> float:
        if line != "SOURce:FREQuency:CW?":
            return 0.0
        made[0].delay_s = lambda _: 0.0
        vars(source).update(vars(fake.Generator()))
        raise ConnectionError

    with (
        made[0].serving() as one,
        made[1].serving() as two,
        open_over(one, two, timeout="0.3s") as bench,
        bench.driven(),
    ):
        expected = bench.read(AT).amplitude_v
        made[0].delay_s = cut
        assert bench.read(AT).amplitude_v == expected
        assert source.frequency_hz == AT.frequency_hz
    assert made[0].opened == 2


@pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning")  # pyvisa-py 0.8.1
@pytest.mark.usefixtures("collected")
@pytest.mark.parametrize("kind", KINDS)
def test_a_link_that_is_cut_for_good_is_lost(
    kind: str,
    instruments: SimpleNamespace,
    talkers: SimpleNamespace,
) -> None:
    """It is said to be, with exit status 3, after the attempts to open it again."""

    def cut(_: str) -> float:
        talker.leave()
        raise ConnectionError

    talker = getattr(talkers, kind)(instruments.source.obey)
    with talker.serving() as resource, linked(resource) as link:
        talker.delay_s = cut
        with pytest.raises(LinkLostError, match="could not be opened again") as caught:
            link.query("OUTPut:STATe?")
    assert caught.value.exit_status == 3


def test_a_dead_link_is_closed_at_once(
    instruments: SimpleNamespace, talkers: SimpleNamespace
) -> None:
    """pyvisa-py's goodbye to a VXI-11 instrument waits 5 s for an answer (0.8.1)."""

    def cut(_: str) -> float:
        raise ConnectionError

    talker = talkers.vxi11(instruments.source.obey)
    with talker.serving() as resource, linked(resource, timeout_s=0.1) as link:
        talker.delay_s = cut
        with pytest.raises(LinkLostError):
            link.query("OUTPut:STATe?", repeatable=False)
        begun_s = time.monotonic()
        link.close()
        assert time.monotonic() - begun_s < 2.0


@pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning")  # pyvisa-py 0.8.1
@pytest.mark.usefixtures("collected")
@pytest.mark.parametrize("kind", NETWORK)
def test_nobody_behind_a_name_is_said_in_one_sentence(kind: str, talkers: Any) -> None:
    """A port that nobody listens on, and an instrument's name that is none."""
    gone = getattr(talkers, kind).form.format(port=1)
    with (
        pytest.raises(TransportError, match="check the resource name") as caught,
        linked(gone),
    ):
        pass
    assert "\n" not in str(caught.value)


# Serial lines ----------------------------------------------------------------------


def test_an_answer_in_pieces_is_one_answer(
    instruments: SimpleNamespace, talkers: SimpleNamespace
) -> None:
    """A slow line's bytes, one by one, all of them within the time for an answer."""
    talker = talkers.serial(instruments.source.obey)
    talker.pieces_s = 0.005
    with talker.serving() as resource, linked(resource) as link:
        assert link.query("SOURce:FREQuency:CW?") == "1.00000000000000E+06"
        assert link.troubles == 0


@pytest.mark.parametrize("termination", ["\n", "\r\n", "\r"])
def test_a_sweep_through_an_echo(
    termination: str,
    instruments: SimpleNamespace,
    talkers: SimpleNamespace,
    open_over: Any,
    resonance_hz: float,
) -> None:
    """Every command comes back before its answer, ended as it was sent."""
    made = [talkers.serial(one.obey) for one in vars(instruments).values()]
    for one in made:
        one.echo, one.end = True, termination
    ended = repr(termination).replace("'", '"')
    link = (
        f"[link]\nwrite_termination = {ended}\nread_termination = {ended}\necho = true"
    )
    found_hz = measured_hz(*made, open_over, link=link)
    assert found_hz == pytest.approx(resonance_hz, rel=2e-4)


def test_the_line_s_format_reaches_the_system(
    instruments: SimpleNamespace, talkers: SimpleNamespace
) -> None:
    """Speed, stop bits and flow control as the system has them.

    A pseudo-terminal takes neither seven bits nor parity (it drops both).
    """
    termios = pytest.importorskip("termios")
    talker = talkers.serial(instruments.source.obey)
    settings = LinkSettings(baud_rate=19200, stop_bits=2, flow_control="xon-xoff")
    with talker.serving() as resource, linked(resource, settings=settings):
        incoming, _, control, _, *speeds, _ = termios.tcgetattr(talker.slave)
    assert speeds == [termios.B19200, termios.B19200]
    assert control & termios.CSTOPB
    assert incoming & (termios.IXON | termios.IXOFF) == termios.IXON | termios.IXOFF


def test_an_instrument_may_hold_the_line(
    instruments: SimpleNamespace, talkers: SimpleNamespace
) -> None:
    """XOFF after each answer, XON a while later: waited for, and part of no answer."""
    talker = talkers.serial(instruments.source.obey)
    settings = LinkSettings(flow_control="xon-xoff")
    with talker.serving() as resource, linked(resource, settings=settings) as link:
        talker.holds_s = 0.05
        for _ in range(3):
            assert link.query("OUTPut:STATe?") == "0"
        assert link.query("SOURce:FREQuency:CW?") == "1.00000000000000E+06"
        assert link.troubles == 0
