"""The checklist as PDF: large type, black and white, no action split over a page, its mark on every page.

Set with reportlab and the fonts that come with matplotlib, so that nothing but Python and pip is needed and any
letter of the user's file prints. The same checklist gives the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, Literal
from xml.sax import saxutils

from sequencer.crew.checklist import Checklist, Line
from sequencer.crew.words import bar, clock, kgf, tied
from sequencer.errors import SequencerError

Paper = Literal["a4", "letter"]
MARGIN = 12.0  # mm
LOG_ROWS = 16
FOOT = "This checks a model, not the hardware. It certifies nothing. Stored gas can kill."


def escape(text: str) -> str:
    """The user's own text, harmless to the typesetter and with numbers tied to their units."""
    return saxutils.escape(tied(text))


def pdf(sheet: Checklist, paper: Paper = "a4") -> bytes:
    """The whole checklist as one PDF; raises SequencerError where one line is too long for a page."""
    from reportlab.platypus.doctemplate import LayoutError

    try:
        counted = _build(sheet, paper, 0)
        return _build(sheet, paper, counted[1])[0]
    except LayoutError as error:
        raise SequencerError(f"a line of the checklist is longer than a page: {str(error)[:120]}") from error


@cache
def _fonts() -> tuple[str, str]:
    """Registers and names the plain and the bold font."""
    import matplotlib
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    pdfmetrics.registerFont(TTFont("Plain", str(folder / "DejaVuSans.ttf")))
    pdfmetrics.registerFont(TTFont("Bold", str(folder / "DejaVuSans-Bold.ttf")))
    pdfmetrics.registerFontFamily("Plain", normal="Plain", bold="Bold", italic="Plain", boldItalic="Bold")
    return "Plain", "Bold"


def _build(sheet: Checklist, paper: Paper, pages: int) -> tuple[bytes, int]:
    """(bytes, number of pages); `pages` is printed as the total."""
    from reportlab.lib.pagesizes import A4, LETTER
    from reportlab.lib.units import mm
    from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

    plain, bold = _fonts()
    size = {"a4": A4, "letter": LETTER}[paper]
    out = io.BytesIO()
    document = BaseDocTemplate(
        out, pagesize=size, leftMargin=MARGIN * mm, rightMargin=MARGIN * mm, topMargin=18 * mm, bottomMargin=16 * mm,
        title=f"{sheet.title}: launch-day checklist", author="", subject=sheet.mark, invariant=1,
    )  # fmt: skip

    def furniture(canvas: Any, doc: Any) -> None:
        canvas.saveState()
        width, height = size
        canvas.setFont(bold, 10)
        canvas.drawString(MARGIN * mm, height - 12 * mm, sheet.mark)
        canvas.drawRightString(width - MARGIN * mm, height - 12 * mm, f"page {doc.page} of {pages}")
        canvas.setLineWidth(1)
        canvas.line(MARGIN * mm, height - 14 * mm, width - MARGIN * mm, height - 14 * mm)
        canvas.setFont(plain, 8)
        canvas.drawString(MARGIN * mm, 9 * mm, FOOT)
        canvas.restoreState()

    frame = Frame(document.leftMargin, document.bottomMargin, document.width, document.height, 0, 0, 0, 0)
    document.addPageTemplates([PageTemplate("page", [frame], onPage=furniture)])
    document.build(_Story(sheet, document.width).all())
    return out.getvalue(), document.page


