"""Contacts whose broken wire reads like the word that lets things happen.

A cut wire reads open. So what forbids has to open (a stop opens when pressed), and what permits has to close. A
contact that is asked for both ways can do only one of the two: nothing is said of it where a launch shows its wire
whole, by asking for the closed contact.
"""

from __future__ import annotations

from collections.abc import Iterator

from sequencer.description import terms as t
from sequencer.description.box import ContactInput
from sequencer.description.reading.view import Exit, View


def look(view: View) -> None:
    """Every contact, once: what a cut wire would do."""
    bad: dict[str, str] = {}
    shown: set[str] = set()
    for exits in view.live.values():
        for one in exits:
            for name, value in view.spread(one.way, every=bool(one.trip)):
                for contact, closed, found in _use(view, one, name, value):
                    if found:
                        bad.setdefault(contact, found)
                    elif closed:
                        shown.add(contact)
    for contact, found in bad.items():
        part = view.pad.inputs[contact]
        if contact not in shown and isinstance(part, ContactInput):
            other = "opens" if part.contact.closed_means_word else "closes"
            view.say(
                "cut-wire-goes-unseen", ("inputs", contact), found, "a contact that is closed while things may happen, and open when they may not",
                f"use the other pole of the switch, and write '{other} when {part.contact.word}'",
            )  # fmt: skip


def _use(view: View, one: Exit, name: str, value: bool) -> Iterator[tuple[str, bool, str]]:
    """(contact, whether the closed contact is asked for, what a cut wire would do; '' for nothing bad)."""
    term = view.pad.conditions[name].term
    if not isinstance(term, t.ContactIs | t.Becomes):
        return
    part = view.pad.inputs[term.input]
    assert isinstance(part, ContactInput)
    press = isinstance(term, t.Becomes)
    at_word = (term.word == part.contact.word) == (getattr(term, "wanted", True) == value)
    closed = at_word == part.contact.closed_means_word
    what = f"'{term.input}' {part.contact.word if at_word else f'not {part.contact.word}'}"
    if one.trip:
        if not press:
            yield term.input, False, f"trip '{one.trip}' looks for {what}, which is the closed contact: with its wire cut the trip never comes" if closed else ""
    elif press:
        if value:
            yield term.input, closed, "" if closed else f"{one.label} waits for {what}, which is the open contact: a wire that breaks does it"
    elif _permits(view, one):
        yield term.input, closed, "" if closed else f"{one.label} asks for {what}, which is the open contact: with its wire cut it is always so"


def _permits(view: View, one: Exit) -> bool:
    """A move that starts something: gas in, gas kept in, a release."""
    return bool(view.starts_hazard(one.state, one.to)) or (view.holds_gas(one.to) and not view.holds_gas(one.state))
