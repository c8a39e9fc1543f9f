"""The checklist as one HTML file without anything from outside; it prints with its mark on every page."""

from __future__ import annotations

from sequencer.crew.checklist import Checklist
from sequencer.crew.words import bar, clock, kgf, spoken, tied


def html(sheet: Checklist, paper: str = "a4") -> str:
    """The whole checklist; every text of the user's is escaped by the template engine."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    engine = Environment(loader=PackageLoader("sequencer.crew"), autoescape=True, undefined=StrictUndefined)
    engine.filters["tied"] = tied
    page = {"a4": "A4", "letter": "letter"}[paper]
    return engine.get_template("checklist.html.j2").render(
        sheet=sheet, paper=page, spoken=spoken, bar=bar, kgf=kgf, clock=clock
    )
