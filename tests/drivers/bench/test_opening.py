"""Opening: what is opened is closed again, whatever fails; whole paths on a scene."""

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from halfpower.analysis import InputError, Setting
from halfpower.cli.at_bench import bundled_bench_file
from halfpower.drivers import load_bench_file, open_bench
from halfpower.drivers.errors import (
    HalfpowerError,
    InstrumentError,
    ReplyError,
    SettingError,
    TransportError,
)
from halfpower.drivers.link.lock import InstrumentLock
from halfpower.sim import load_scene, open_visa, serve


class Resource:
    """A VISA resource over a fake link."""

    def __init__(self, wire: Any) -> None:
        self.wire = wire

    def write_raw(self, data: bytes) -> None:
        """Pass it on as a line."""
        self.wire.write(data.decode("ascii").removesuffix("\n"))

    def read_bytes(self, *_: object, **__: object) -> bytes:
        """Give the oldest answer that waits."""
        self.wire.trap()
        if not self.wire.waiting:
            raise TimeoutError
        return (self.wire.waiting.popleft() + "\n").encode("ascii")

    def close(self) -> None:
        """Pass it on."""
        self.wire.close()


class Manager:
    """A VISA resource manager over fake links."""

    def __init__(self, resources: dict[str, Any]) -> None:
        self.resources = resources
        self.opened: list[Any] = []

    def open_resource(self, resource: str, **_: Any) -> Any:
        """Give the fake link of that name."""
        if resource not in self.resources:
            raise Exception("nobody there")  # noqa: TRY002 - what a backend does
        self.opened.append(self.resources[resource])
        return Resource(self.resources[resource])


@pytest.fixture
def rig(fake: SimpleNamespace, bench_path: Path) -> SimpleNamespace:
    """Two fake instruments behind a fake manager, and a way to open them."""
    source, scope = fake.Generator(), fake.Scope()
    wires = {"GPIB::1": fake.Wire(source), "GPIB::2": fake.Wire(scope)}
    manager = Manager(wires)

    def open_it() -> Any:
        return open_bench(
            load_bench_file(bench_path),
            folder=bench_path.parent,
            manager=manager,  # type: ignore[arg-type] # as much of one as is used
            sleep=lambda _: None,
            clock=lambda: 0.0,
        )

    return SimpleNamespace(
        source=source, scope=scope, wires=wires, manager=manager, open=open_it
    )


def test_both_instruments_are_known_once_it_is_open(rig: SimpleNamespace) -> None:
    """Identities are asked for and the output is off."""
    rig.source.on = True
    with rig.open() as bench:
        assert bench.identities == dict.fromkeys(
            ("generator", "detector"), "INVENTED,FAKE,0,1"
        )
        assert rig.source.on is False


@pytest.mark.parametrize(
    ("which", "command", "answer", "error"),
    [
        ("source", "*IDN?", "", ReplyError),
        ("scope", "*IDN?", "", ReplyError),
        ("scope", "SYSTem:ERRor?", "garbage", ReplyError),
        ("scope", "CHANnel1:SCALe?", "9.91E37", ReplyError),
    ],
)
def test_a_failure_on_the_way_closes_what_was_opened(
    rig: SimpleNamespace, which: str, command: str, answer: str, error: type[Exception]
) -> None:
    """No link stays open behind an error."""
    getattr(rig, which).answers[command] = answer
    with pytest.raises(error):
        rig.open()
    assert rig.manager.opened
    assert all(wire.closed for wire in rig.manager.opened)


def test_a_refused_start_command_is_named(rig: SimpleNamespace) -> None:
    """A dialect that does not fit is found before anything is driven."""
    obey = rig.scope.own

    def refuse(command: str) -> str | None:
        if "COUPling" in command:
            rig.scope.errors.append('-113,"Undefined header"')
        return obey(command)  # type: ignore[no-any-return] # a fake's

    rig.scope.own = refuse
    with pytest.raises(InstrumentError, match=r"start commands.*-113"):
        rig.open()


def test_a_missing_detector_closes_the_generator(rig: SimpleNamespace) -> None:
    """The second that cannot be opened is named, and the first let go."""
    del rig.wires["GPIB::2"]
    with pytest.raises(TransportError, match="detector GPIB::2 cannot be opened"):
        rig.open()
    assert rig.wires["GPIB::1"].closed


def test_an_interrupt_while_opening_closes_what_was_opened(
    rig: SimpleNamespace,
) -> None:
    """Ctrl-C in the middle of the detector's start."""

    def interrupt() -> None:
        raise KeyboardInterrupt

    rig.wires["GPIB::2"].trap = interrupt
    with pytest.raises(KeyboardInterrupt):
        rig.open()
    assert all(wire.closed for wire in rig.wires.values())
    assert rig.source.on is False


def test_a_dialect_beside_the_bench_file_is_used(
    rig: SimpleNamespace, bench_path: Path
) -> None:
    """A file's name is looked up in the bench file's folder."""
    text = bench_path.read_text(encoding="utf-8")
    bench_path.write_text(text.replace("scope-vrms", "mine.toml"), encoding="utf-8")
    with pytest.raises(InputError, match=r"mine\.toml"):
        rig.open()


