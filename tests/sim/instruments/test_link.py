"""Buffers in front of an instrument, and everything that goes wrong there."""

import pytest

from halfpower.sim.instruments import Link, LinkClosedError


@pytest.fixture
def link_with(make_bench):
    """Give a link to the detector of a bench with these faults, and its clock."""

    def make(**faults):
        lines = "".join(f"{key} = {value!r}\n" for key, value in faults.items())
        fault = f'\n[[fault]]\ninstrument = "detector"\n{lines}' if faults else ""

        bench = make_bench(more=fault)
        return Link(bench.instruments["detector"]), bench.clock

    return make


def ask(link, message=b"CHAN1:SCAL?\n"):
    """Send a message; take the answer."""
    link.write(message)
    return link.take(1000)


GOOD = b"+1.00000000E-01\n"


def test_a_message_may_come_in_pieces_and_two_in_one(link_with):
    """Only the terminator counts."""
    link, _ = link_with()
    link.write(b"CHAN1:SC")
    link.write(b"AL?")
    assert not link.has_response
    link.write(b"\r\nCHAN1:SCAL?\n", exchange=False)
    assert link.take(1000) == (GOOD, True)
    assert link.take(1000) == (GOOD, True)


def test_a_response_can_be_taken_in_pieces(link_with):
    """The end mark comes with the last byte."""
    link, _ = link_with()
    link.write(b"CHAN1:SCAL?\n")
    assert link.take(4) == (b"+1.0", False)
    assert link.take(1000) == (GOOD[4:], True)
    assert link.take(1) == (b"", False)


def test_an_endless_message_overruns_the_buffer(link_with):
    """-363, and the next message is heard."""
    link, _ = link_with()
    link.write(b"*CLS\n")
    link.write(b"x" * 70_000)
    link.write(b"SYST:ERR?\n")
    assert link.take(1000)[0].startswith(b"-363")


def test_silence_swallows_one_answer(link_with):
    """The second message's answer, and no other."""
    link, _ = link_with(kind="silence", at_message=2)
    assert [ask(link)[0] for _ in range(3)] == [GOOD, b"", GOOD]


def test_a_late_answer_is_there_when_its_time_has_come(link_with):
    """Not before."""
    link, clock = link_with(kind="late", at_message=1, delay_s=7.0)
    link.write(b"CHAN1:SCAL?\n")
    assert link.ready_in_s() == 7.0
    clock.sleep(7.0)
    assert link.ready_in_s() == 0.0


def test_half_an_answer_has_no_end(link_with):
    """Neither a terminator nor an end mark."""
    link, _ = link_with(kind="half", at_message=1)
    assert ask(link) == (b"+1.00000", False)


def test_garbage_is_not_ascii(link_with):
    """As long as the answer, every byte beyond 127."""
    link, _ = link_with(kind="garbage", at_message=1)
    data, end = ask(link)
    assert len(data) == len(GOOD)
    assert min(data[:-1]) > 127
    assert end


@pytest.mark.parametrize(
    ("kind", "answer"),
    [("overload", b"+9.90000000E+37\n"), ("terminator", b"+1.00000000E-01\r")],
)
def test_an_answer_is_replaced(link_with, kind, answer):
    """By infinity, or with a carriage return for its end."""
    link, _ = link_with(kind=kind, at_message=1)
    assert ask(link) == (answer, True)


def test_an_error_appears_in_the_queue(link_with):
    """-300, with the message that it came with carried out."""
    link, _ = link_with(kind="error", at_message=3)
    link.write(b"*CLS\n")
    link.write(b"CHAN1:SCAL 0.5\n")
    assert ask(link, b"SYST:ERR?\n")[0].startswith(b"-300")
    assert ask(link)[0] == b"+5.00000000E-01\n"


def test_settings_are_lost_at_their_time(link_with):
    """As after a moment without mains: reset, and the power-on bit."""
    link, clock = link_with(kind="reset", at_s=10.0)
    link.write(b"CHAN1:SCAL 0.5;:*CLS\n")
    assert ask(link)[0] == b"+5.00000000E-01\n"
    clock.sleep(10.0)
    assert ask(link)[0] == GOOD
    assert ask(link, b"*ESR?\n")[0] == b"128\n"


def test_a_closed_link_stays_closed_until_it_is_opened_again(link_with):
    """Writing and waiting both fail."""
    link, _ = link_with(kind="closed", at_message=2)
    assert ask(link)[0] == GOOD
    for attempt in (lambda: ask(link), lambda: ask(link), link.ready_in_s):
        with pytest.raises(LinkClosedError):
            attempt()
    link.reopen()
    assert ask(link)[0] == GOOD
