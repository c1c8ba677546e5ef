"""The signal generator: an e.m.f. behind its source resistance.

What a client sets is the level across the load it has told the generator to assume
(50 ohm unless it says otherwise); what the bench gets is an e.m.f. The level that
really appears depends on the circuit, as on a bench.
"""

import math
import threading
from collections.abc import Callable, Sequence

from .clock import Clock
from .faults import FaultPlan
from .generator_traits import DriveFunction, GeneratorTraits
from .instrument import INFINITY, InstrumentCore
from .scpi import Command, ScpiError
from .scpi_parameters import (
    FREQUENCY,
    OHMS,
    POWER_UNITS,
    VOLTAGE_UNITS,
    parse_boolean,
    parse_choice,
    parse_number,
    spellings,
)

__all__ = ["Generator"]

LEVEL = "[LEVel]:[IMMediate]:[AMPLitude]"  # what may follow POWer or VOLTage
PEAK_TO_PEAK_PER_RMS = 2.0 * math.sqrt(2.0)
REFERENCE_OHM = 50.0  # of dBm
RESET_HZ = 1e6
RESET_VPP = 0.1  # across 50 ohm
HIGHEST_LOAD_OHM = 10e3
HIGHEST_DBM = 300.0  # beyond it the arithmetic, not the limit, would refuse
SETTLED_TIMES = 7.0  # time constants after which it calls its level settled: 0.1 %


