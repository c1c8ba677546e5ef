"""Write a commented dialect file from what an instrument answered. No I/O."""

import math
import re
from collections.abc import Sequence
from datetime import date

from .interview import Asked, Findings

__all__ = ["dialect_text"]

_ANSWER = re.compile(
    r"(?P<header>[^\d+.\-]*)(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)"
    r"\s*(?P<suffix>\S*)",
    re.ASCII,
)
FACTORS = {
    "V": 1.0,
    "mV": 1e-3,
    "uV": 1e-6,
    "W": 1.0,
    "mW": 1e-3,
    "Hz": 1.0,
    "kHz": 1e3,
    "MHz": 1e6,
    "dBm": 1.0,
}
USUAL_SCALES = (0.002, 10.0)  # V per division
COARSEST = 1e3
NOT_ASKED = "# NOT ASKED, since MEASure? would set the instrument up anew; try it"
FROM_STANDARD = "# it answered no form of this; SCPI-99's own: CHECK WITH ITS MANUAL"


def dialect_text(
    findings: Findings, *, resource: str, today: date, termination: str = "\n"
) -> str:
    """Write a dialect file to start from.

    Parameters
    ----------
    findings
        What the instrument answered.
    resource
        Where it was reached, for the head.
    today
        The day, for the head.
    termination
        What ended its lines.

    Returns
    -------
    str
        TOML that loads without mistakes. What a comment marks CHECK was not answered
        by the instrument.
    """
    body = _generator if findings.kind == "generator" else _detector
    lines = [
        f"# {_plain(findings.identity)}",
        f"# at {_plain(resource)}, asked on {today:%Y-%m-%d}; no setting was changed.",
        "# What it answered:",
        *(f"#   {_answered(one)}" for one in findings.asked),
        f'kind = "{findings.kind}"',
        *_link(termination),
        "",
        *body(findings),
        "",
        "[common]",
        'identity = "*IDN?"',
        *_error(findings),
    ]
    return "\n".join(lines) + "\n"


def _link(termination: str) -> Sequence[str]:
    if termination == "\n":
        return ()
    written = termination.replace("\r", "\\r").replace("\n", "\\n")
    return (
        "",
        "[link]",
        f'write_termination = "{written}"',
        f'read_termination = "{written}"',
    )


def _answered(one: Asked) -> str:
    answer = "no answer" if one.answer is None else _plain(one.answer)[:60]
    refusal = f"   [{_plain(one.refusal)[:60]}]" if one.refusal else ""
    return f"{one.query:45} {answer}{refusal}"


def _error(findings: Findings) -> Sequence[str]:
    if findings.error_form == "queue":
        return ('error = "SYSTem:ERRor?"',)
    if findings.error_form == "register":
        return (
            'error = "*ESR?"  # it has no queue; the register says that, not what',
            'error_form = "register"',
        )
    return (
        "# it answers neither SYSTem:ERRor? nor *ESR?: refusals show in read-backs",
    )


def _generator(findings: Findings) -> Sequence[str]:
    known = findings.known
    output = known["output"].command
    start, level = _level(findings)
    commands = ", ".join(f'"{c}"' for c in ("*CLS", f"{output} OFF", *start))
    return [
        "[start]",
        f"commands = [{commands}]",
        "",
        "[frequency]",
        *_set_and_read(
            known.get("frequency"), "SOURce:FREQuency:CW", "{frequency_hz:.3f}"
        ),
        "",
        *level,
        "",
        "[output]",
        f'on = "{output} ON"',
        f'off = "{output} OFF"',
        f'read = "{output}?"',
    ]


def _level(findings: Findings) -> tuple[Sequence[str], Sequence[str]]:
    """Return the start commands that the level needs, and its table."""
    known = findings.known
    voltage, unit_form, load = (
        known.get(what) for what in ("voltage", "voltage unit", "load")
    )
    if voltage is None:
        return (), [
            "[level]",
            *_set_and_read(
                known.get("power"),
                "SOURce:POWer:LEVel:IMMediate:AMPLitude",
                "{level:.4f}",
            ),
            'unit = "dBm"',
            "load_ohm = 50.0  # CHECK: the load that its level is told across",
        ]
    start = [f"{load.command} 50"] if load is not None else []
    unit, remark = "Vrms", "  # CHECK: it does not say; Vrms, Vpp or dBm"
    if unit_form is not None:
        start.append(f"{unit_form.command} VRMS")
        remark = (
            f"  # set by [start]; it stood at {_plain(unit_form.answer or '')[:20]}"
        )
    return start, [
        "[level]",
        *_set_and_read(voltage, "", "{level:.7g}"),
        f'unit = "{unit}"{remark}',
        f"load_ohm = 50.0  # {_load_remark(load)}",
    ]


