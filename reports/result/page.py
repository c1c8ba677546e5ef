"""One self-contained HTML page of a result."""

import io
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from ...analysis.result import Result
from ..errors import ReportError, writing_to
from .picture import draw, save_figure
from .summary import (
    WORDS,
    budget_rows,
    heading,
    quantity_rows,
    step_rows,
    sweep_remarks,
)

if TYPE_CHECKING:
    from jinja2 import Template
    from markupsafe import Markup
    from matplotlib.figure import Figure

__all__ = ["CAUTION", "check_page", "save_page", "svg_of", "template", "write_page"]

CAUTION = (
    "A tank multiplies its voltage by Q, and a resonating part burns at once and deep: "
    "keep hands off while it is driven. An unshielded resonant coil radiates. Local "
    "rules and a licensed person come first."
)
NO_LIBRARY = "pages need jinja2 and matplotlib: pip install 'halfpower[report]'"
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


def save_page(result: Result, path: Path, *, invented: str = "") -> None:
    """Write a result as one HTML file with its picture inside.

    Parameters
    ----------
    result
        What was found.
    path
        The file; its folder is made where needed.
    invented
        A sentence that says so where the setting is invented.

    Raises
    ------
    ReportError
        The file cannot be written, or the templates' library is not installed.
    """
    text = template("result.html.j2").render(
        title=heading(result),
        invented=invented,
        rows=quantity_rows(result),
        steps=step_rows(result),
        said=result.remarks,
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
    write_page(text, path)


def template(name: str) -> "Template":
    """Load a page's template.

    Raises
    ------
    ReportError
        The templates' library is not installed.
    """
    try:
        import jinja2
    except ImportError as error:
        raise ReportError(NO_LIBRARY) from error
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("halfpower.reports"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
    )
    return environment.get_template(name)


def svg_of(figure: "Figure") -> "Markup":
    """Draw a figure to stand in a page."""
    from markupsafe import Markup

    buffer = io.StringIO()
    save_figure(figure, buffer, kind="svg")
    text = buffer.getvalue()
    return Markup(text[text.index("<svg") :])  # noqa: S704 - drawn here, its text escaped


def write_page(text: str, path: Path) -> None:
    """Write a page; its folder is made where needed.

    Raises
    ------
    ReportError
        The file cannot be written.
    """
    with writing_to(path):
        path.write_text(text, encoding="utf-8", errors="backslashreplace")


def _budgets(result: Result) -> list[dict[str, object]]:
    names = {quantity.name for quantity in result.quantities}
    if "relative_permittivity" in names:  # the capacitances are on the way to it
        names -= {"capacitance"}
    return [
        {"name": WORDS[name], "rows": budget_rows(result[name])}
        for name in BUDGETED
        if name in names
    ]
