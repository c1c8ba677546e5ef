"""On which line of a TOML file each key stands.

The standard library's parser tells no lines. This one tells nothing else: it is
run on text that the standard parser has accepted, so it need not check, only count.
"""

import re

__all__ = ["LineMap", "key_lines"]

LineMap = dict[tuple[str | int, ...], int]

_TABLE = re.compile(r"\s*\[(?P<double>\[?)(?P<keys>[^\[\]]+)\]\]?")
_KEY = r"[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*'"
_ASSIGNMENT = re.compile(rf"\s*(?P<keys>(?:{_KEY})(?:\s*\.\s*(?:{_KEY}))*)\s*=")
_INLINE_KEY = re.compile(rf"(?P<key>{_KEY})\s*=")
_STRING = re.compile(r'"(?:\\.|[^"\\])*"|\'[^\']*\'')


def _split(keys: str) -> list[str]:
    return [key.strip("\"'") for key in re.findall(_KEY, keys)]


def _without_strings(line: str) -> str:
    """Blank strings and comments, so that brackets and keys inside do not count."""
    blanked = _STRING.sub(lambda m: '"' + "_" * (len(m.group()) - 2) + '"', line)
    return blanked.partition("#")[0]


class _Scanner:
    def __init__(self) -> None:
        self.lines: LineMap = {}
        self._counts: dict[tuple[str | int, ...], int] = {}
        self._table: tuple[str | int, ...] = ()
        self._key: tuple[str | int, ...] = ()
        self._depth = 0  # of brackets and braces still open
        self._quotes = ""  # of a multi-line string still open

    def _resolve(self, keys: list[str]) -> tuple[str | int, ...]:
        """Follow the keys through arrays of tables, into their last entry."""
        path: tuple[str | int, ...] = ()
        for key in keys:
            path += (key,)
            if path in self._counts:
                path += (self._counts[path] - 1,)
        return path

    def _header(self, match: re.Match[str], number: int) -> None:
        keys = _split(match.group("keys"))
        if match.group("double"):
            array = (*self._resolve(keys[:-1]), keys[-1])
            self._counts[array] = self._counts.get(array, 0) + 1
            self.lines.setdefault(array, number)
        self._table = self._resolve(keys)
        self.lines[self._table] = number
        for length in range(1, len(self._table)):  # tables that are only implied
            self.lines.setdefault(self._table[:length], number)

    def feed(self, line: str, number: int) -> None:
        if self._quotes:
            if self._quotes in line:
                self._quotes = ""
            return
        plain = _without_strings(line)
        if self._depth == 0:
            header = _TABLE.match(plain)
            if header:
                self._header(_TABLE.match(line) or header, number)
                return
            assignment = _ASSIGNMENT.match(line)
            if not assignment:
                return
            self._key = self._table + tuple(_split(assignment.group("keys")))
            self.lines[self._key] = number
            line, plain = line[assignment.end() :], plain[assignment.end() :]
        self._value(line, plain, number)

    def _value(self, line: str, plain: str, number: int) -> None:
        for quotes in ('"""', "'''"):
            if line.count(quotes) % 2:
                self._quotes = quotes
                return
        for match in _INLINE_KEY.finditer(plain):
            self.lines.setdefault((*self._key, match.group("key")), number)
        opened = sum(plain.count(c) for c in "[{")
        self._depth += opened - sum(plain.count(c) for c in "]}")


def key_lines(text: str) -> LineMap:
    """Map the path of every key and table to its line.

    Parameters
    ----------
    text
        A valid TOML document.

    Returns
    -------
    dict
        Path (keys, and indices in arrays of tables) to line, from 1. Keys inside
        an inline table are found under their table's path; inside an array of
        inline tables the index is left out.
    """
    scanner = _Scanner()
    for number, line in enumerate(text.splitlines(), start=1):
        scanner.feed(line, number)
    return scanner.lines
