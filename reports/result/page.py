"""One self-contained HTML page of a result.

A page's policy (W3C, Content Security Policy Level 3) lets nothing in from outside and
nothing run: of styles the page's own sheet alone, known by its hash, of pictures those
that stand in the page.
"""

import base64
import hashlib
import io
import re
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from ...analysis.result import Result
from ...records import write_whole
from ..errors import ReportError
from .picture import draw, save_figure
from .summary import (
    WORDS,
    budget_rows,
    heading,
    part_remarks,
    quantity_rows,
    step_rows,
    sweep_remarks,
)

if TYPE_CHECKING:
    from jinja2 import Template
    from markupsafe import Markup
    from matplotlib.figure import Figure

__all__ = ["CAUTION", "check_page", "save_page", "svg_of", "template"]

CAUTION = (
    "A tank multiplies its voltage by Q, and a resonating part burns at once and deep: "
    "keep hands off while it is driven. An unshielded resonant coil radiates. Local "
    "rules and a licensed person come first."
)
NO_LIBRARY = "pages need jinja2 and matplotlib: pip install 'halfpower[report]'"
STYLE = "page.css"
# Of an SVG's names; in HTML they stand without a namespace, or with its usual prefix.
PREFIXES = {
    "{http://www.w3.org/2000/svg}": "",
    "{http://www.w3.org/1999/xlink}": "xlink:",
}
# What the drawing library writes of itself, and a sheet of two properties for all.
LEFT_OUT = {"metadata", "style"}
FOR_ALL = {"stroke-linejoin": "round", "stroke-linecap": "butt"}
BUDGETED = (
    "inductance",
    "self_capacitance",
    "unloaded_q",
    "capacitance",
    "dissipation_factor",
    "relative_permittivity",
    "loss_tangent",
    "stray_capacitance",
    "probe_resistance",
    "loaded_q",
    "resonant_frequency",
)


def check_page(path: Path) -> None:
    """See that a page of this name could be made.

    Raises
    ------
    ReportError
        Its ending is not .html, or the templates' or drawing library is missing.
    """
    if path.suffix.lower() not in {".html", ".htm"}:
        raise ReportError(f"a page's name must end in .html, not {path.name!r}")
    if find_spec("jinja2") is None or find_spec("matplotlib") is None:
        raise ReportError(NO_LIBRARY)


def save_page(
    result: Result, path: Path, *, invented: str = "", overwrite: bool = False
) -> None:
    """Write a result as one HTML file with its picture inside.

    Parameters
    ----------
    result
        What was found.
    path
        The file; its folder is made where needed.
    invented
        A sentence that says so where the setting is invented.
    overwrite
        Whether a file that is there already may be replaced.

    Raises
    ------
    InputError
        The file is there already, or cannot be written.
    ReportError
        The templates' library is not installed.
    """
    text = template("result.html.j2").render(
        title=heading(result),
        invented=invented,
        rows=quantity_rows(result),
        steps=step_rows(result),
        said=part_remarks(result),
        remarks=sweep_remarks(result),
        warnings=result.warnings,
        picture=svg_of(draw(result)),
        budgets=_budgets(result),
        begun=result.evidence.begun,
        instruments=result.evidence.instruments,
        settings=result.evidence.settings,
        sweeps=result.evidence.sweeps,
        count=len(result.evidence.readings),
        caution=CAUTION,
        software=result.evidence.software,
    )
    write_whole(path, text, overwrite=overwrite)


def template(name: str) -> "Template":
    """Load a page's template.

    Raises
    ------
    ReportError
        The templates' library is not installed.
    """
    try:
        import jinja2
        from markupsafe import Markup
    except ImportError as error:
        raise ReportError(NO_LIBRARY) from error
    loader = jinja2.PackageLoader("halfpower.reports")
    environment = jinja2.Environment(
        loader=loader, autoescape=True, undefined=jinja2.StrictUndefined
    )
    style = loader.get_source(environment, STYLE)[0]
    environment.globals["style"] = Markup(style)  # noqa: S704 - our own sheet
    environment.globals["policy"] = policy_for(style)
    return environment.get_template(name)


def policy_for(style: str) -> str:
    """Give the policy of a page with this sheet of styles and nothing else."""
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def svg_of(figure: "Figure") -> "Markup":
    """Draw a figure to stand in a page, whose policy refuses an element's own style.

    Its properties become attributes, which count for less than a sheet's (SVG 1.1,
    6.4), so the library's own sheet goes; its comments, which repeat texts, too.
    """
    from markupsafe import Markup

    buffer = io.StringIO()
    save_figure(figure, buffer, kind="svg")
    drawn = re.sub(r"<!--.*?-->", "", buffer.getvalue(), flags=re.DOTALL)
    root = ET.fromstring(drawn)  # noqa: S314 - drawn here
    for parent in root.iter():
        for one in [one for one in parent if _named(one.tag) in LEFT_OUT]:
            parent.remove(one)
        parent.tag = _named(parent.tag)
        style = parent.attrib.pop("style", "")
        known = {_named(name): value for name, value in parent.items()}
        stated = (one.partition(":") for one in style.split(";") if one.strip())
        own = {name.strip(): value.strip() for name, _, value in stated}
        parent.attrib = known | own
    root.attrib |= FOR_ALL
    return Markup(ET.tostring(root, encoding="unicode"))  # noqa: S704 - its text escaped


def _named(name: str) -> str:
    for space, prefix in PREFIXES.items():
        if name.startswith(space):
            return prefix + name.removeprefix(space)
    return name


def _budgets(result: Result) -> list[dict[str, object]]:
    names = {quantity.name for quantity in result.quantities}
    if "relative_permittivity" in names:  # the capacitances are on the way to it
        names -= {"capacitance"}
    return [
        {"name": WORDS[name], "rows": budget_rows(result[name])}
        for name in BUDGETED
        if name in names
    ]