@pytest.mark.parametrize("scene", ["kit-coil", "kit-coil-power"])
def test_a_whole_path_reads_the_circuit_s_own_resonance(
    open_on_scene: Callable[..., Any], scene: str
) -> None:
    """On the simulated bench the response peaks where the circuit's pole says."""
    with open_on_scene(scene) as (bench, simulated), bench.driven():
        f0, q = simulated.modes[0].frequency_hz, simulated.modes[0].q
        shares = (1.0 - 0.5 / q, 1.0, 1.0 + 0.5 / q)
        low, top, high = (
            bench.read(Setting(frequency_hz=f0 * share, settle_s=1e-3)).amplitude_v
            for share in shares
        )
    # One half-bandwidth off either way is half the power; the scope's noise is 1 %.
    assert low / top == pytest.approx(0.5**0.5, rel=0.03)
    assert high / top == pytest.approx(0.5**0.5, rel=0.03)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("ASRL1::INSTR", "ASRL2::INSTR"),
        ("GPIB0::9::INSTR", "GPIB0::10::INSTR"),
        ("USB0::0x1111::0x2222::A::0::INSTR", "USB0::0x1111::0x2222::B::0::INSTR"),
        ("TCPIP0::192.0.2.7::inst0::INSTR", "TCPIP0::192.0.2.7::5025::SOCKET"),
        ("TCPIP0::192.0.2.7::hislip0::INSTR", "ASRL9::INSTR"),
    ],
)
def test_every_kind_of_resource_gives_the_same_reading(first: str, second: str) -> None:
    """Serial, GPIB, USB, VXI-11, HiSLIP, socket: the same bytes, the same amplitude."""
    simulated = load_scene("kit-coil").build(seed=1)
    f0_hz = simulated.modes[0].frequency_hz
    manager = open_visa(simulated, {"generator": first, "detector": second})
    file = load_bench_file(bundled_bench_file("kit-coil"))
    file = file.model_copy(
        update={
            "generator": file.generator.model_copy(update={"resource": first}),
            "detector": file.detector.model_copy(update={"resource": second}),
        }
    )
    with (
        open_bench(
            file,
            manager=manager,
            sleep=simulated.clock.sleep,
            clock=lambda: simulated.clock.now_s,
        ) as bench,
        bench.driven(),
    ):
        reading = bench.read(Setting(frequency_hz=f0_hz))
        assert bench.retaken == 0
    manager.close()
    # the scene's circuit at 1 V of e.m.f., without instruments: within the level's
    # 0.2 dB and the scope's 2 % and noise
    truth_v = abs(simulated.circuit.transfer([f0_hz])[0])
    assert reading.amplitude_v == pytest.approx(float(truth_v), rel=0.05)


def test_an_open_bench_holds_its_instruments_locks() -> None:
    """Opened from its own VISA; afterwards they are free (more in test_lock.py)."""
    simulated = load_scene("kit-coil").build(seed=1)
    with serve(simulated) as served:
        file = load_bench_file(bundled_bench_file("kit-coil"))
        names = {role: served.resources[role] for role in ("generator", "detector")}
        changed = {
            role: getattr(file, role).model_copy(update={"resource": name})
            for role, name in names.items()
        }
        with open_bench(file.model_copy(update=changed)):
            for role, name in names.items():
                with pytest.raises(TransportError, match=f"{role} .* this program has"):
                    InstrumentLock(name, name=role)
        for role, name in names.items():
            InstrumentLock(name, name=role).release()


def test_one_instrument_cannot_be_two_of_a_bench() -> None:
    """The same address, spelled in another way: one sentence, nothing left held."""
    simulated = load_scene("kit-coil").build(seed=1)
    with serve(simulated) as served:
        file = load_bench_file(bundled_bench_file("kit-coil"))
        name = served.resources["generator"]
        other = name.replace("127.0.0.1", "LocalHost.").replace("TCPIP0", "TCPIP")
        source = file.generator.model_copy(update={"resource": name})
        detector = file.detector.model_copy(update={"resource": other})
        twice = file.model_copy(update={"generator": source, "detector": detector})
        with pytest.raises(TransportError, match="open as generator; each instrument"):
            open_bench(twice)
        InstrumentLock(name, name="generator").release()


def test_the_simulated_output_is_off_after_the_bench(
    open_on_scene: Callable[..., Any],
) -> None:
    """A second client, after the first has gone, finds it off."""
    with (
        pytest.raises(SettingError),
        open_on_scene("kit-coil") as (bench, simulated),
        bench.driven(),
    ):
        bench.read(Setting(frequency_hz=61e6))
    manager = open_visa(simulated)
    source = manager.open_resource(simulated.resources["generator"])
    assert source.query("OUTPut:STATe?").strip() == "0"
    manager.close()


def test_every_error_of_the_drivers_is_one_of_ours() -> None:
    """One root, with an exit status that the command line knows."""
    from halfpower.drivers import errors

    for name in errors.__all__:
        one = getattr(errors, name)
        if one is not errors.Interrupted:
            assert issubclass(one, HalfpowerError)
            assert one.exit_status in {3, 4}
    assert issubclass(errors.Interrupted, KeyboardInterrupt)


@pytest.mark.parametrize(("averages", "settle_s"), [(1, 2e-3), (16, 32e-3)])
def test_a_running_average_takes_all_its_records_to_settle(
    averages: int, settle_s: float
) -> None:
    """Sixteen records have to be new ones; the wait is that of sixteen."""
    file = load_bench_file(bundled_bench_file("kit-coil"))
    detector = file.detector.model_copy(update={"settle_s": 2e-3, "averages": averages})
    simulated = load_scene("kit-coil").build(seed=1)
    manager = open_visa(simulated)
    with open_bench(
        file.model_copy(update={"detector": detector}),
        manager=manager,
        sleep=simulated.clock.sleep,
        clock=lambda: simulated.clock.now_s,
    ) as bench:
        assert bench.file.detector.settle_s == pytest.approx(settle_s)
    manager.close()
