"""HTML from the templates beside this module: everything inserted is escaped, styles are inline, nothing is fetched."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from ..model import shown


def render(template: str, **values: object) -> str:
    """One self-contained HTML document."""
    return _environment().get_template(template).render(**values)


def _harmless(value: object) -> object:
    """Every text that is inserted is shown harmlessly, whoever wrote it; markup made by the project stays."""
    return shown(value) if type(value) is str else value


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("dawnproof.report", "templates"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, finalize=_harmless,
    )  # fmt: skip
    environment.filters["sentence_case"] = lambda text: Markup.escape(str(text)[:1].upper() + str(text)[1:])
    return environment
