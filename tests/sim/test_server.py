"""The bench over TCP: the same bytes, several clients, clean ends."""

import socket

import pytest
import pyvisa

from halfpower.sim import RealClock, load_scene, open_visa, serve

SEQUENCE = [
    ("generator", "*IDN?"),
    ("generator", "FREQ 6.7 MHZ;:VOLT 0.2;:OUTP ON;:FREQ?"),
    ("generator", "NONSENSE;:SYST:ERR?"),
    ("generator", "SYST:ERR?"),
    ("detector", "CHAN1:SCAL 0.5;:MEAS:VRMS?"),
    ("detector", "MEAS:VRMS?"),
    ("detector", "*ESR?"),
]


def run(manager, names):
    """Send the sequence; give the answers."""
    options = {"read_termination": "\n", "write_termination": "\n", "timeout": 5000}
    resources = {r: manager.open_resource(n, **options) for r, n in names.items()}
    answers = []
    for role, message in SEQUENCE:
        if message.startswith("NONSENSE"):
            resources[role].write(message)
        else:
            answers.append(resources[role].query(message))
    for resource in resources.values():
        resource.close()
    return answers


def test_tcp_and_visa_give_the_same_bytes():
    """The same messages to the same scene and seed."""
    manager = pyvisa.ResourceManager("@py")
    with serve(load_scene("kit-coil").build(seed=3)) as served:
        over_tcp = run(manager, served.resources)
    manager.close()
    bench = load_scene("kit-coil").build(seed=3)
    manager = open_visa(bench)
    in_process = run(manager, bench.resources)
    manager.close()
    assert over_tcp == in_process


def connect(name):
    """Open a plain socket to a resource."""
    _, host, port, _ = name.split("::")
    return socket.create_connection((host, int(port)), timeout=5.0)


def query(connection, message):
    """Send a line; read a line, or to the end of the stream."""
    connection.sendall(message + b"\n")
    data = b""
    while not data.endswith(b"\n"):
        piece = connection.recv(100)
        if not piece:
            return data
        data += piece
    return data


@pytest.fixture
def served():
    """Serve a bench."""
    with serve(load_scene("kit-coil").build()) as one:
        yield one


def test_a_second_client_sees_what_the_first_has_left(served):
    """After the first was cut off in the middle of a message."""
    with connect(served.resources["generator"]) as first:
        assert query(first, b"OUTP 1;:OUTP?") == b"1\n"
        first.sendall(b"OUTP 0")  # no terminator: never carried out
    with connect(served.resources["generator"]) as second:
        assert query(second, b"OUTP?") == b"1\n"


def test_two_clients_at_once_do_not_mix_their_messages(served):
    """Half a message from one does not begin the other's."""
    name = served.resources["generator"]
    with connect(name) as first, connect(name) as second:
        first.sendall(b"FREQ 5E")
        assert query(second, b"FREQ?") == b"+1.00000000000E+06\n"
        assert query(first, b"6;FREQ?") == b"+5.00000000000E+06\n"


def test_a_fixed_port_is_used_and_given_back():
    """The same port twice, one after the other."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    for _ in range(2):
        with serve(load_scene("kit-coil").build(), ports={"generator": port}) as one:
            expected = f"TCPIP0::127.0.0.1::{port}::SOCKET"
            assert one.resources["generator"] == expected


def test_a_port_that_is_taken_is_an_error_and_nothing_is_left_open():
    """OSError, and the other instruments' ports are closed again."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        ports = {"detector": taken.getsockname()[1]}
        bench = load_scene("kit-coil").build()
        with pytest.raises(OSError, match="in use"), serve(bench, ports=ports):
            pass


def test_a_fault_closes_the_connection(make_bench):
    """The client reads the end of the stream; a new connection works."""
    fault = '\n[[fault]]\ninstrument = "generator"\nkind = "closed"\nat_message = 1\n'
    with serve(make_bench(more=fault)) as one:
        with connect(one.resources["generator"]) as first:
            assert query(first, b"OUTP?") == b""
        with connect(one.resources["generator"]) as second:
            assert query(second, b"OUTP?") == b"0\n"


def test_an_instrument_answers_while_another_takes_its_time(make_bench):
    """On a real clock: the output can be switched off during a long measurement."""
    clock = RealClock()
    with (
        serve(make_bench(clock=clock)) as one,
        connect(one.resources["detector"]) as scope,
        connect(one.resources["generator"]) as generator,
    ):
        scope.sendall(b"ACQ:AVER:COUN 100;:MEAS:VRMS?\n")  # half a second
        start_s = clock.now_s
        assert query(generator, b"OUTP 0;:OUTP?") == b"0\n"
        assert clock.now_s - start_s < 0.3
        assert scope.recv(100).startswith(b"+")
