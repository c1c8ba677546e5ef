"""Write a commented dialect file from what an instrument answered. No I/O."""

import math
import re
from collections.abc import Sequence
from datetime import date

from ..link import LinkSettings
from .interview import Asked, Findings
from .levels import ReadingUnit

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
# What stands behind a number, and the unit of a dialect that it is; a bare V may be
# any of three.
UNITS: dict[str, ReadingUnit] = {
    "VRMS": "Vrms",
    "VPP": "Vpp",
    "VPK": "Vpeak",
    "DBM": "dBm",
    "W": "W",
}
PREFIXES = {"": 1.0, "m": 1e-3, "u": 1e-6, "k": 1e3}
LEVEL_UNITS = {"Vrms", "Vpp", "dBm"}
SPECIAL_FROM = 9.899e37  # SCPI-99, volume 1, 7.2.1.4 and 7.2.1.5
USUAL_SCALES = (0.002, 10.0)  # V per division
COARSEST = 1e3
NOT_ASKED = (
    "# NOT ASKED, since MEASure? would set it up anew; try it, or learn with --set-up"
)
NOT_SET_UP = "# it has no reading as it stands: learn with --set-up, or CHECK"
FROM_STANDARD = "# it answered no form of this; SCPI-99's own: CHECK WITH ITS MANUAL"


