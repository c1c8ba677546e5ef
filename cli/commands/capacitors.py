"""`halfpower predict capacitors`: which of those at hand suits a range of coils."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..words import (
    BenchOption,
    CapacitorLossOption,
    JsonOption,
    OverwriteOption,
    SeedOption,
)

if TYPE_CHECKING:
    from ...analysis.predict import BenchReach, Candidate, ReadingPlan
    from ...analysis.quantity import Stated
    from ...drivers.bench import BenchFile
    from ...sweeps.run import KnownCapacitor

__all__ = ["capacitors"]


def capacitors(
    *,
    have: Annotated[
        list[str],
        typer.Option(
            "--have",
            metavar="CAPACITANCE",
            help="One that is at hand, as '150pF +- 1%'; give it again for each.",
            show_default=False,
        ),
    ],
    bench: BenchOption = None,
    scene: Annotated[
        str | None,
        typer.Option(
            "--scene", metavar="SCENE", help="A simulated scene's bench instead."
        ),
    ] = None,
    seed: SeedOption = 0,
    lowest: Annotated[
        str, typer.Option("--lowest", metavar="INDUCTANCE", help="Of the range.")
    ] = "5uH",
    highest: Annotated[
        str, typer.Option("--highest", metavar="INDUCTANCE", help="Of the range.")
    ] = "50uH",
    coil_q: Annotated[
        float,
        typer.Option("--coil-q", metavar="Q", help="About what it is, by itself."),
    ] = 200.0,
    self_capacitance: Annotated[
        str | None,
        typer.Option(
            "--self-capacitance",
            metavar="CAPACITANCE",
            help="The coils' own, as '2pF +- 1pF'.",
        ),
    ] = None,
    capacitor_loss: CapacitorLossOption = None,
    n_readings: Annotated[
        int, typer.Option("--readings", metavar="N", help="About the peak.")
    ] = 60,
    noise: Annotated[
        str,
        typer.Option(
            "--noise",
            metavar="NOISE",
            help="A reading's standard deviation: a share of the peak's height, or in "
            "volts at the tank, as 0.2mV.",
        ),
    ] = "0.1%",
    json: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Say which capacitor to resonate coils of a range with, on this bench, and why.

    Nothing is driven. Exit status 4: none of them can be used.

    Example: halfpower predict capacitors --bench bench.toml --lowest 5uH
    --highest 50uH --have "47pF +- 1%" --have "150pF +- 1%"
    """
    from ...analysis.predict import choose_capacitors
    from ...analysis.quantity import parse_quantity, parse_stated
    from ...sweeps.run import KnownCapacitor
    from ..at_bench import files_read
    from ..words import check_outputs, hand_out_capacitors

    loss = None if capacitor_loss is None else parse_stated(capacitor_loss, "fraction")
    own = None if self_capacitance is None else parse_stated(self_capacitance, "F")
    known = {
        text.strip(): KnownCapacitor(capacitance_f=parse_stated(text, "F"), loss=loss)
        for text in have
    }
    read = files_read(bench, scene=scene)
    check_outputs({"--json": json}, read=read, overwrite=overwrite)
    file = _bench_file(bench, scene=scene, seed=seed)
    choice = choose_capacitors(
        [
            _candidate(file, name=name, known=one, own_f=own)
            for name, one in known.items()
        ],
        lowest_h=parse_quantity(lowest, "H"),
        highest_h=parse_quantity(highest, "H"),
        bench=_reach(file),
        plan=_plan(coil_q, n_readings=n_readings, noise=noise),
    )
    hand_out_capacitors(choice, json=json, overwrite=overwrite)
    if not choice.recommended:
        raise typer.Exit(4)


def _plan(coil_q: float, *, n_readings: int, noise: str) -> "ReadingPlan":
    from ...analysis.predict import ReadingPlan
    from ...analysis.quantity import parse_quantity

    if noise.strip().endswith("V"):
        noise_v = parse_quantity(noise, "V")
        return ReadingPlan(coil_q=coil_q, n_readings=n_readings, noise_v=noise_v)
    share = parse_quantity(noise, "fraction")
    return ReadingPlan(coil_q=coil_q, n_readings=n_readings, noise=share)


def _bench_file(bench: Path | None, *, scene: str | None, seed: int) -> "BenchFile":
    from ..at_bench import located

    with located(bench, scene=scene, seed=seed) as found:
        return found.file


def _candidate(
    file: "BenchFile", *, name: str, known: "KnownCapacitor", own_f: "Stated | None"
) -> "Candidate":
    from ...analysis.predict import Candidate
    from ...sweeps.procedures import KnownParts
    from ...sweeps.run import USUAL_SELF_CAPACITANCE, TankGuard, tank_on_bench

    KnownParts(capacitors=(known,), self_capacitance_f=own_f)  # refuses what cannot be
    tank = tank_on_bench(
        file,
        capacitor_f=known.capacitance_f,
        capacitor_loss=known.usual_loss,
        self_capacitance_f=own_f or USUAL_SELF_CAPACITANCE,
    )
    guard = TankGuard(
        tank, emf_v=file.generator.level_v, limit_v=file.limits.tank_voltage_v
    )
    return Candidate(name=name, tank=tank, tank_voltage_v=guard.predicted_v)


def _reach(file: "BenchFile") -> "BenchReach":
    from ...analysis.predict import BenchReach

    return BenchReach(
        lowest_hz=file.limits.lowest_frequency_hz,
        highest_hz=file.limits.highest_frequency_hz,
        tank_limit_v=file.limits.tank_voltage_v,
        level_v=file.generator.level_v,
        settle_s=file.generator.settle_s + file.detector.settle_s,
    )
