"""`halfpower sim`: simulated benches, listed, shown, served over TCP."""

from pathlib import Path
from typing import Annotated

import typer

from .ending import with_exit_status
from .options import SeedOption

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


@app.command("serve")
@with_exit_status
def serve(
    scene: SceneArgument,
    seed: SeedOption = 0,
    bench_file: Annotated[
        Path | None,
        typer.Option(
            "--bench-file",
            metavar="FILE",
            help="Write a bench file that reaches the served instruments.",
        ),
    ] = None,
) -> None:
    """Serve a scene's instruments on loopback TCP ports until Ctrl-C.

    Example: halfpower sim serve kit-coil --bench-file served.toml
    """
    import threading

    from ..analysis.errors import InputError
    from ..sim import RealClock, SceneError, load_scene
    from ..sim import serve as serve_bench
    from .on_bench import bundled_bench_file
    from .output import talk

    try:
        bench = load_scene(scene).build(seed=seed, clock=RealClock())
    except SceneError as error:
        raise InputError(str(error)) from error
    with serve_bench(bench) as served:
        for name, resource in served.resources.items():
            print(f"{name} {resource}", flush=True)  # noqa: T201 - data, on standard output
        if bench_file is not None:
            text = bundled_bench_file(scene).read_text(encoding="utf-8")
            for name, resource in served.resources.items():
                text = text.replace(bench.resources[name], resource)
            bench_file.write_text(text, encoding="utf-8")
            talk(f"Wrote {bench_file}")
        talk("Serving until Ctrl-C")
        threading.Event().wait()