class Generator(InstrumentCore):
    """A sine generator that understands SOURce and OUTPut.

    Parameters
    ----------
    traits
        What it can do.
    drive
        Called with the clock's time and the new setting at every change.
    level_now_v
        Asks for the e.m.f. as it stands while it settles.
    """

    def __init__(
        self,
        traits: GeneratorTraits,
        *,
        identity: tuple[str, str, str, str],
        clock: Clock,
        lock: threading.RLock,
        drive: DriveFunction,
        level_now_v: Callable[[float], float],
        dialect: str = "standard",
        faults: FaultPlan | None = None,
    ) -> None:
        self.traits = traits
        self._drive, self._level_now_v = drive, level_now_v
        self._ready_s = -math.inf
        self._frequencies = {
            "MINimum": traits.frequency_min_hz,
            "MAXimum": traits.frequency_max_hz,
            "DEFault": RESET_HZ,
        }
        super().__init__(
            identity=identity, clock=clock, lock=lock, dialect=dialect, faults=faults
        )

    def reset(self) -> None:
        """Return to 1 MHz, the smaller of 0.1 V p-p and the limit, output off."""
        self._frequency_hz = min(
            max(RESET_HZ, self.traits.frequency_min_hz), self.traits.frequency_max_hz
        )
        self._load_ohm = REFERENCE_OHM
        self._unit = "VPP"
        self._emf_v = self._emf_of(
            min(RESET_VPP, self.traits.level_max_vpp) / PEAK_TO_PEAK_PER_RMS
        )
        self._put_out_v = self._true_emf_v()
        self._is_on = False
        self._apply()

    def pending_until_s(self) -> float:
        """Tell when the level has settled."""
        return self._ready_s

    # Level arithmetic --------------------------------------------------------------

    def _load_share(self) -> float:
        """Give the level's share of the e.m.f. with the assumed load."""
        if math.isinf(self._load_ohm):
            return 1.0
        return self._load_ohm / (self._load_ohm + self.traits.source_resistance_ohm)

    def _emf_of(self, level_v: float) -> float:
        return level_v / self._load_share()

    def _limits_v(self) -> tuple[float, float]:
        """Give the range of the level across the assumed load, r.m.s."""
        r = self.traits.source_resistance_ohm
        scale = self._load_share() * (REFERENCE_OHM + r) / REFERENCE_OHM
        return tuple(  # type: ignore[return-value] # two values in, two out
            v / PEAK_TO_PEAK_PER_RMS * scale
            for v in (self.traits.level_min_vpp, self.traits.level_max_vpp)
        )

    def _to_rms(self, value: float, unit: str) -> float:
        if unit == "VPP":
            return value / PEAK_TO_PEAK_PER_RMS
        if unit in ("DBM", "W"):
            return self._rms_of_power(value, unit)
        return value

    def _rms_of_power(self, value: float, unit: str) -> float:
        if math.isinf(self._load_ohm):
            raise ScpiError(-221, "power needs a finite load")
        if unit == "DBM" and value > HIGHEST_DBM:
            raise ScpiError(-222)
        watt = 1e-3 * math.pow(10.0, value / 10.0) if unit == "DBM" else value
        if watt < 0.0:
            raise ScpiError(-222)
        return math.sqrt(watt * self._load_ohm)

    def _from_rms(self, level_v: float, unit: str) -> float:
        if unit == "VPP":
            return level_v * PEAK_TO_PEAK_PER_RMS
        if unit == "DBM":
            if math.isinf(self._load_ohm):
                raise ScpiError(-221, "power needs a finite load")
            return 10.0 * math.log10(level_v**2 / self._load_ohm / 1e-3)
        return level_v

    def _true_emf_v(self) -> float:
        """Put the level on the attenuator's steps and add its error."""
        traits = self.traits
        db = 20.0 * math.log10(self._emf_v)
        if traits.level_step_db:
            db = round(db / traits.level_step_db) * traits.level_step_db
        return math.pow(10.0, (db + traits.level_error_db) / 20.0)

    def _apply(self, *, dip: float = 0.0) -> None:
        now_s = self.clock.now_s
        present = self._level_now_v(now_s)
        self._ready_s = now_s + SETTLED_TIMES * self.traits.settling_s
        emf_v = self._put_out_v if self._is_on else 0.0
        self._drive(
            now_s,
            frequency_hz=self._frequency_hz * (1.0 + self.traits.reference_error),
            emf_v=emf_v,
            # the output switch is a relay: it does not wait for the leveller
            start_emf_v=present * (1.0 - dip) if self._is_on else 0.0,
        )

    # Commands ----------------------------------------------------------------------

    def commands(self) -> Sequence[Command]:
        """Give SOURce and OUTPut as SCPI-99 volume 2, chapters 19 and 15, name them.

        The compact dialect sets its level in dBm into fifty ohms, and no other way.
        """
        common = [
            Command(
                pattern="[SOURce#]:FREQuency:[CW|FIXed]",
                set=self._set_frequency,
                query=self._query_frequency,
                query_parameters=(0, 1),
            ),
            Command(
                pattern=f"[SOURce#]:POWer:{LEVEL}",
                set=self._set_power,
                query=self._query_power,
                query_parameters=(0, 1),
            ),
            Command(
                pattern="OUTPut#:[STATe]",
                set=self._set_output,
                query=lambda _: str(int(self._is_on)),
            ),
        ]
        return common if self.dialect == "compact" else [*common, *self._in_volts()]

    def _in_volts(self) -> list[Command]:
        return [
            Command(
                pattern=f"[SOURce#]:VOLTage:{LEVEL}",
                set=self._set_voltage,
                query=self._query_voltage,
                query_parameters=(0, 1),
            ),
            Command(
                pattern="[SOURce#]:VOLTage:UNIT",
                set=self._set_unit,
                query=lambda _: self._unit,
            ),
            Command(
                pattern="OUTPut#:LOAD|IMPedance",
                set=self._set_load,
                query=lambda _: self.number(self._load_ohm),
            ),
        ]

    def _set_frequency(self, parameters: Sequence[str]) -> None:
        t = self.traits
        number = parse_number(parameters[0], FREQUENCY, named=self._frequencies)
        if not t.frequency_min_hz <= number.value <= t.frequency_max_hz:
            raise ScpiError(-222, parameters[0])
        steps = round(number.value / t.frequency_resolution_hz)
        frequency_hz = steps * t.frequency_resolution_hz
        if frequency_hz != self._frequency_hz:
            self._frequency_hz = frequency_hz
            self._apply(dip=t.frequency_dip)

    def _query_frequency(self, parameters: Sequence[str]) -> str:
        value = self._frequency_hz
        if parameters:
            value = parse_number(parameters[0], {}, named=self._frequencies).value
        return self.number(value, decimals=11, fixed=2)

    def _named_limit(self, text: str) -> float | None:
        """Give MINimum or MAXimum in volts r.m.s., None for anything else."""
        low, high = self._limits_v()
        for mnemonic, value in (("MINimum", low), ("MAXimum", high)):
            if text.upper() in spellings(mnemonic):
                return value
        return None

    def _set_level(self, level_v: float, text: str) -> None:
        low, high = self._limits_v()
        # the limits themselves come back rounded by a client's arithmetic
        if not low * (1.0 - 1e-9) <= level_v <= high * (1.0 + 1e-9):
            raise ScpiError(-222, text)
        self._emf_v = self._emf_of(level_v)
        self._put_out_v = self._true_emf_v()
        self._apply()

    def _set_voltage(self, parameters: Sequence[str]) -> None:
        text = parameters[0]
        level_v = self._named_limit(text)
        if level_v is None:
            number = parse_number(text, VOLTAGE_UNITS, named={})
            level_v = self._to_rms(number.value, number.unit or self._unit)
        self._set_level(level_v, text)

    def _set_power(self, parameters: Sequence[str]) -> None:
        text = parameters[0]
        level_v = self._named_limit(text)
        if level_v is None:
            number = parse_number(text, POWER_UNITS, named={})
            level_v = self._to_rms(number.value, number.unit or "DBM")
        self._set_level(level_v, text)

    def _level_asked(self, parameters: Sequence[str]) -> float:
        if not parameters:
            return self._emf_v * self._load_share()
        level_v = self._named_limit(parameters[0])
        if level_v is None:
            raise ScpiError(-224, parameters[0])
        return level_v

    def _query_voltage(self, parameters: Sequence[str]) -> str:
        return self.number(self._from_rms(self._level_asked(parameters), self._unit))

    def _query_power(self, parameters: Sequence[str]) -> str:
        level_v = self._level_asked(parameters)
        return self.number(self._from_rms(level_v, "DBM"), fixed=3)

    def _set_unit(self, parameters: Sequence[str]) -> None:
        unit = parse_choice(parameters[0], ("VPP", "VRMS", "DBM"))
        if unit == "DBM" and math.isinf(self._load_ohm):
            raise ScpiError(-221, "power needs a finite load")
        self._unit = unit

    def _set_output(self, parameters: Sequence[str]) -> None:
        self._is_on = parse_boolean(parameters[0])
        self._apply()

    def _set_load(self, parameters: Sequence[str]) -> None:
        named = {
            "INFinity": math.inf,
            "MINimum": 1.0,
            "MAXimum": HIGHEST_LOAD_OHM,
            "DEFault": REFERENCE_OHM,
        }
        load = parse_number(parameters[0], OHMS, named=named).value
        if load >= INFINITY:
            load = math.inf
        if not math.isinf(load) and not 1.0 <= load <= HIGHEST_LOAD_OHM:
            raise ScpiError(-222, parameters[0])
        # the e.m.f. stays; the level that the new load would see is what is told
        self._load_ohm = load
        if math.isinf(load) and self._unit == "DBM":
            self._unit = "VPP"
