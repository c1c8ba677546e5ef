"""One run of `halfpower lot run`: bench, records, desk and display joined."""

import platform
import sys
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from uuid import uuid4

from ...analysis.errors import HalfpowerError, InputError
from ...drivers import Bench
from ...records.base import LotState, RecordBase, open_base
from ...sweeps.lots import LotFile, LotRun, PartBench, load_lot_file
from ..at_bench import OUTPUT_FOLDER, Located, SceneAttendant, located
from ..words import (
    STANDARD_OUTPUT,
    now_utc,
    print_lines,
    show_caution,
    talk,
    write_text,
)
from .desk import CommandDesk, PersonDesk, SceneDesk
from .display import ShowLot
from .keeping import BaseKeeper, circumstances_of, resumed
from .lot_ending import lot_counts, lot_json, status_of

__all__ = ["Asked", "run_lot"]

SCENE_BASE = "lots.sqlite"
AnyDesk = PersonDesk | CommandDesk | SceneDesk


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the command line asks for, by the options' names."""

    lot: str
    bench: Path | None = None
    scene: str | None = None
    seed: int = 0
    records: str | None = None
    station: str | None = None
    present: str | None = None
    bell: bool = False
    json: str | None = None
    junit: Path | None = None
    trace: Path | None = None

    def __post_init__(self) -> None:
        """Refuse before the first part what could not be done after the last."""
        if self.scene is not None and self.present is not None:
            raise InputError(
                "on a simulated bench parts go in by themselves; leave --present out"
            )
        if self.junit is not None:
            from importlib.util import find_spec

            if find_spec("junitparser") is None:
                raise InputError(
                    "--junit needs junitparser: pip install 'halfpower[junit]'"
                )


def run_lot(asked: Asked) -> int:
    """Go through a lot and hand out its documents; return the exit status.

    Raises
    ------
    InputError, RecordError
        A file, an option or the record base cannot be used.
    DriverError, PresenterError
        The bench, or the command that presents the parts, failed.
    NoResonanceError
        The lot was stopped because part after part had none.
    KeyboardInterrupt
        With a note on what is kept.
    """
    lot = _lot_file(asked)
    with (
        located(asked.bench, scene=asked.scene, seed=asked.seed) as found,
        _base(asked) as base,
    ):
        desk = _desk(asked, lot, found)
        found.lamp.what = f"lot {lot.lot.name}"
        show_caution()
        with found.opened(trace=asked.trace) as bench:
            stopped = _go(asked, lot, bench, base=base, desk=desk, found=found)
        return _hand_out(asked, lot, base, stopped=stopped)


def _lot_file(asked: Asked) -> LotFile:
    path = Path(asked.lot)
    bundled = Path(str(resources.files(__package__))) / f"{asked.lot}.toml"
    if not path.is_file() and path.name == asked.lot and bundled.is_file():
        path = bundled
    lot = load_lot_file(path)
    if asked.scene is None:
        return lot
    # What was simulated must not pass for a lot of real parts.
    name = f"{lot.lot.name} (simulated: {asked.scene}, seed {asked.seed})"
    return lot.model_copy(update={"lot": lot.lot.model_copy(update={"name": name})})


def _base(asked: Asked) -> RecordBase:
    if asked.records is None and asked.scene is not None:
        return open_base(OUTPUT_FOLDER / SCENE_BASE)
    return open_base(asked.records)


def _desk(asked: Asked, lot: LotFile, found: Located) -> AnyDesk:
    if found.simulated is not None:
        attendant = SceneAttendant(found.simulated, tell=lambda _: None)
        return SceneDesk(lot, found.simulated, fitted=attendant.arrange)
    if asked.present is not None:
        return CommandDesk(asked.present, lot, tell=talk)
    return PersonDesk(lot, ask=found.ask, tell=talk, lamp=found.lamp)


def _go(
    asked: Asked,
    lot: LotFile,
    bench: Bench,
    *,
    base: RecordBase,
    desk: AnyDesk,
    found: Located,
) -> str:
    """Measure what is left; return why it was stopped, empty where it was not."""
    station = asked.station or platform.node()
    kept = resumed(base, lot, station=station, begun=now_utc())
    if kept.adopted:
        talk(f"Brought {kept.adopted} entries in from {base.side_file.path}")
    if kept.standing.done:
        talk(f"Going on after {kept.standing.done} parts of lot {lot.lot.name!r}")
    keeper = BaseKeeper(
        base,
        lot,
        station=station,
        circumstances=circumstances_of(bench),
        uuid=lambda: str(uuid4()),
    )
    run = LotRun(
        lot,
        on_bench=PartBench(
            bench=bench,
            lot=lot,
            attendant=desk,
            now=now_utc,
            sink=found.lamp,
            book=kept.book,
        ),
        desk=desk,
        keeper=keeper,
        display=ShowLot(bell=asked.bell, clock=found.clock),
        standing=kept.standing,
        checks=kept.checks,
    )
    try:
        run.run()
    except (KeyboardInterrupt, HalfpowerError) as error:
        error.add_note(
            f"{keeper.kept} parts of this run are kept in {base.where}; run the same "
            "command again to go on"
        )
        raise
    state = LotState.STOPPED if run.stopped else LotState.FINISHED
    base.set_state(lot.lot.name, state, at=now_utc())
    return run.stopped


def _hand_out(asked: Asked, lot: LotFile, base: RecordBase, *, stopped: str) -> int:
    name = lot.lot.name
    row, parts = base.lot(name), list(base.parts(name))
    document = None
    if asked.json is not None:
        document = lot_json(lot, row, parts=parts, checks=base.checks(name))
    if asked.json == STANDARD_OUTPUT:
        sys.stdout.write(document or "")
        sys.stdout.flush()
    else:
        counts = lot_counts(parts)
        print_lines([f"Lot {name}: {counts}{'; ' if stopped else ''}{stopped}"])
    if asked.json not in {None, STANDARD_OUTPUT}:
        write_text(Path(str(asked.json)), document or "")
    if asked.junit is not None:
        from ...reports.lot import junit_xml

        write_text(asked.junit, junit_xml(parts, name=name))
    return status_of(parts, complete=not stopped)
