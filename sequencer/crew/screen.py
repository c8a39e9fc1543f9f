"""The rehearsal on the whole screen: three plain columns, one key per crew action, no colour of its own.

What the truth is stays hidden; only what the box shows, what was said, and what comes next is here.
"""

from __future__ import annotations

from typing import ClassVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.events import Key as KeyEvent
from textual.widgets import Input, Static

from sequencer.crew.keys import Key, keys
from sequencer.crew.rehearsal import Rehearsal
from sequencer.crew.screen_text import believes, comes_next, fold, heard, moment, tail
from sequencer.errors import SequencerError

TICK_S = 0.1
SPEEDS = (1, 2, 10)
OWN_KEYS = "enter next line · p pause · s speed · / order in words · q end"


class Screen(App[None]):
    """Runs a rehearsal until the user ends it."""

    CSS = """
    Screen { background: ansi_default; color: ansi_default; layout: vertical; }
    #top, #bottom { height: 1; width: 100%; }
    #answer { height: auto; min-height: 1; max-height: 3; width: 100%; }
    #columns { height: 1fr; }
    .column { width: 1fr; height: 100%; padding: 0 1 0 0; }
    #keys { height: auto; max-height: 9; }
    #order { display: none; height: 1; border: none; padding: 0; background: ansi_default; color: ansi_default; }
    #order.open { display: block; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [Binding("ctrl+c", "quit", show=False)]
    ENABLE_COMMAND_PALETTE = False
    AUTO_FOCUS = None  # the line for orders takes no key before it is opened

    def __init__(self, rehearsal: Rehearsal, speed: int = 1) -> None:
        super().__init__(ansi_color=True)
        self.rehearsal, self.speed, self.paused = rehearsal, speed, False
        self.keys: dict[str, Key] = {key.key: key for key in keys(rehearsal.pad)}
        self.on: set[str] = set()
        self.answer = ""

    def compose(self) -> ComposeResult:
        yield Static(id="top", markup=False)
        with Horizontal(id="columns"):
            for name in ("box", "said", "next"):
                yield Static(id=name, classes="column", markup=False)
        yield Static(id="answer", markup=False)
        yield Static(id="keys", markup=False)
        yield Static(OWN_KEYS, id="bottom", markup=False)
        yield Input(placeholder="WHO: press arm · say go · fault PART: MODE", id="order")

    def on_mount(self) -> None:
        self.set_interval(TICK_S, self._pass)
        self._show()

    def on_resize(self) -> None:
        self.call_after_refresh(self._show)  # the columns know their size only then

    def on_unmount(self) -> None:
        self.rehearsal.close()

    def _pass(self) -> None:
        """A tenth of a second of the evening."""
        if not self.paused:
            self.rehearsal.advance(round(TICK_S * 1000) * self.speed)
        self._show()

    def _show(self) -> None:
        if not self.query("#bottom"):
            return  # the screen is not built yet, or is being taken down
        rehearsal = self.rehearsal
        pace = "PAUSED" if self.paused else f"{self.speed}x"
        self.query_one("#top", Static).update(f"{rehearsal.pad.title}: rehearsal   {moment(rehearsal.ms)}   {pace}")
        self._column("#box", ["THE BOX BELIEVES", *believes(rehearsal.belief())], from_top=True)
        self._column("#said", heard(rehearsal.said), from_top=False, title="SAID AND DONE")
        self._column("#next", ["COMES NEXT", *comes_next(rehearsal)], from_top=True)
        self.query_one("#answer", Static).update(self.answer)
        self.query_one("#keys", Static).update("\n".join(self._key_lines(self.size.width)))

    def _column(self, where: str, lines: list[str], *, from_top: bool, title: str = "") -> None:
        widget = self.query_one(where, Static)
        width, height = widget.size.width - 1, widget.size.height
        if from_top:
            whole = fold(lines, width)
            shown = whole if len(whole) <= height else [*whole[: height - 1], "…"]
        else:
            shown = [title, *tail(lines, width, height - 1)]
        widget.update("\n".join(shown))

    def _key_lines(self, width: int) -> list[str]:
        """The keys in columns; a key that is 'on' has a * before its label."""
        labels = [f"{key.key}{'*' if key.key in self.on else ' '}{key.label}" for key in self.keys.values()]
        columns = max(1, width // 26)
        share = width // columns
        rows = -(-len(labels) // columns)
        return ["".join(label[: share - 1].ljust(share) for label in labels[row::rows]).rstrip() for row in range(rows)]

    def on_key(self, event: KeyEvent) -> None:
        if self.query_one("#order", Input).has_class("open"):
            if event.key == "escape":
                self._close_order()
            return
        pressed = event.character or ""
        if event.key == "enter":
            self._order("next")
        elif pressed == "p":
            self.paused = not self.paused
        elif pressed == "s":
            self.speed = SPEEDS[(SPEEDS.index(self.speed) + 1) % len(SPEEDS)] if self.speed in SPEEDS else 1
        elif pressed == "q":
            self.exit()
        elif pressed == "/":
            order = self.query_one("#order", Input)
            order.add_class("open")
            order.focus()
        elif pressed in self.keys:
            self._press(self.keys[pressed])
        else:
            return
        event.stop()
        self._show()

    def _press(self, key: Key) -> None:
        if not key.off:
            self._order(key.on)
        elif key.key in self.on:
            self.on.discard(key.key)
            self._order(key.off)
        else:
            self.on.add(key.key)
            self._order(key.on)

    def _order(self, text: str) -> None:
        try:
            self.answer = self.rehearsal.order(text)
        except SequencerError as error:
            self.answer = error.message

    def on_input_submitted(self, event: Input.Submitted) -> None:
        self._order(event.value)
        self._close_order()
        self._show()

    def _close_order(self) -> None:
        order = self.query_one("#order", Input)
        order.value = ""
        order.remove_class("open")
        self.set_focus(None)
