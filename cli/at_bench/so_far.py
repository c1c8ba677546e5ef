"""What there is of a measurement that was interrupted, as a document."""

from importlib.metadata import version

from ...analysis.errors import HalfpowerError
from ...analysis.quantity import Caution
from ...analysis.reading import Reading
from ...analysis.result import Evidence, Result
from ...drivers import Bench
from ...records.files import document_text, unfinished_document
from ...sweeps.run import Progress, Session
from ..words import Wanted, write_document

__all__ = ["SoFar"]


class SoFar:
    """The sink that has every reading at hand for the case of an interruption.

    Parameters
    ----------
    procedure
        What is measured.
    """

    def __init__(self, procedure: str) -> None:
        self._procedure = procedure
        self._readings: dict[str, list[Reading]] = {}
        self._last: list[Reading] = []
        self._begun: Result | None = None

    def begin(self, bench: Bench, session: Session) -> None:
        """Take down what is known before the first reading."""
        why = "interrupted: its readings are here, and nothing was worked out of them"
        self._begun = Result(
            procedure=self._procedure,
            label=session.label,
            quantities=(),
            warnings=(Caution(code="interrupted", text=why),),
            evidence=Evidence(
                sweeps=(),
                settings=(),
                instruments=tuple(bench.identities.items()),
                software=f"halfpower {version('halfpower')}",
                begun=session.begun,
            ),
        )

    def reading(self, reading: Reading, *, progress: Progress) -> None:
        """Keep it under its sweep's name."""
        self._last = self._readings.setdefault(progress.step, [])
        self._last.append(reading)

    def taken_back(self, reading: Reading) -> None:
        """Let it go."""
        self._last.remove(reading)

    def result(self, result: Result) -> None:
        """Nothing: a whole result is handed out as one."""

    def hand_out(self, wanted: Wanted, *, error: KeyboardInterrupt) -> None:
        """Write the document with ``"complete": false``, and note what is not written.

        Nothing is written where the bench was not open yet.
        """
        if wanted.json is not None and self._begun is not None:
            document = unfinished_document(self._begun, self._readings)
            text = document_text(document)
            try:
                write_document(text, wanted.json, overwrite=wanted.overwrite)
            except HalfpowerError as failure:
                error.add_note(str(failure))
        drawn = [name for name in ("--plot", "--page") if wanted.files[name]]
        if drawn:
            error.add_note(f"{' and '.join(drawn)} not written")
