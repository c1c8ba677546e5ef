"""The grammar of program messages: from bytes to a command and its parameters.

Written from IEEE 488.2 section 7 (program messages) and SCPI-99 volume 1,
chapters 5 to 7 (headers, the path between message units, parameters), whose
clauses the comments cite. Nothing here knows an instrument.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

__all__ = ["Command", "CommandTable", "ScpiError", "Unit", "split_message"]

# IEEE 488.2, 7.6.1: a common header is an asterisk and a mnemonic; a compound one
# is mnemonics joined by colons, perhaps with a colon in front; a query ends in "?".
_HEADER = re.compile(
    r"(\*[A-Za-z]+|:?[A-Za-z][A-Za-z0-9_]*(?::[A-Za-z][A-Za-z0-9_]*)*)(\??)"
)
_SHELTER = re.compile("[\"'(]")  # what separators may hide behind
_MNEMONIC_LENGTH = 12  # IEEE 488.2, 7.6.1.4.1
HIGHEST_KNOWN = 1000  # headers remembered
_INPUT_LENGTH = 4096  # what this instrument's input buffer holds


class ScpiError(Exception):
    """One entry for the error queue, numbered by SCPI-99 volume 2, 21.8.

    Parameters
    ----------
    number
        Negative: the standard's; its class gives the bit in the event register.
    info
        Device-dependent info, appended after a semicolon.
    """

    def __init__(self, number: int, info: str = "") -> None:
        super().__init__(number, info)
        self.number = number
        self.info = info


@dataclass(frozen=True, slots=True)
class Unit:
    """One program message unit, its header not yet looked up."""

    header: str  # upper case, without the question mark, no leading colon
    is_query: bool
    is_common: bool
    is_absolute: bool
    parameters: tuple[str, ...]


def _split_outside_quotes(text: str, separator: str) -> list[str]:
    """Split where the separator stands outside strings and parentheses."""
    if not _SHELTER.search(text):
        return text.split(separator)
    parts, start, quote, depth = [], 0, "", 0
    for i, char in enumerate(text):
        if quote:
            quote = "" if char == quote else quote
        elif char in "\"'":
            quote = char
        elif char in "()":
            depth += 1 if char == "(" else -1
        elif char == separator and depth == 0:
            parts.append(text[start:i])
            start = i + 1
    if quote:
        raise ScpiError(-151)  # a string without its end
    parts.append(text[start:])
    return parts


def _check_lengths(header: str) -> None:
    if any(len(m) > _MNEMONIC_LENGTH for m in header.lstrip("*:").split(":")):
        raise ScpiError(-112, header)


def _parse_unit(text: str) -> Unit:
    match = _HEADER.match(text)
    if match is None:
        raise ScpiError(-102 if text[:1] in ":*?,;" else -101, text[:20])
    rest = text[match.end() :]
    if rest and not rest[0].isspace():
        # 7.4.2: white space separates header and data, nothing else does
        raise ScpiError(-103 if rest[0] in ",=;" else -102, text[:20])
    header = match.group(1).upper()
    if len(header) > _MNEMONIC_LENGTH:
        _check_lengths(header)
    rest = rest.strip()
    parameters = [p.strip() for p in _split_outside_quotes(rest, ",")] if rest else []
    if "" in parameters:
        raise ScpiError(-109 if parameters[-1] == "" else -103)
    return Unit(
        header=header.lstrip(":"),
        is_query=match.group(2) == "?",
        is_common=header[0] == "*",
        is_absolute=header[0] == ":",
        parameters=tuple(parameters),
    )


def split_message(message: bytes) -> list[Unit | ScpiError]:
    """Split a program message into its units (IEEE 488.2, 7.3.2).

    Parameters
    ----------
    message
        The bytes between two terminators.

    Returns
    -------
    list
        Units in order; the first that cannot be parsed is its error, and ends the
        list: a parser that lost its place drops the rest of the message.
    """
    if len(message) > _INPUT_LENGTH:
        return [ScpiError(-363)]
    try:
        text = message.decode("ascii")
    except UnicodeDecodeError:
        return [ScpiError(-101)]
    if not text.strip():
        return []  # 7.3.2.2: a message may be empty
    units: list[Unit | ScpiError] = []
    try:
        for part in _split_outside_quotes(text, ";"):
            stripped = part.strip()
            units.append(_parse_unit(stripped))
    except ScpiError as error:
        units.append(error)
    return units


@dataclass(frozen=True, slots=True)
class _Node:
    """One level of a header: its spellings, and whether it may be left out."""

    spellings: frozenset[str]
    is_optional: bool
    takes_suffix: bool


def _parse_node(text: str) -> _Node:
    is_optional = text.startswith("[")
    text = text.strip("[]")
    takes_suffix = text.endswith("#")
    spellings: set[str] = set()
    for mnemonic in text.rstrip("#").split("|"):
        short = "".join(c for c in mnemonic if not c.islower())
        spellings |= {short, mnemonic.upper()}
    return _Node(frozenset(spellings), is_optional, takes_suffix)


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """One header an instrument knows.

    Attributes
    ----------
    pattern
        The header as the standards print it, with every optional node in brackets
        of its own: ``[SOURce#]:FREQuency:[CW|FIXed]``. Capitals are the short form;
        ``#`` takes a numeric suffix, which must be 1 (SCPI-99 volume 1, 6.2.5.2).
    set, query
        What the header and what its query form do; None where the form is
        undefined. They take the parameters' text; a query returns its answer.
    parameters, query_parameters
        How many each takes: (least, most).
    is_indefinite
        The answer has no end but the message's (IEEE 488.2, 8.7.11), so that it
        must be the last of a message.
    """

    pattern: str
    set: Callable[[Sequence[str]], Any] | None = None
    query: Callable[[Sequence[str]], str] | None = None
    parameters: tuple[int, int] = (1, 1)
    query_parameters: tuple[int, int] = (0, 0)
    is_indefinite: bool = False
    nodes: tuple[_Node, ...] = field(init=False)

    def __post_init__(self) -> None:
        parts = self.pattern.split(":")
        object.__setattr__(self, "nodes", tuple(_parse_node(p) for p in parts))

    def match(self, mnemonics: Sequence[str]) -> bool | None:
        """Compare with a header's mnemonics, in upper case.

        Returns
        -------
        bool or None
            True: this is the command. None: it is but for a suffix that is not 1.
        """
        return self._match(mnemonics, self.nodes)

    def _match(self, mnemonics: Sequence[str], nodes: tuple[_Node, ...]) -> bool | None:
        if not nodes:
            return not mnemonics
        node, rest = nodes[0], nodes[1:]
        taken: bool | None = False
        if mnemonics:
            name, suffix = mnemonics[0], "1"
            if node.takes_suffix:
                name = name.rstrip("0123456789")
                suffix = mnemonics[0][len(name) :] or "1"
            if name in node.spellings:
                taken = self._match(mnemonics[1:], rest)
                if taken and int(suffix) != 1:
                    taken = None
        if not taken and node.is_optional:
            return self._match(mnemonics, rest) or taken
        return taken


class CommandTable:
    """All headers of one instrument, looked up with the path rule.

    Parameters
    ----------
    commands
        Later ones win where two match the same header.
    """

    def __init__(self, commands: Sequence[Command]) -> None:
        self._commands = tuple(reversed(commands))
        self._known: dict[tuple[str, str], tuple[Command, str]] = {}

    def find(self, unit: Unit, path: str) -> tuple[Command, str]:
        """Look a unit's header up.

        Parameters
        ----------
        unit
            The unit.
        path
            Where the unit before has left the parser: mnemonics joined by colons.

        Returns
        -------
        tuple
            The command, and the path for the unit that follows.

        Raises
        ------
        ScpiError
            -113 undefined header, -114 header suffix out of range.

        Notes
        -----
        SCPI-99 volume 1, 6.2.4: a header without a leading colon continues from
        the level of the one before; a common command leaves the path alone.
        """
        if unit.is_common:
            full, after = unit.header, path
        else:
            relative = "" if unit.is_absolute or not path else path + ":"
            full = relative + unit.header
            after = full.rpartition(":")[0]
        known = self._known.get((full, after))
        if known is None:
            known = (self._search(full), after)
            if (
                len(self._known) < HIGHEST_KNOWN
            ):  # clients that never repeat cannot fill it
                self._known[full, after] = known
        return known

    def _search(self, header: str) -> Command:
        mnemonics = header.split(":")
        bad_suffix = False
        for command in self._commands:
            matched = command.match(mnemonics)
            if matched:
                return command
            bad_suffix |= matched is None
        raise ScpiError(-114 if bad_suffix else -113, header)
