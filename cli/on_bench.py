"""Join a bench (real or simulated), the sinks and a procedure."""

import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path

from ..analysis.errors import InputError
from ..drivers.bench import Bench, open_bench
from ..drivers.bench_file import load_bench_file
from ..records.readings_file import ReadingsFile, free_path
from ..sweeps.sink import Sinks
from .output import ShowProgress, kept, show_caution

__all__ = ["OUTPUT_FOLDER", "bundled_bench_file", "opened", "readings_kept"]

OUTPUT_FOLDER = Path("halfpower-out")


def bundled_bench_file(scene: str) -> Path:
    """Return the bench file that belongs to a bundled scene.

    Raises
    ------
    InputError
        There is none of that name.
    """
    path = Path(str(resources.files(__package__))) / "benches" / f"{scene}.toml"
    if not path.is_file():
        raise InputError(
            f"scene {scene!r} has no bench file of its own; name one with --bench"
        )
    return path


@contextmanager
def opened(bench: Path | None, *, scene: str | None, seed: int) -> Iterator[Bench]:
    """Open the bench that the options name, and leave its output off.

    Parameters
    ----------
    bench
        The bench file; with a scene it may be left out.
    scene
        A simulated scene to measure on instead of instruments.
    seed
        The scene's seed.

    Raises
    ------
    InputError
        Neither is given, or one of the files is wrong.
    DriverError
        An instrument cannot be opened or does not answer.
    """
    if bench is None and scene is None:
        raise InputError("say what is on the bench: --bench FILE (or --scene SCENE)")
    path = bench if bench is not None else bundled_bench_file(scene or "")
    file = load_bench_file(path)
    show_caution()
    with ExitStack() as stack:
        if scene is None:
            yield stack.enter_context(open_bench(file, folder=path.parent))
            return
        from ..sim import SceneError, load_scene, open_visa

        try:
            simulated = load_scene(scene).build(seed=seed)
        except SceneError as error:
            raise InputError(str(error)) from error
        manager = open_visa(simulated)
        stack.callback(manager.close)
        yield stack.enter_context(
            open_bench(
                file,
                folder=path.parent,
                manager=manager,
                sleep=simulated.clock.sleep,
                clock=lambda: simulated.clock.now_s,
            )
        )


@contextmanager
def readings_kept(
    readings: Path | None, *, bench: Bench, procedure: str, label: str
) -> Iterator[Sinks]:
    """Keep every reading in a file and show progress, for the length of a block."""
    now = datetime.now(tz=UTC)
    if readings is None:
        stem = re.sub(r"[^A-Za-z0-9_-]+", "-", label).strip("-")
        name = "-".join(
            part for part in (procedure, stem, f"{now:%Y%m%dT%H%M%S}") if part
        )
        readings = free_path(OUTPUT_FOLDER / f"{name}.csv")
    comments = {
        "procedure": procedure,
        "part": label,
        "begun": f"{now:%Y-%m-%dT%H:%M:%SZ}",
        **bench.identities,
        "fixture": bench.file.fixture.kind,
    }
    with ExitStack() as stack:
        file = ReadingsFile(readings, comments=comments)
        keep = stack.enter_context(kept(file))
        show = stack.enter_context(ShowProgress())
        yield Sinks([keep, show])
