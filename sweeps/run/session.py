"""What a procedure is run with, beside its bench and its part."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from importlib.metadata import version

from ...analysis.quantity import Caution, Judgement, Quantity
from ...analysis.result import Condition, Evidence, Result, Swept
from .on_bench import IdentifiedBench
from .resonate import Stored
from .sink import NullSink, Sink
from .steps import Attendant, NobodyNeeded, Steps

__all__ = ["Session"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """Who is there, where the readings go, and what was read before.

    Attributes
    ----------
    label
        What the part is called.
    begun
        When the measurement begins (ISO 8601, UTC), for the evidence.
    sink
        Gets every reading as it is taken, and the result; by default nobody does, but
        the result carries them all.
    attendant
        Changes what is on the fixture between sweeps.
    stored
        Readings of an interrupted run, by step.
    """

    label: str = ""
    begun: str = ""
    sink: Sink = field(default_factory=NullSink)
    attendant: Attendant = field(default_factory=NobodyNeeded)
    stored: Mapping[str, Stored] = field(default_factory=dict)

    def steps(self, bench: IdentifiedBench) -> Steps:
        """Begin carrying out a measurement's sweeps on a bench."""
        return Steps(
            bench, attendant=self.attendant, sink=self.sink, stored=self.stored
        )

    def conclude(
        self,
        bench: IdentifiedBench,
        *,
        procedure: str,
        quantities: Iterable[Quantity],
        warnings: Iterable[Caution],
        settings: Iterable[Condition],
        sweeps: Iterable[Swept],
        remarks: Iterable[str] = (),
        judged: Iterable[Judgement] = (),
    ) -> Result:
        """Put a result and what it was made from together, and give it to the sink."""
        result = Result(
            procedure=procedure,
            label=self.label,
            quantities=tuple(quantities),
            warnings=tuple(warnings),
            evidence=Evidence(
                sweeps=tuple(sweeps),
                settings=tuple(settings),
                instruments=tuple(bench.identities.items()),
                software=f"halfpower {version('halfpower')}",
                begun=self.begun,
            ),
            remarks=tuple(remarks),
            judged=tuple(judged),
        )
        self.sink.result(result)
        return result
