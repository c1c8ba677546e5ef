"""Benches on scenes written in the test itself."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from halfpower.sim import SimulatedBench, load_scene
from halfpower.sim.instruments import Link

HEAD = 'schema = "halfpower.scene/1"\ntitle = "t"\nsetting = "s"\n'
GENERATOR = '[generator]\nresource = "TCPIP0::192.0.2.10::inst0::INSTR"\n'
SCOPE = '[detector]\nkind = "scope"\nresource = "TCPIP0::192.0.2.11::inst0::INSTR"\n'
TANK = (
    '[fixture]\ntable = "coupled-tank"\n'
    '[parts.capacitor]\nkind = "capacitor"\ncapacitance_f = 150e-12\n'
    '[parts.coil]\nkind = "coil"\ninductance_h = 3.3e-6\nresistance_ohm = 0.8\n'
)

MakeBench = Callable[..., SimulatedBench]


@pytest.fixture
def make_bench(tmp_path: Path) -> MakeBench:
    """Build a bench from pieces of a scene; a line follows its piece."""

    def make(
        *,
        generator: str = "",
        detector: str = SCOPE,
        rest: str = TANK,
        more: str = "",
        seed: int = 1,
        **build: Any,
    ) -> SimulatedBench:
        path = tmp_path / "scene.toml"
        path.write_text(
            HEAD + GENERATOR + generator + "\n" + detector + "\n" + rest + more
        )
        return load_scene(path).build(seed=seed, **build)

    return make


class Talk:
    """Speak to an instrument below VISA, a message at a time."""

    def __init__(self, bench: SimulatedBench, role: str) -> None:
        self.link = Link(bench.instruments[role])

    def __call__(self, message: str) -> str:
        """Send one message; give its answer."""
        self.link.write(message.encode(), end=True)
        return self.link.take(10_000)[0].decode("latin-1").rstrip("\n")

    def error(self) -> int:
        """Take the oldest error's number."""
        return int(self("SYST:ERR?").split(",")[0])


@pytest.fixture
def talk() -> Callable[[SimulatedBench, str], Talk]:
    """Give what speaks to one of a bench's instruments."""
    return Talk
