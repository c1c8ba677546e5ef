"""A lot as JUnit XML: a test case a part, so that a CI server shows each of them.

Accepted parts pass. Rejected, undecided and suspect ones are failures of that type,
unmeasured ones errors, skipped and undone ones skipped; the message is the reasons.
"""

import re
from collections.abc import Iterable
from datetime import datetime
from importlib.util import find_spec
from typing import Any

from ...analysis.lots import Verdict
from ...records.base import PartRow
from ..errors import ReportError

__all__ = ["junit_xml"]

# What XML 1.0 (clause 2.2, Char) cannot hold.
_FORBIDDEN = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_OUT = (Verdict.SKIPPED, Verdict.UNDONE)


def junit_xml(parts: Iterable[PartRow], *, name: str = "lot") -> str:
    r"""Write parts as JUnit XML.

    Parameters
    ----------
    parts
        In the order they are to be shown.
    name
        What the suite is called: the lot.

    Raises
    ------
    ReportError
        junitparser is not installed.

    Notes
    -----
    Characters that XML cannot hold are written as their escapes (``\x00``); all others
    arrive as they are, whatever they look like.
    """
    if find_spec("junitparser") is None:
        raise ReportError("JUnit XML needs junitparser: pip install 'halfpower[junit]'")
    from junitparser import JUnitXml, TestSuite

    # Called by way of Any: the library is typed in part.
    suite: Any = TestSuite(_plain(name))
    some = list(parts)
    suite.add_testcases([_case(part) for part in some])
    if some:
        suite.timestamp = some[0].at
    suite.update_statistics()
    document: Any = JUnitXml(_plain(name))
    document.add_testsuite(suite)
    text = document.tostring()
    body = text.decode("utf-8") if isinstance(text, bytes) else str(text)
    return f'<?xml version="1.0" encoding="utf-8"?>\n{body}\n'


def _case(part: PartRow) -> Any:
    from junitparser import TestCase

    case = TestCase(
        _plain(part.label or f"position {part.position}"),
        classname=_plain(part.lot),
        time=0.0,
    )
    outcome = _outcome(part)
    if outcome is not None:
        case.result = [outcome]
    case.system_out = _plain("\n".join(_lines(part)))
    return case


def _outcome(part: PartRow) -> Any:
    from junitparser import Error, Failure, Skipped

    said = _plain("; ".join(one.text for one in part.reasons) or part.verdict.value)
    if part.verdict in _OUT:
        return Skipped(said)
    if part.verdict is Verdict.UNMEASURED:
        return Error(said, part.verdict.value)
    if part.verdict is not Verdict.ACCEPTED:
        return Failure(said, part.verdict.value)
    if part.suspect:
        return Failure(
            "the check standard was out of control after this part; measure it again",
            "suspect",
        )
    return None


def _lines(part: PartRow) -> Iterable[str]:
    attempt = f", attempt {part.attempt}" if part.attempt > 1 else ""
    at = datetime.fromisoformat(part.at).isoformat(sep=" ", timespec="seconds")
    yield f"position {part.position}{attempt}, {at}, {part.station}"
    for one in part.quantities:
        unit = "" if one.unit == "1" else f" {one.unit}"
        u = one.standard_uncertainty
        yield f"{one.name} = {one.value:.9g}{unit}" + (
            "" if u is None else f" (u = {u:.2g}{unit})"
        )


def _plain(text: str) -> str:
    return _FORBIDDEN.sub(lambda m: m[0].encode("unicode_escape").decode(), text)
