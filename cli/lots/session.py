"""One run of `halfpower lot run`: bench, records, desk and display joined."""

import os
import platform
import shlex
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from uuid import uuid4

from ...analysis.errors import HalfpowerError, InputError
from ...analysis.given_text import usable_label
from ...analysis.lots import Verdict
from ...drivers import Bench
from ...records import write_whole
from ...records.base import Adopted, LotState, PartRow, RecordBase, open_base
from ...sweeps.lots import LotFile, LotRun, PartBench, Standing, load_lot_file
from ..at_bench import OUTPUT_FOLDER, Located, SceneAttendant, files_read, located
from ..words import (
    STANDARD_OUTPUT,
    check_outputs,
    now_utc,
    print_lines,
    show_caution,
    talk,
    write_document,
)
from .base_option import base_files
from .desk import CommandDesk, PersonDesk, SceneDesk
from .display import ShowLot
from .keeping import BaseKeeper, circumstances_of, resumed
from .lot_ending import lot_counts, lot_json, status_of

__all__ = ["Asked", "run_lot"]

SCENE_BASE = "lots.sqlite"
MOST_AGAIN = 8  # labels in the command that the ending shows
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
    again: tuple[str, ...] = ()
    bell: bool = False
    json: str | None = None
    junit: Path | None = None
    trace: Path | None = None
    overwrite: bool = False

    def __post_init__(self) -> None:
        """Refuse before the first part what could not be done after the last."""
        if self.scene is not None and self.present is not None:
            raise InputError(
                "on a simulated bench parts go in by themselves; leave --present out"
            )
        usable_label(self.station or "", what="--station")
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
    check_outputs(
        {"--json": asked.json, "--junit": asked.junit, "--trace": asked.trace},
        read={
            "the lot file": asked.lot,
            **files_read(asked.bench, scene=asked.scene),
            **base_files(_base_path(asked)),
        },
        overwrite=asked.overwrite,
    )
    name, station = lot.lot.name, asked.station or platform.node()
    who = f"process {os.getpid()} on {platform.node()}, station {station}"
    with (
        located(asked.bench, scene=asked.scene, seed=asked.seed) as found,
        _base(asked) as base,
        base.hold_lot(name, station=station, who=who) as take,
    ):
        talk(f"Keeping lot {name!r} in {base.where}")
        desk = _desk(asked, lot, found)
        found.lamp.what = f"lot {lot.lot.name}"
        show_caution()
        try:
            with found.opened(trace=asked.trace) as bench:
                keeper = BaseKeeper(
                    base,
                    lot,
                    station=station,
                    circumstances=circumstances_of(bench),
                    uuid=lambda: str(uuid4()),
                    take=take,
                )
                stopped = _go(asked, lot, bench, keeper=keeper, desk=desk, found=found)
        except KeyboardInterrupt as error:
            _hand_out_so_far(asked, lot, base, error=error)
            raise
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


def _base_path(asked: Asked) -> str | None:
    if asked.records is None and asked.scene is not None:
        return str(OUTPUT_FOLDER / SCENE_BASE)
    return asked.records


def _base(asked: Asked) -> RecordBase:
    return open_base(_base_path(asked))


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
    keeper: BaseKeeper,
    desk: AnyDesk,
    found: Located,
) -> str:
    """Measure what is left; return why it was stopped, empty where it was not."""
    base = keeper.base
    kept = resumed(base, lot, station=keeper.station, begun=now_utc())
    for sentence in _adopted_in_words(kept.adopted):
        talk(sentence)
    if kept.standing.done:
        talk(f"Going on after {kept.standing.done} parts of lot {lot.lot.name!r}")
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
        again=_positions_again(asked.again, kept.standing, name=lot.lot.name),
    )
    try:
        run.run()
    except (KeyboardInterrupt, HalfpowerError) as error:
        error.add_note(
            f"{keeper.kept} parts of this run are kept in {base.where}; run the same "
            "command again to go on"
        )
        raise
    if not run.elsewhere:  # else the other bench says so
        state = LotState.STOPPED if run.stopped else LotState.FINISHED
        base.set_state(lot.lot.name, state, at=now_utc())
    return run.stopped


