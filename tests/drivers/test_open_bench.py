"""Opening: what is opened is closed again, whatever fails; whole paths on a scene."""

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from halfpower.analysis.errors import InputError
from halfpower.analysis.reading import Setting
from halfpower.drivers.bench import open_bench
from halfpower.drivers.bench_file import load_bench_file
from halfpower.drivers.errors import (
    HalfpowerError,
    InstrumentError,
    ReplyError,
    SettingError,
    TransportError,
)


class Manager:
    """A VISA resource manager over fake links."""

    def __init__(self, resources: dict[str, Any]) -> None:
        self.resources = resources

    def open_resource(self, resource: str, **_: Any) -> Any:
        """Give the fake link of that name."""
        if resource not in self.resources:
            raise Exception("nobody there")  # noqa: TRY002 - what a backend does
        return self.resources[resource]


@pytest.fixture
def rig(fake: SimpleNamespace, bench_path: Path) -> SimpleNamespace:
    """Two fake instruments behind a fake manager, and a way to open them."""
    source, scope = fake.Generator(), fake.Scope()
    wires = {"GPIB::1": fake.Wire(source), "GPIB::2": fake.Wire(scope)}

    def open_it() -> Any:
        return open_bench(
            load_bench_file(bench_path),
            folder=bench_path.parent,
            manager=Manager(wires),  # type: ignore[arg-type] # as much of one as is used
            sleep=lambda _: None,
            clock=lambda: 0.0,
        )

    return SimpleNamespace(source=source, scope=scope, wires=wires, open=open_it)


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
    assert all(wire.closed for wire in rig.wires.values())


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


def test_the_simulated_output_is_off_after_the_bench(
    open_on_scene: Callable[..., Any],
) -> None:
    """A second client, after the first has gone, finds it off."""
    from halfpower.sim import open_visa

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
