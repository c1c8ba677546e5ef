"""The bench through VISA: names, waiting, ends of messages, independence."""

import random
import time

import pytest
import pyvisa

from halfpower.sim import load_scene, open_visa
from halfpower.sim.visa import BenchDevice


@pytest.fixture
def opened(make_bench):
    """Open benches through VISA, and close them in the end."""
    managers = []

    def make(resources=None, **scene):
        bench = make_bench(**scene)
        manager = open_visa(bench, resources)
        managers.append(manager)
        return bench, manager

    yield make
    for manager in managers:
        manager.close()


def test_the_bench_is_found_under_its_canonical_names(opened):
    """list_resources tells them, open_resource takes them."""
    bench, manager = opened()
    assert set(manager.list_resources()) == set(bench.resources.values())
    for role, name in bench.resources.items():
        resource = manager.open_resource(name)
        assert resource.query("*IDN?").startswith("HALFPOWER SIM,"), role


@pytest.mark.parametrize(
    "name",
    [
        "GPIB0::7::INSTR",
        "ASRL3::INSTR",
        "USB0::0x1234::0x5678::A1::0::INSTR",
        "TCPIP0::192.0.2.77::5025::SOCKET",
    ],
)
def test_every_kind_of_interface_carries_a_query(opened, name):
    """With the termination that the interface needs."""
    _, manager = opened({"generator": name})
    resource = manager.open_resource(
        name, read_termination="\n", write_termination="\n"
    )
    assert resource.query("OUTP?") == "0"
    assert resource.query("OUTP?") == "0"


def test_an_unknown_role_is_refused(make_bench):
    """A name for an instrument that is not there."""
    with pytest.raises(KeyError):
        open_visa(make_bench(), {"plotter": "GPIB0::5::INSTR"})


def test_a_timeout_takes_the_benchs_time_and_no_other(opened):
    """A minute on the scene's clock, and -420 in the queue."""
    bench, manager = opened()
    resource = manager.open_resource(bench.resources["generator"])
    resource.write("*CLS")
    resource.timeout = 60_000
    start = time.monotonic()
    with pytest.raises(pyvisa.VisaIOError) as caught:
        resource.read()
    assert caught.value.error_code == pyvisa.constants.StatusCode.error_timeout
    assert bench.clock.now_s == pytest.approx(60.0)
    assert time.monotonic() - start < 5.0
    assert resource.query("SYST:ERR?").startswith("-420")


LATE = '\n[[fault]]\ninstrument = "detector"\nkind = "late"\nat_message = 1\n'


def test_a_late_answer_times_out_and_is_still_there_later(opened):
    """Thirty seconds late: the first read gives up, the second gets it."""
    bench, manager = opened(more=LATE)
    resource = manager.open_resource(bench.resources["detector"])
    resource.timeout = 2_000
    resource.write("CHAN1:SCAL?")
    with pytest.raises(pyvisa.VisaIOError):
        resource.read()
    bench.clock.sleep(29.0)
    assert resource.read().strip() == "+1.00000000E-01"


def test_a_closed_link_is_an_error_of_its_own_until_it_is_reopened(opened):
    """Connection lost, for reads and for writes; opening again mends it."""
    fault = '\n[[fault]]\ninstrument = "detector"\nkind = "closed"\nat_message = 1\n'
    bench, manager = opened(more=fault)
    resource = manager.open_resource(bench.resources["detector"])
    lost = pyvisa.constants.StatusCode.error_connection_lost
    for action in (lambda: resource.write("*CLS"), resource.read):
        with pytest.raises(pyvisa.VisaIOError) as caught:
            action()
        assert caught.value.error_code == lost
    again = manager.open_resource(bench.resources["detector"])
    assert again.query("*OPC?").strip() == "1"


def test_half_an_answer_times_out(opened):
    """What came is not taken for a whole answer."""
    fault = '\n[[fault]]\ninstrument = "detector"\nkind = "half"\nat_message = 1\n'
    bench, manager = opened(more=fault)
    resource = manager.open_resource(bench.resources["detector"])
    with pytest.raises(pyvisa.VisaIOError):
        resource.query("CHAN1:SCAL?")


def test_clearing_and_polling_work(opened):
    """A viClear drops the answer, viReadSTB shows it waiting."""
    bench, manager = opened()
    resource = manager.open_resource(bench.resources["generator"])
    resource.write("*CLS")
    resource.write("OUTP?")
    assert resource.read_stb() == 16
    resource.clear()
    assert resource.read_stb() == 0
    assert resource.query("SYST:ERR?").strip() == '0,"No error"'


def test_reading_by_the_byte_works(opened):
    """read_bytes with a count less than the answer."""
    bench, manager = opened()
    resource = manager.open_resource(bench.resources["generator"])
    resource.write("FREQ?")
    assert resource.read_bytes(3) == b"+1."
    assert resource.read().startswith("0000000")


def test_two_benches_share_nothing(opened):
    """A setting on one is not on the other, nor does closing one close both."""
    bench, manager = opened()
    other_bench, other = opened()
    one = manager.open_resource(bench.resources["generator"])
    two = other.open_resource(other_bench.resources["generator"])
    one.write("FREQ 5E6")
    assert float(two.query("FREQ?")) == 1e6
    manager.close()
    assert float(two.query("FREQ?")) == 1e6


def test_two_managers_of_one_bench_see_the_same_instruments(make_bench):
    """As two computers on one bus do."""
    bench = make_bench()
    first, second = open_visa(bench), open_visa(bench)
    name = bench.resources["generator"]
    first.open_resource(name).write("FREQ 5E6")
    assert float(second.open_resource(name).query("FREQ?")) == 5e6
    first.close()
    assert float(second.open_resource(name).query("FREQ?")) == 5e6
    second.close()


def test_the_processs_random_generator_is_left_alone():
    """A client that has seeded it finds it where it was."""
    random.seed(4)
    expected = random.random()  # noqa: S311 # not for secrets
    random.seed(4)
    bench = load_scene("kit-coil").build()
    manager = open_visa(bench)
    manager.open_resource(bench.resources["detector"]).query("MEAS:VRMS?")
    manager.close()
    assert random.random() == expected  # noqa: S311 # not for secrets


def test_a_device_keeps_the_librarys_byte_by_byte_protocol(make_bench):
    """For whoever reads it as pyvisa-sim itself does: a byte and the end mark."""
    device = BenchDevice(make_bench().instruments["generator"])
    assert device.read() == (b"", False)
    device.write(b"OUTP?\n")
    assert [device.read(), device.read()] == [(b"0", False), (b"\n", True)]
