"""The bench: what was drawn, the circuit, and the instruments on it."""

import threading
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from ..circuit import (
    Component,
    Harmonic,
    Mode,
    OperatingPoint,
    SignalPath,
    natural_modes,
)
from ..instruments import (
    Clock,
    DetectorContext,
    Fault,
    FaultPlan,
    Generator,
    GeneratorTraits,
    Hand,
    InstrumentCore,
    Reach,
    build_detector,
)
from ..scene import FixtureTable, SceneTable, stream
from .assembly import Assembly
from .parts import Draw, draw_values

__all__ = ["SimulatedBench"]

VERSION = "1"
MAKER = "HALFPOWER SIM"
DETECTOR_NAMES = {
    "scope": "SCOPE",
    "power-meter": "POWER METER",
    "voltmeter": "VOLTMETER",
    "diode-probe": "DIODE PROBE",
}
HAND_RESOURCE = "TCPIP0::192.0.2.99::inst0::INSTR"


class SimulatedBench:
    """A generator, a detector, and a fixture with parts between them.

    Parameters
    ----------
    table
        What is on the bench, as a scene file says it.
    fixture
        What the parts are fitted into.
    seed
        Draws the true values and the noise.
    clock
        The bench's time.

    Attributes
    ----------
    instruments
        Role to instrument: ``generator``, ``detector``, and ``hand`` where the scene
        has something that a hand changes (a lot, a variable capacitor, a sheet).
    circuit, modes
        The circuit as it stands, and how it rings.
    """

    def __init__(
        self, table: SceneTable, *, fixture: FixtureTable, seed: int, clock: Clock
    ) -> None:
        self.table, self.fixture, self.seed, self.clock = table, fixture, seed, clock
        self._draw = Draw(seed)
        self._lock = threading.RLock()
        self.assembly = Assembly(table, fixture=fixture, draw=self._draw)
        self._room = draw_values(table.environment, "environment", self._draw)
        self.circuit = self.assembly.circuit()
        self.modes: tuple[Mode, ...] = self._modes()
        generator = table.generator
        self.path = SignalPath(
            self.circuit,
            self.modes,
            harmonics=[
                Harmonic(order, 10.0 ** (dbc / 20.0))
                for order, dbc in enumerate(generator.harmonics_dbc, start=2)
            ],
            settling_s=generator.settling_s,
            operating=self._operating(),
        )
        self.instruments: Mapping[str, InstrumentCore] = MappingProxyType(
            self._build_instruments()
        )

    @property
    def truth(self) -> Mapping[str, float]:
        """The drawn values by dotted name: what a measurement is to find."""
        return MappingProxyType(dict(self._draw.truth))

    @property
    def defect(self) -> str | None:
        """What is wrong with the lot's part that is in; None where nothing is."""
        return self.assembly.defect

    @property
    def part_count(self) -> int:
        """How many parts the scene's lot has; 0 without a lot."""
        return self.assembly.part_count

    @property
    def resources(self) -> Mapping[str, str]:
        """Role to canonical VISA resource name."""
        from pyvisa.rname import to_canonical_name

        table = self.table
        names = {
            "generator": table.generator.resource,
            "detector": table.detector.resource,
            "hand": HAND_RESOURCE,
        }
        return MappingProxyType(
            {role: to_canonical_name(names[role]) for role in self.instruments}
        )

    @property
    def slots(self) -> tuple[str, ...]:
        """The slots that the scene has parts for."""
        return self.assembly.slots

    # What a hand does --------------------------------------------------------------

    def insert_part(self, number: int) -> None:
        """Put a part of the scene's lot into the fixture, by its number from 1.

        Raises
        ------
        LookupError
            The scene has no lot.
        ValueError
            The lot has no such part.
        """
        with self._lock:
            self.assembly.insert_part(number)
            self._rebuild()

    def set_capacitor(self, setting_f: float) -> None:
        """Turn the variable capacitor's dial.

        Raises
        ------
        LookupError
            The scene has none.
        ValueError
            The setting is outside its dial.
        """
        with self._lock:
            self.assembly.set_capacitor(setting_f)
            self._rebuild()

    def set_sheet(self, state: str) -> None:
        """Put the sheet ``in``, leave ``air`` in its place, or take the plates ``out``.

        Raises
        ------
        LookupError
            The scene has no sheet.
        ValueError
            Another word.
        """
        with self._lock:
            self.assembly.set_sheet(state)
            self._rebuild()

    def connect(self, slot: str, *, place: str | None = None) -> None:
        """Put the part of a slot back in, or into another slot.

        Raises
        ------
        LookupError
            The scene has no part for it, or the fixture no such place.
        """
        with self._lock:
            self.assembly.connect(slot, connected=True, place=place)
            self._rebuild()

    def disconnect(self, slot: str) -> None:
        """Take the part of a slot out; `connect` puts the same one back.

        Raises
        ------
        LookupError
            The scene has no part for it.
        """
        with self._lock:
            self.assembly.connect(slot, connected=False)
            self._rebuild()

    # The instruments' threads meet here; none is held up by another's reading time.

    def _look(self, now_s: float, window_s: float) -> Sequence[Component]:
        with self._lock:
            return self.path.components(now_s, window_s)

    def _drive(
        self, now_s: float, *, frequency_hz: float, emf_v: float, start_emf_v: float
    ) -> None:
        with self._lock:
            self.path.drive(
                now_s, frequency_hz=frequency_hz, emf_v=emf_v, start_emf_v=start_emf_v
            )

    def _rebuild(self) -> None:
        self.circuit = self.assembly.circuit()
        self.modes = self._modes()
        self.path.replace_circuit(
            self.clock.now_s, self.circuit, self.modes, self._operating()
        )

    # Building ----------------------------------------------------------------------

    def _kelvin(self, now_s: float) -> float:
        room, table = self._room, self.table.environment
        start = room["temperature_c"] - table.reference_temperature_c
        return float(start + room["warming_k_per_s"] * now_s)

    def _operating(self) -> OperatingPoint:
        return OperatingPoint(
            self.circuit,
            self._kelvin,
            warming_k_per_s=self._room["warming_k_per_s"],
        )

    def _modes(self) -> tuple[Mode, ...]:
        operating = self._operating()
        scale = None if operating.is_fixed else operating.drifted(self.clock.now_s)
        return natural_modes(self.circuit, scale=scale)

    def _identity(self, kind: str) -> tuple[str, str, str, str]:
        return (MAKER, kind, str(self.seed), VERSION)

    def _faults(self, role: str) -> FaultPlan | None:
        tables = [t for t in self.table.fault if t.instrument == role]
        if not tables:
            return None
        faults = [
            Fault(
                kind=t.kind,
                probability=t.probability,
                at_message=t.at_message,
                at_s=t.at_s,
                delay_s=t.delay_s,
            )
            for t in tables
        ]
        return FaultPlan(faults, stream(self.seed, f"faults of the {role}"))

    def _build_instruments(self) -> dict[str, InstrumentCore]:
        instruments: dict[str, InstrumentCore] = {
            "generator": self._build_generator(),
            "detector": self._build_detector(),
        }
        kinds = {part.kind for part in self.table.parts.values()}
        slots = set(self.table.parts)
        if (
            self.part_count
            or kinds & {"variable-capacitor", "sheet"}
            or "unknown" in slots
        ):
            instruments["hand"] = self._build_hand()
        return instruments

    def _build_generator(self) -> Generator:
        table, values = self.table.generator, self.assembly.generator_values
        traits = GeneratorTraits(
            source_resistance_ohm=values["source_resistance_ohm"],
            frequency_min_hz=table.frequency_min_hz,
            frequency_max_hz=table.frequency_max_hz,
            frequency_resolution_hz=table.frequency_resolution_hz,
            reference_error=values["reference_error_ppm"] * 1e-6,
            level_min_vpp=table.level_min_vpp,
            level_max_vpp=table.level_max_vpp,
            level_step_db=table.level_step_db,
            level_error_db=values["level_error_db"],
            frequency_dip=table.frequency_dip,
            settling_s=table.settling_s,
        )
        return Generator(
            traits,
            identity=self._identity("GENERATOR"),
            clock=self.clock,
            lock=threading.RLock(),
            drive=self._drive,
            level_now_v=self.path.level_now_v,
            dialect=table.dialect,
            faults=self._faults("generator"),
        )

    def _build_detector(self) -> InstrumentCore:
        table = self.table.detector
        context = DetectorContext(
            identity=self._identity(DETECTOR_NAMES[table.kind]),
            clock=self.clock,
            lock=threading.RLock(),
            look=self._look,
            rng=stream(self.seed, "noise of the detector"),
            window_s=table.window_s,
            reading_s=table.reading_s,
            lag_s=table.lag_s,
            dialect=table.dialect,
            faults=self._faults("detector"),
        )
        return build_detector(table, self.assembly.detector_values, context)

    def _build_hand(self) -> Hand:
        assembly = self.assembly
        reach = Reach(
            insert_part=self.insert_part,
            part_number=lambda: assembly.part_number,
            part_count=lambda: assembly.part_count,
            set_capacitor=self.set_capacitor,
            capacitor_setting_f=assembly.capacitor_setting_f,
            set_sheet=self.set_sheet,
            sheet_state=assembly.sheet_now,
            connect=self.connect,
            disconnect=self.disconnect,
        )
        return Hand(
            reach,
            identity=self._identity("HAND"),
            clock=self.clock,
            lock=threading.RLock(),
        )
