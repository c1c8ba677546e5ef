"""The same measurement through pyvisa's simulated library and through a real wire."""

from pathlib import Path

from halfpower.analysis import parse_stated
from halfpower.cli.at_bench import bundled_bench_file
from halfpower.drivers import load_bench_file, open_bench
from halfpower.records import to_json
from halfpower.sim import load_scene, open_visa, serve
from halfpower.sweeps import KnownCapacitor, KnownParts, Span, measure_coil

SPAN = Span(lowest_hz=4e6, highest_hz=10e6)
KNOWN = KnownParts(
    capacitors=(KnownCapacitor(capacitance_f=parse_stated("150pF +- 1%", "F")),)
)


def served_bench_file(folder: Path, resources: dict[str, str]) -> Path:
    """Write the scene's bench file with other resource names."""
    scene = load_scene("kit-coil").build(seed=7)
    text = bundled_bench_file("kit-coil").read_text(encoding="utf-8")
    for name, resource in resources.items():
        text = text.replace(scene.resources[name], resource)
    path = folder / "bench.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_in_process_and_over_tcp_give_the_same_bytes(tmp_path: Path) -> None:
    """One seed, one result document, whether bytes go by a call or by a socket.

    The scene's own clock serves both, so that waiting costs no time and is the same.
    """
    over_tcp = load_scene("kit-coil").build(seed=7)
    with serve(over_tcp) as served:
        resources = dict(served.resources)
        file = load_bench_file(served_bench_file(tmp_path, resources))
        with open_bench(
            file,
            sleep=over_tcp.clock.sleep,
            clock=lambda: over_tcp.clock.now_s,
        ) as bench:
            by_wire = to_json(measure_coil(bench, SPAN, known=KNOWN))

    in_process = load_scene("kit-coil").build(seed=7)
    manager = open_visa(in_process, resources)
    with open_bench(
        file,
        manager=manager,
        sleep=in_process.clock.sleep,
        clock=lambda: in_process.clock.now_s,
    ) as bench:
        by_call = to_json(measure_coil(bench, SPAN, known=KNOWN))
    manager.close()
    assert by_wire == by_call