def _hand_out_so_far(
    asked: Asked, lot: LotFile, base: RecordBase, *, error: KeyboardInterrupt
) -> None:
    """Write an interrupted lot's document, which says that it is not complete."""
    try:
        begun = lot.lot.name in {row.name for row in base.lots()}
        if asked.json is not None and begun:
            _write_json(asked, lot, base, asked.json)
    except HalfpowerError as failure:
        error.add_note(str(failure))
    if asked.junit is not None:
        error.add_note("--junit not written")


def _write_json(asked: Asked, lot: LotFile, base: RecordBase, target: str) -> None:
    name = lot.lot.name
    parts, checks = list(base.parts(name)), base.checks(name)
    text = lot_json(lot, base.lot(name), parts=parts, checks=checks)
    write_document(text, target, overwrite=asked.overwrite)


def _adopted_in_words(adopted: Adopted | None) -> Iterator[str]:
    if adopted is None:
        return
    if adopted.stored:
        yield f"Brought {adopted.stored} entries in from {adopted.path}"
    for line, why in adopted.refused:
        yield f"! line {line} of {adopted.path} was not brought in: {why}"
    for where, n in adopted.left.items():
        yield (
            f"! {n} entries in {adopted.path} are for the base {where} and left alone: "
            "`halfpower records adopt` with that base brings them in"
        )


def _positions_again(
    labels: Sequence[str], standing: Standing, *, name: str
) -> tuple[int, ...]:
    """Find the parts that are to be measured again."""
    known = {
        label: position
        for position, label in standing.labels.items()
        if not standing.is_open(position)
    }
    for label in labels:
        if label not in known:
            raise InputError(
                f"lot {name!r} has no part {label!r} to measure again; `halfpower lot "
                "show` lists its parts"
            )
    return tuple(dict.fromkeys(known[label] for label in labels))


def _again_in_words(
    asked: Asked, parts: Sequence[PartRow], *, where: str
) -> Iterator[str]:
    """Say how to measure again what is suspect, skipped or unmeasured."""
    again = {Verdict.SKIPPED, Verdict.UNMEASURED}
    labels = [one.label for one in parts if one.suspect or one.verdict in again]
    if not labels:
        return
    words = ["halfpower", "lot", "run", asked.lot]
    words += _option("--bench", asked.bench) + _option("--scene", asked.scene)
    words += ["--seed", str(asked.seed)] if asked.scene else []
    words += ["--records", where, *_option("--station", asked.station)]
    words += _option("--present", asked.present)
    for label in labels[:MOST_AGAIN]:
        words += ["--again", label]
    more = len(labels) - MOST_AGAIN
    yield (
        "To measure again what is suspect, skipped or unmeasured: "
        f"{shlex.join(words)}{f' (and {more} more)' if more > 0 else ''}"
    )


def _option(name: str, value: object) -> list[str]:
    return [] if value is None else [name, str(value)]


def _talk_lines(lines: Iterable[str]) -> None:
    for line in lines:
        talk(line)


def _hand_out(asked: Asked, lot: LotFile, base: RecordBase, *, stopped: str) -> int:
    name = lot.lot.name
    parts = list(base.parts(name))
    say = _talk_lines if asked.json == STANDARD_OUTPUT else print_lines
    counts = lot_counts(parts)
    say([f"Lot {name}: {counts}{'; ' if stopped else ''}{stopped}"])
    say([f"Kept in {base.where}"])
    say(_again_in_words(asked, parts, where=base.where))
    if asked.junit is not None:
        from ...reports.lot import junit_xml

        xml = junit_xml(parts, name=name)
        write_whole(asked.junit, xml, overwrite=asked.overwrite)
    if asked.json is not None:
        _write_json(asked, lot, base, asked.json)
    return status_of(parts, complete=not stopped)
