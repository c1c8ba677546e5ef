"""Check a bench before it is trusted: who is there, does it obey, does it see.

Every step is tried whatever became of the one before, as far as that makes sense, and
ends as a row of a table: what was looked at, what was found, what to do.
"""

import contextlib
from collections.abc import Callable, Sequence
from pathlib import Path

from ..dialects import load_detector_dialect, load_generator_dialect
from ..errors import NoValueError
from ..instruments import AmplitudeReader, LinearisedReader, OutputState, SignalSource
from .bench import Bench, Clock, Sleep
from .bench_file import BenchFile
from .check_table import CheckRow, CheckTable
from .expected import refuse_strangers
from .opening import Reach, completed, law_of, open_detector, open_generator
from .signal_check import STEP, CheckPlan, check_signal, looked_over

__all__ = ["check_bench"]

RANGE_S = 0.3  # after a change of the detector's range, while it is being checked


def check_bench(
    file: BenchFile,
    *,
    reach: Reach,
    plan: CheckPlan,
    sleep: Sleep,
    clock: Clock,
    told: Callable[[CheckRow], None],
) -> Sequence[CheckRow]:
    """Check a bench and tell row by row.

    Parameters
    ----------
    file
        The bench file's content.
    reach
        What its instruments are reached by.
    plan
        Level and frequency to drive it at.
    sleep, clock
        How to wait, and what time it is in s.
    told
        Gets every row as it is found.

    Returns
    -------
    sequence of CheckRow
        Every row; the output is off.

    Raises
    ------
    InputError
        A dialect is missing or wrong.
    DriverError
        The output could not be switched off.
    """
    file = completed(file, law=None, folder=reach.folder)
    table = CheckTable(told)
    with contextlib.ExitStack() as stack:
        generator = detector = None
        with table.row("generator answers") as found:
            generator = open_generator(file.generator, reach=reach)
            stack.callback(generator.close)
            generator.introduce()
            refuse_strangers(file, {"generator": generator.identity})
            generator.start()
            found.append(generator.identity)
        with table.row("detector answers") as found:
            detector = open_detector(file.detector, reach=reach, settle_s=RANGE_S)
            stack.callback(detector.close)
            detector.introduce()
            refuse_strangers(file, _known(generator, detector))
            detector.start()
            found.append(detector.identity)
            law = law_of(file.detector, folder=reach.folder, tell=reach.tell)
            if law is not None:
                detector = LinearisedReader(detector, law=law)
                found.append(f"linearised on {law.made:%Y-%m-%d}")
        if generator is not None and table.is_ok("generator answers"):
            _check_obeying(generator, file=file, plan=plan, table=table)
        if detector is not None and table.is_ok("detector answers"):
            _check_floor(detector, table=table)
        if generator is not None and detector is not None and table.all_ok:
            driven = file.model_copy(
                update={
                    "generator": file.generator.model_copy(
                        update={"level_v": plan.level_v}
                    )
                }
            )
            bench = Bench(
                driven, generator=generator, detector=detector, sleep=sleep, clock=clock
            )
            bench.closes(stack.pop_all())
            with bench:
                check_signal(
                    bench, generator, detector, plan=plan, clock=clock, table=table
                )
    for row in (*_missing(file), *_missing_in_dialects(file, folder=reach.folder)):
        table.add(row)
    return table.rows


def _known(generator: SignalSource | None, detector: AmplitudeReader) -> dict[str, str]:
    """Return who answers, as far as it is known."""
    known = {"detector": detector.identity}
    if generator is not None and generator.identity:
        known["generator"] = generator.identity
    return known


def _check_obeying(
    generator: SignalSource, *, file: BenchFile, plan: CheckPlan, table: CheckTable
) -> None:
    low_hz, high_hz = looked_over(file)
    with table.row("generator obeys frequency") as found:
        set_hz = [generator.set_frequency(hz) for hz in (low_hz, high_hz)]
        found.append(f"read back {', '.join(f'{hz:.9g} Hz' for hz in set_hz)}")
    with table.row("generator obeys level") as found:
        for level_v in (plan.level_v * STEP, plan.level_v):
            generator.set_emf(level_v)
        found.append(f"{plan.level_v * STEP:.4g} V and {plan.level_v:.4g} V e.m.f.")
        generator.check()
    with table.row("generator obeys output off") as found:
        generator.output_off()
        found.append(
            "it is off"
            if generator.output is OutputState.OFF
            else "told off; it cannot say whether it did"
        )


def _check_floor(detector: AmplitudeReader, *, table: CheckTable) -> None:
    with table.row("detector reads") as found:
        try:
            floor_v = detector.read().amplitude_v
            found.append(f"{floor_v:.3g} V r.m.s. before it is driven")
        except NoValueError:
            found.append("no value before it is driven, where there is nothing to read")
        detector.check()


def _missing(file: BenchFile) -> Sequence[CheckRow]:
    """Say what the bench file leaves open that a result will lean on."""
    fixture, detector = file.fixture, file.detector
    stated = {
        "[detector] input_resistance": detector.input_resistance,
        "[fixture] coupling_capacitance": fixture.coupling_capacitance,
        "[fixture] stray_capacitance": fixture.stray_capacitance,
    }
    rows = [
        CheckRow(
            what=f"doubt of {name}",
            state="missing",
            found="stated as if exact",
            do="add its limits, as '+- 10%'",
        )
        for name, value in stated.items()
        if value.u == 0.0
    ]
    limits = {"lowest_frequency_hz", "highest_frequency_hz"}
    if not limits <= file.limits.model_fields_set:
        rows.append(
            CheckRow(
                what="[limits] frequencies",
                state="missing",
                found="the generator's range is not stated",
                do="add lowest_frequency and highest_frequency",
            )
        )
    return rows


def _missing_in_dialects(file: BenchFile, *, folder: Path) -> Sequence[CheckRow]:
    """Say what an instrument cannot tell, so that nobody leans on it."""
    wants: list[tuple[str, object | None, str]] = []
    if not file.generator.is_hand:
        source = load_generator_dialect(file.generator.dialect, folder=folder)
        wants += [
            ("generator's frequency read back", source.frequency.read, "[frequency]"),
            ("generator's level read back", source.level.read, "[level]"),
            ("generator's output read back", source.output.read, "[output]"),
            ("generator's refusals", source.common.error, "[common]"),
        ]
    if not file.detector.is_hand:
        detector = load_detector_dialect(file.detector.dialect, folder=folder)
        wants.append(("detector's refusals", detector.common.error, "[common]"))
    return [
        CheckRow(
            what=what,
            state="missing",
            found="the dialect has no query for it",
            do=f"add it to {table} if the instrument has one, and watch its display",
        )
        for what, query, table in wants
        if query is None
    ]
