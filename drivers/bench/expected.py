"""Whom a bench file expects to answer, and who does."""

from collections.abc import Mapping
from fnmatch import fnmatchcase

from ..errors import InstrumentError
from .bench_file import BenchFile

__all__ = ["refuse_strangers"]


def refuse_strangers(file: BenchFile, identities: Mapping[str, str]) -> None:
    """Hold who answers against the bench file's patterns, before anything is set.

    Parameters
    ----------
    file
        The bench file's content; a table without ``identity`` expects anybody.
    identities
        Who answers, by table (``generator``, ``detector``), as far as it is known.

    Raises
    ------
    InstrumentError
        Somebody else answers; where each is the other, that is what it says.
    """
    tables = {"generator": file.generator, "detector": file.detector}
    strangers = [
        name
        for name, identity in identities.items()
        if not _fits(identity, tables[name].identity)
    ]
    if not strangers:
        return
    if len(strangers) == len(tables) and all(
        _fits(identities[name], tables[other].identity)
        for name, other in zip(tables, reversed(tables), strict=True)
    ):
        raise InstrumentError(
            "the two resources are swapped: the detector "
            f"({identities['generator']!r}) answers at {file.generator.resource}, and "
            f"the generator ({identities['detector']!r}) at {file.detector.resource}; "
            "exchange them in the bench file"
        )
    name = strangers[0]
    table = tables[name]
    raise InstrumentError(
        f"the bench file expects the {name} {table.identity!r} at {table.resource}, "
        f"and {identities[name]!r} answers; correct `resource` or `identity` in "
        f"[{name}]",
        identity=identities[name],
    )


def _fits(identity: str, pattern: str) -> bool:
    """Match as a glob, whatever the letters' case; no pattern fits all."""
    return not pattern or fnmatchcase(identity.casefold(), pattern.casefold())
