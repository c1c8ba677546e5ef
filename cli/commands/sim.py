"""`halfpower sim`: simulated benches, listed, shown, served over TCP."""

from pathlib import Path
from typing import Annotated

import typer

from ..at_bench import scene_built, scene_named
from ..words import OverwriteOption, SeedOption, print_lines, with_exit_status

__all__ = ["app"]

app = typer.Typer(
    help="Simulated benches: list, show, serve.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

SceneArgument = Annotated[
    str,
    typer.Argument(
        metavar="SCENE", help="A bundled scene, or a scene file.", show_default=False
    ),
]


@app.command("list")
@with_exit_status
def list_scenes() -> None:
    """List the bundled scenes, a line each.

    Example: halfpower sim list
    """
    from ...sim import scene_titles

    titles = scene_titles()
    width = max(len(name) for name in titles)
    print_lines(f"{name:{width}}  {title}" for name, title in titles.items())


@app.command("show")
@with_exit_status
def show(scene: SceneArgument) -> None:
    """Describe a scene: instruments, fixture, parts, what drifts and what fails.

    Example: halfpower sim show kit-coil
    """
    from ...sim import describe_scene

    print_lines(describe_scene(scene_named(scene)).splitlines())


@app.command("serve")
@with_exit_status
def serve(
    scene: SceneArgument,
    *,
    seed: SeedOption = 0,
    bench_file: Annotated[
        Path | None,
        typer.Option(
            "--bench-file",
            metavar="FILE",
            help="Write a bench file that reaches the served instruments.",
        ),
    ] = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Serve a scene's instruments on loopback TCP ports until Ctrl-C.

    Example: halfpower sim serve kit-coil --bench-file served.toml
    """
    import threading

    from ...records import write_whole
    from ...sim import RealClock
    from ...sim import serve as serve_bench
    from ..at_bench import bundled_bench_file
    from ..words import check_outputs, talk

    check_outputs(
        {"--bench-file": bench_file}, read={"the scene": scene}, overwrite=overwrite
    )
    bench = scene_built(scene, seed=seed, clock=RealClock())
    template = ""
    if bench_file is not None:
        template = bundled_bench_file(scene).read_text(encoding="utf-8")
    with serve_bench(bench) as served:
        for name, resource in served.resources.items():
            print(f"{name} {resource}", flush=True)  # noqa: T201 - data, on standard output
        if bench_file is not None:
            for name, resource in served.resources.items():
                template = template.replace(bench.resources[name], resource)
            write_whole(bench_file, template, overwrite=overwrite)
            talk(f"Wrote {bench_file}")
        talk("Serving until Ctrl-C")
        threading.Event().wait()
