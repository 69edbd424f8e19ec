"""The templates, and what every page keeps to: one style sheet, no script, nothing fetched."""

import base64
import hashlib
from functools import cache
from importlib.resources import files
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from tracelens.drawing.palette import stylesheet
from tracelens.numbers import tied
from tracelens.plain import plain
from tracelens.version import __version__

POLICY: Final = (
    "default-src 'none'; img-src data:; style-src 'sha256-{style}'; base-uri 'none'; "
    "form-action 'none'"
)
"""Content security policy: no script at all, nothing from elsewhere, one known style sheet."""


def fill(template: str, **values: object) -> str:
    """A page: the template of that name in the frame that all pages share, with these values.

    Strings among them, wherever they stand, are made plain and escaped, but for `Markup`.
    """
    own = files("tracelens.report.html").joinpath("report.css").read_text("utf-8")
    style = f"{stylesheet()}\n{own}"
    return (
        _environment()
        .get_template(template)
        .render(
            policy=POLICY.format(style=_digest(style)),
            style=Markup(style),
            version=__version__,
            **values,
        )
    )


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("tracelens.report.html", ""),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_safe,
    )


def _digest(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _safe(value: Any) -> Any:
    """Every value that a template shows passes here, then the escaping of markup."""
    return tied(plain(value)) if isinstance(value, str) and not isinstance(value, Markup) else value