def dialect_text(
    findings: Findings,
    *,
    resource: str,
    today: date,
    settings: LinkSettings = LinkSettings(),  # noqa: B008 - frozen
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
    settings
        What ended its lines, and whether it greeted.

    Returns
    -------
    str
        TOML that loads without mistakes. What a comment marks CHECK was not answered
        by the instrument.
    """
    body = _generator if findings.kind == "generator" else _detector
    lines = [
        f"# {_plain(findings.identity)}",
        f"# at {_plain(resource)}, asked on {today:%Y-%m-%d}; {_changed(findings)}.",
        "# What it answered:",
        *(f"#   {_answered(one)}" for one in findings.asked),
        f'kind = "{findings.kind}"',
        *_link(settings),
        "",
        *body(findings),
        "",
        "[common]",
        'identity = "*IDN?"',
        *_error(findings),
    ]
    return "\n".join(lines) + "\n"


def _changed(findings: Findings) -> str:
    if findings.set_up:
        return f"{findings.set_up} was sent"
    return "no setting was changed"


def _link(settings: LinkSettings) -> Sequence[str]:
    lines = []
    if settings.write_termination != "\n":
        ending = settings.write_termination
        written = ending.replace("\r", "\\r").replace("\n", "\\n")
        lines += [
            f'write_termination = "{written}"',
            f'read_termination = "{written}"',
        ]
    if settings.greeting:
        lines.append("greeting = true  # it sends a line to whoever connects")
    return ("", "[link]", *lines) if lines else ()


def _answered(one: Asked) -> str:
    answer = "no answer" if one.answer is None else _plain(one.answer)[:60]
    refusal = f"   [{_plain(one.refusal)[:60]}]" if one.refusal else ""
    return f"{one.query:45} {answer}{refusal}"


def _error(findings: Findings) -> Sequence[str]:
    if findings.error_form == "queue":
        return ('error = "SYSTem:ERRor?"',)
    if findings.error_form == "number":
        return ('error = "SYSTem:ERRor?"', 'error_form = "number"')
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
    unit, remark, set_to = _level_unit(voltage, unit_form)
    if unit_form is not None:
        start.append(f"{unit_form.command} {set_to}")
    return start, [
        "[level]",
        *_set_and_read(voltage, "", "{level:.7g}"),
        f'unit = "{unit}"  # {remark}',
        f"load_ohm = 50.0  # {_load_remark(load)}",
    ]


def _level_unit(voltage: Asked, unit_form: Asked | None) -> tuple[str, str, str]:
    """Return a level's unit, a remark on it, and what [start] sets it to.

    What the instrument stands at, or writes behind its own numbers, is kept.
    """
    if unit_form is not None:
        stands = _plain(unit_form.answer or "").strip('" ').upper()
        unit = UNITS.get(stands)
        if unit is not None and unit in LEVEL_UNITS:
            return unit, "as it stood, and set by [start]", stands
        remark = f"CHECK: set by [start]; it stood at {stands[:20]}"
        return "Vrms", remark, "VRMS"
    said = _unit_in(voltage)
    if said is not None and said in LEVEL_UNITS:
        return said, "as its answer says", ""
    if said is not None:
        return "Vrms", f"CHECK: it answers in {said}, and Vrms, Vpp or dBm is set", ""
    return "Vrms", "CHECK: it does not say; Vrms, Vpp or dBm", ""


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
    match = None if "," in answer else _ANSWER.fullmatch(answer.strip())
    if match is None:
        return [f"# CHECK: {_plain(answer)[:60]} is not one number"]
    keys = []
    if abs(float(match["number"])) >= SPECIAL_FROM:
        keys.append("# CHECK: it had no value when it was asked; ask with a signal on")
    if header := match["header"]:
        keys.append(f"header = {_quoted(header)}")
    if suffix := match["suffix"]:
        factor = FACTORS.get(suffix) or _unit_of(suffix)[1]
        remark = "" if factor is not None else "; CHECK the factor"
        keys.append(
            f"suffixes = {{ {_quoted(suffix)} = {factor or 1.0!r} }}  # add others "
            f"that it uses{remark}"
        )
    return keys


def _unit_of(suffix: str) -> tuple[ReadingUnit | None, float | None]:
    """Return the unit that a suffix says, and its factor; None where it is open."""
    for ending, unit in UNITS.items():
        prefix = suffix[: -len(ending)]
        if suffix.upper().endswith(ending) and prefix in PREFIXES:
            return unit, PREFIXES[prefix]
    return None, None


def _unit_in(asked: Asked) -> ReadingUnit | None:
    """Return the unit that stands in an answer."""
    first = (asked.answer or "").partition(",")[0].strip()
    match = _ANSWER.fullmatch(first)
    return _unit_of(match["suffix"])[0] if match else None


def _detector(findings: Findings) -> Sequence[str]:
    known = findings.known
    commands = ", ".join(_quoted(one) for one in ("*CLS", *_set_ups(findings)))
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


def _set_ups(findings: Findings) -> Sequence[str]:
    """Return what brings a detector to what it stood at when it was asked."""
    known = findings.known
    commands = [findings.set_up] if findings.set_up else []
    function = known.get("function")
    if function is not None and "reading" in known and not commands:
        commands += _function_command(function)
    if power := known.get("power unit"):
        commands.append(
            f"{power.command} {'W' if _power_unit(power) == 'W' else 'DBM'}"
        )
    return commands


def _function_command(function: Asked) -> Sequence[str]:
    """Return the command for the function that it stands at, if that is one word."""
    named = _plain(function.answer or "").strip('" ').partition(" ")[0]
    if re.fullmatch(r"[A-Za-z][A-Za-z0-9:]*", named) is None:
        return ()
    if function.query.startswith("CONF"):
        return (f"CONFigure:{named}",)
    return (f'{function.command} "{named}"',)


def _power_unit(power: Asked) -> ReadingUnit:
    return "W" if (power.answer or "").strip('" ').upper() == "W" else "dBm"


def _reading(findings: Findings) -> Sequence[str]:
    known = findings.known
    for what, usual in (("scope reading", "Vrms"), ("marker", "dBm")):
        if asked := known.get(what):
            unit = _unit_in(asked) or usual
            return [f'read = "{asked.query}"', f'unit = "{unit}"', *_form_of(asked)]
    reading = known.get("reading")
    if power := known.get("power unit"):
        query = f'read = "{reading.query}"' if reading else 'read = "READ?"  # CHECK'
        form = _form_of(reading) if reading else []
        return [query, f'unit = "{_power_unit(power)}"  # {_as_it_stood(power)}', *form]
    if "a.c. range" in known and reading is None:
        return [NOT_ASKED, 'read = "MEASure:VOLTage:AC?"', 'unit = "Vrms"']
    if reading is not None:
        said = _unit_in(reading)
        remark = "as its answer says" if said else "CHECK; Vpeak for a diode probe"
        return [
            f'read = "{reading.query}"',
            f'unit = "{said or _function_unit(findings)}"  # {remark}',
            *_form_of(reading),
        ]
    was_tried = any("?" not in one.query for one in findings.asked)
    remark = FROM_STANDARD if was_tried else NOT_SET_UP
    return [remark, 'read = "READ?"', 'unit = "Vrms"  # CHECK']


def _function_unit(findings: Findings) -> str:
    function = findings.known.get("function")
    said = (function.answer or "").upper() if function is not None else ""
    if "POW" in said:
        return "dBm"
    return "Vpeak" if "DC" in said else "Vrms"


def _form_of(asked: Asked) -> list[str]:
    """Return the keys of a reading, whose answer may be several numbers."""
    first, *others = (asked.answer or "").split(",")
    if not others:
        return _form(first)
    remark = f"# CHECK: which of the {1 + len(others)} in its answer"
    return [f"field = 1  {remark}", *_form(first)]


def _range(findings: Findings) -> Sequence[str]:
    known = findings.known
    told = tuple(
        _number(known.get(what)) for what in ("finest scale", "coarsest scale")
    )
    is_told = 0.0 < told[0] < told[1] < COARSEST
    lowest, highest = told if is_told else USUAL_SCALES
    alike = told[0] == told[1]
    why = "it answered both alike" if alike else "it did not say"
    remark = "" if is_told else f"; CHECK: {why}"
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