class _Story:
    """The flow of the pages."""

    def __init__(self, sheet: Checklist, width: float) -> None:
        from reportlab.lib.styles import ParagraphStyle

        plain, bold = _fonts()
        self.sheet, self.width, self.bold = sheet, width, bold
        self.text = ParagraphStyle("text", fontName=plain, fontSize=11, leading=14)
        self.small = ParagraphStyle("small", parent=self.text, fontSize=9.5, leading=12)
        self.head = ParagraphStyle("head", parent=self.text, fontName=bold, fontSize=16, leading=20, spaceBefore=10, spaceAfter=5, keepWithNext=1)
        self.title = ParagraphStyle("title", parent=self.head, fontSize=22, leading=27)
        self.big = ParagraphStyle("big", parent=self.text, fontSize=17, leading=24)
        self.card = ParagraphStyle("card", parent=self.head, fontSize=34, leading=42)

    def all(self) -> list[Any]:
        from reportlab.platypus import PageBreak

        blocks = [
            self._front(), self._phases(), *self._cards(),
            [*self._lamps(), *self._pressures(), *self._wiring(), *self._proposed()],  # to look things up: no page of its own
            self._log(),
        ]  # fmt: skip
        story: list[Any] = []
        for block in blocks:
            if block:
                story += [PageBreak(), *block] if story else block
        return story

    def _say(self, text: str, style: Any = None) -> Any:
        """One paragraph; `text` may carry <b>, everything of the user's in it is escaped by the caller."""
        from reportlab.platypus import Paragraph

        return Paragraph(text, style or self.text)

    def _table(self, head: Sequence[str], rows: Sequence[Sequence[str]], shares: Sequence[float], style: Any = None, height: float | None = None) -> Any:
        from reportlab.lib import colors
        from reportlab.platypus import Table, TableStyle

        style = style or self.text
        cells = [[self._say(f"<b>{escape(word)}</b>", self.small) for word in head]]
        cells += [[self._say(cell, style) for cell in row] for row in rows]
        widths = [share / sum(shares) * self.width for share in shares]
        heights = None if height is None else [None, *[height] * len(rows)]
        table = Table(cells, colWidths=widths, rowHeights=heights, repeatRows=1, splitInRow=0, hAlign="LEFT")
        table.setStyle(TableStyle([
            ("GRID", (0, 0), (-1, -1), 0.6, colors.black), ("LINEBELOW", (0, 0), (-1, 0), 1.4, colors.black),
            ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 4), ("RIGHTPADDING", (0, 0), (-1, -1), 4),
            ("TOPPADDING", (0, 0), (-1, -1), 3), ("BOTTOMPADDING", (0, 0), (-1, -1), 5),
        ]))  # fmt: skip
        return table

    def _front(self) -> list[Any]:
        from reportlab.platypus import Spacer

        sheet = self.sheet
        story = [self._say(escape(sheet.title), self.title), self._say("Launch-day checklist", self.head)]
        story.append(self._say(f"Revision <b>{sheet.revision}</b>, table checksum <b>{sheet.checksum}</b>. The box must show the same checksum; if it does not, stop here. {escape(sheet.zero)}"))
        story.append(Spacer(1, 8))
        story += [self._say("• " + escape(caution)) for caution in sheet.cautions]
        story.append(Spacer(1, 8))
        if sheet.stand_off is not None:
            off = sheet.stand_off
            story.append(self._say(f"<b>Stand-off at least {escape(off.distance)}</b>: {escape(off.source)}; {escape(off.energy)} at most."))
            story.append(self._say("Blast only; fragments, hoses and the vehicle go further. The site's own distance governs where it is greater."))
        if sheet.sizing_fails:
            story.append(self._say(f"<b>The sizing sheet fails: {escape(', '.join(sheet.sizing_fails))}. Do not launch on it.</b>"))
        story += [self._say(f"<b>The file accepts a breach of: {escape(rule)}.</b> Reason: {escape(why)}") for rule, why in sheet.waivers]
        story.append(Spacer(1, 8))
        story.append(self._table(["place", "date", "wind", "range opened", "range closed"], [[""] * 5], [3, 2, 2, 2, 2], height=26))
        story.append(self._say("Roles", self.head))
        rows = [[f"<b>{escape(r.name)}</b>", "", escape(r.does), escape(r.holds), escape(r.never)] for r in sheet.roles]
        story.append(self._table(["role", "name", "does", "holds", "may never"], rows, [2.2, 2.4, 4, 2.2, 3], self.small))
        story += [Spacer(1, 8), self._say("Anyone may call <b>STOP</b>. Only the range safety officer resumes. Say, repeat, confirm.")]
        return story

    def _phases(self) -> list[Any]:
        from reportlab.platypus import KeepTogether

        story: list[Any] = []
        for phase in self.sheet.phases:
            rows = [self._row(line) for line in phase.lines]
            story.append(self._say(escape(phase.title), self.head))
            story.append(self._table(["no.", "who", "do", "see", "limit", "initials"], rows, [1.1, 2.8, 6.4, 5, 3.2, 2.1]))
            for line in phase.lines:
                if line.poll:
                    ticks = self._table(["role", "go", "no go"], [[escape(role), "", ""] for role in line.poll], [4, 1.5, 1.5])
                    title = self._say(f"Go or no go, line {line.number}. A silent role is no go.", self.head)
                    story.append(KeepTogether([title, ticks]))
        return story

    @staticmethod
    def _row(line: Line) -> list[str]:
        do = f"<b>{escape(line.do)}</b>"
        if line.during:
            do += f"<br/>box: {escape(line.during)}"
        if line.because:
            do += f"<br/>{escape(line.because)}"
        see = escape(line.see) + (f"<br/><b>{escape(line.hold)}</b>" if line.hold else "")
        return [str(line.number), escape(line.who), do, see, escape(line.limit), ""]

    def _cards(self) -> list[list[Any]]:
        from reportlab.platypus import Spacer

        pages = []
        for card in self.sheet.cards:
            page = [self._say(escape(card.name.upper()), self.card), self._say(f"<b>When:</b> {escape(card.when)}", self.big)]
            if card.states:
                page.append(self._say(f"The box shows: {escape(', '.join(card.states))}", self.big))
            page.append(Spacer(1, 14))
            rows = [[str(i), f"<b>{escape(step)}</b>", ""] for i, step in enumerate(card.steps, 1)]
            page.append(self._table(["", "in this order", "done at"], rows, [1, 11, 2.4], self.big))
            if card.wait:
                page += [Spacer(1, 14), self._say(f"<b>Wait at least {escape(card.wait)} before anyone approaches.</b>", self.big)]
            page += [Spacer(1, 14), self._say("Nobody approaches before the range safety officer says so.", self.big)]
            pages.append(page)
        return pages

    def _lamps(self) -> list[Any]:
        rows = [
            [f"<b>{escape(x.state)}</b>", escape(x.lamps), "allowed" if x.people == "allowed" else "<b>KEEP OUT</b>", escape(x.says), escape(x.moved)]
            for x in self.sheet.lamps
        ]  # fmt: skip
        return [self._say("Lamp card", self.head), self._table(["state", "lamps", "people", "what it means", "the box moves"], rows, [2.4, 2.6, 2, 5, 4], self.small)]

    def _pressures(self) -> list[Any]:
        from reportlab.platypus import Spacer

        if not self.sheet.pressures:
            return []
        rows = [
            [step.state.replace("_", " "), step.volume.replace("_", " "), bar(step.gauge), kgf(step.load) if step.load is not None else "-",
             f"{step.joules / 1000:.1f} kJ", clock(step.dump) if step.dump is not None else "-", ""]
            for step in self.sheet.pressures
        ]  # fmt: skip
        head = ["state", "vessel", "pressure", "load on head", "energy", "dump to 0.1 bar", "read"]
        note = "Load at the largest seat and least weight; dump at the slow end, gas only. Water going out first takes longer."
        story = [self._say("Pressure steps", self.head), self._table(head, rows, [3, 2, 2.4, 2.4, 2.2, 2.4, 2.6]), Spacer(1, 4), self._say(note, self.small)]
        if self.sheet.timings:
            times = [[escape(x.what), escape(x.usual), escape(x.worst)] for x in self.sheet.timings]
            story.append(self._say("From the sizing sheet, from the highest pressure", self.head))
            story.append(self._table(["what", "usual", "at worst"], times, [6, 2.4, 2.4]))
        return story

    def _wiring(self) -> list[Any]:
        rows = [[escape(w.terminal), f"<b>{escape(w.name.replace('_', ' '))}</b>", escape(w.says), escape(w.cut)] for w in self.sheet.wiring]
        return [self._say("Wiring", self.head), self._table(["terminal", "name", "what it is", "if its wire is cut"], rows, [2, 3, 5.5, 4], self.small)]

    def _proposed(self) -> list[Any]:
        if not self.sheet.proposed:
            return []
        rows = [[escape(p.where), f"<b>{escape(p.do)}</b>", escape(p.because)] for p in self.sheet.proposed]
        story = [self._say("Proposed lines", self.head), self._say("Nobody wrote these; the pad implies them.")]
        return [*story, self._table(["where", "do", "because"], rows, [3, 5, 7], self.small)]

    def _log(self) -> list[Any]:
        from reportlab.platypus import Spacer

        head = ["time", "line", "state", *self.sheet.readings, "note"]
        rows = [[""] * len(head)] * LOG_ROWS
        shares = [1.3, 1, 1.8, *[1.5] * len(self.sheet.readings), 3]
        signed = self._table(["range safety officer", "launch director", "time"], [["", "", ""]], [4, 4, 2], height=34)
        return [self._say("Log of readings", self.head), self._table(head, rows, shares, height=30), Spacer(1, 12), signed]