def _load_remark(load: Asked | None) -> str:
    if load is None:
        return "CHECK: the load that the instrument assumes; inf for an open output"
    return _as_it_stood(load)


def _as_it_stood(asked: Asked) -> str:
    return f"set by [start]; it stood at {_plain(asked.answer or '')[:20]}"


def _set_and_read(known: Asked | None, otherwise: str, value: str) -> Sequence[str]:
    command = known.command if known is not None else otherwise
    remark = [] if known is not None else [FROM_STANDARD]
    form = _form(known.answer or "") if known is not None else []
    return [*remark, f'set = "{command} {value}"', f'read = "{command}?"', *form]


def _form(answer: str) -> list[str]:
    """Return the keys that a reply's header and suffix need."""
    match = _ANSWER.fullmatch(answer.strip())
    if match is None:
        return [f"# CHECK: {_plain(answer)[:60]} is not one number"]
    keys = []
    if header := match["header"]:
        keys.append(f"header = {_quoted(header)}")
    if suffix := match["suffix"]:
        factor = FACTORS.get(suffix)
        remark = "" if factor is not None else "; CHECK the factor"
        keys.append(
            f"suffixes = {{ {_quoted(suffix)} = {factor or 1.0!r} }}  # add others "
            f"that it uses{remark}"
        )
    return keys


def _detector(findings: Findings) -> Sequence[str]:
    known = findings.known
    power = known.get("power unit")
    commands = '"*CLS"' if power is None else f'"*CLS", "{power.command} DBM"'
    lines = [
        "[start]",
        f"commands = [{commands}]",
        "",
        "[reading]",
        *_reading(findings),
    ]
    if "scale" in known:
        lines += ["", *_range(findings)]
    averages = known.get("averages")
    if averages is not None:
        lines += [
            "",
            "[averaging]",
            *_set_and_read(averages, "", "{count}"),
            "count = 1  # `averages` in the bench file's [detector] asks for more",
        ]
    return lines


def _reading(findings: Findings) -> Sequence[str]:
    known = findings.known
    for what, unit in (("scope reading", "Vrms"), ("marker", "dBm")):
        if asked := known.get(what):
            return [f'read = "{asked.query}"', f'unit = "{unit}"', *_form_of(asked)]
    reading = known.get("reading")
    if power := known.get("power unit"):
        query = f'read = "{reading.query}"' if reading else 'read = "READ?"  # CHECK'
        return [query, f'unit = "dBm"  # {_as_it_stood(power)}']
    if "a.c. range" in known and reading is None:
        return [NOT_ASKED, 'read = "MEASure:VOLTage:AC?"', 'unit = "Vrms"']
    if reading is not None:
        return [
            f'read = "{reading.query}"',
            f'unit = "{_function_unit(findings)}"  # CHECK; Vpeak for a diode probe',
            *_form_of(reading),
        ]
    return [FROM_STANDARD, 'read = "READ?"', 'unit = "Vrms"  # CHECK']


def _function_unit(findings: Findings) -> str:
    function = findings.known.get("function")
    said = (function.answer or "").upper() if function is not None else ""
    if "POW" in said:
        return "dBm"
    return "Vpeak" if "DC" in said else "Vrms"


def _form_of(asked: Asked) -> list[str]:
    return _form(asked.answer or "")


def _range(findings: Findings) -> Sequence[str]:
    known = findings.known
    told = tuple(
        _number(known.get(what)) for what in ("finest scale", "coarsest scale")
    )
    is_told = 0.0 < told[0] <= told[1] < COARSEST
    lowest, highest = told if is_told else USUAL_SCALES
    remark = "" if is_told else "; CHECK: it did not say"
    return [
        "[range]",
        *_set_and_read(known["scale"], "", "{volts_per_division:.4g}"),
        "divisions = 8.0  # CHECK: of the screen's height",
        f"lowest = {lowest!r}  # V/div{remark}",
        f"highest = {highest!r}  # V/div{remark}",
    ]


def _number(asked: Asked | None) -> float:
    """Return the number that was answered, or nan."""
    match = _ANSWER.fullmatch((asked.answer or "").strip()) if asked else None
    return float(match["number"]) if match else math.nan


def _plain(text: str) -> str:
    """Make an answer safe inside a comment."""
    return "".join(c if " " <= c <= "~" else "?" for c in text)


def _quoted(text: str) -> str:
    escaped = _plain(text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
