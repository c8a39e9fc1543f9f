"""Every run of the exact simulator lies inside the reached set of the abstraction.

The simulator is driven by random acts that keep to the crew's rules (no slip, no fault); after every period its truth
is abstracted to the bits that the simulator knows, and some reached word must show the same.
"""

import random

import numpy as np
import pytest

from sequencer.description import load
from sequencer.description import terms as t
from sequencer.proof.build import draft_of, system_of
from sequencer.proof.campaign import Campaign
from sequencer.proof.draft import thresholds
from sequencer.proof.explore import explore, forward
from sequencer.proof.people import ON_PAD, allowed
from sequencer.simulation import Session
from sequencer.simulation.events import (
    At,
    Event,
    HandValve,
    Latch,
    Pin,
    PowerOff,
    PowerOn,
    Strike,
    Switch,
    Walk,
)
from sequencer.table import Inputs, power_up, scan


class Shadow:
    """A session with the reference scan in step, so that filters and timers can be looked into."""

    def __init__(self, pad, draft, seed, steps=None, events=()):
        self.draft = draft
        self.session = Session(pad, events, seed=seed, steps=steps, table=draft.table, record=False)
        self.memory = None
        self.last = None
        sample = self.session.world.sample

        def noted():
            self.last = sample()
            return self.last

        self.session.world.sample = noted

    def tick(self):
        box, was, self.last = self.session.box, self.session.box.controller, None
        self.session.tick()
        if box.controller is not was:
            self.memory = power_up(self.draft.table)
        if self.last is not None:
            self.memory, outputs, _ = scan(self.draft.table, self.memory, Inputs._make(self.last))
            assert outputs == box.commands
        if box.phase in ("off", "booting"):
            self.memory = None

    def word(self):
        """(bits that are known, their values) of this moment."""
        draft, world, memory = self.draft, self.session.world, self.memory
        known = {}
        if memory is None:
            place = 0
        elif not memory.settled:
            place = 1
        else:
            region = sum(memory.timer >= limit for limit in thresholds(draft.table, memory.state))
            place = draft.place(memory.state, region)
        for volume, edges in draft.bands.edges.items():
            pressure = world.pressure(volume)
            known |= {draft.bands.name(volume, edge): pressure >= edge for edge in edges}
        for contact, bit in draft.tracked.items():
            if bit.endswith(" latched"):
                known[bit] = world.head_state(bit.removesuffix(" latched")) == "latched"
            if memory is not None and memory.settled:
                number = [c.name for c in draft.table.contacts].index(contact)
                closed = bool(memory.stable >> number & 1)
                known[draft.seen(contact)] = closed == draft.pad.inputs[contact].contact.closed_means_word
        roles = [world.place(role) for role in draft.pad.crew.roles]
        known[ON_PAD] = "pad" in roles or bool(self.leaving(roles))
        care = draft.layout.mask(known)
        want = draft.layout.mask(name for name, value in known.items() if value)
        return care, draft.layout.at(place, want)

    def leaving(self, roles):
        return [one for one in self.session.world.people.walking if one[2] == "line"]


def acts(shadow, chance):
    """One random act that the crew's rules allow."""
    draft, session, world = shadow.draft, shadow.session, shadow.session.world
    pad = draft.pad
    part = next(p for p in pad.site.values() if hasattr(p, "walk"))
    roles = [world.place(role) for role in pad.crew.roles]
    walker = next((s.who for s in pad.crew.steps if s.walk), next(iter(pad.crew.roles)))
    what = chance.choice(["switch"] * 8 + ["gate", "gate", "walk", "walk", "hands", "power", "dump"])
    if what == "switch":
        name = chance.choice([c.name for c in draft.table.contacts if c.name not in draft.tracked])
        word = pad.inputs[name].contact.word
        likely = {"stop": 0.03, "key": 0.9, "arm": 0.7}.get(name, 0.5)
        session.act("", Switch(name, word if chance.random() < likely else f"not {word}"))
    elif what == "gate":
        word = pad.inputs[part.gate].contact.word
        if all(r == "line" for r in roles):
            session.act("", Switch(part.gate, word if chance.random() < 0.8 else f"not {word}"))
        else:
            session.act("", Switch(part.gate, f"not {word}"))
    elif what == "walk" and world.place(walker) == "pad":
        if not world.truth_of_gate_shut():
            session.act(walker, Walk(walker, "out"))
    elif what == "walk" and world.place(walker) == "line":
        _, word = shadow.word()
        dials = all(world.read_dial(n) < 0.1e5 for n, p in pad.site.items() if hasattr(p, "dial"))
        if draft.layout.place_of(word) in allowed(draft) and dials and not world.truth_of_gate_shut():
            session.act(walker, Walk(walker, "in"))
    elif what == "hands" and "pad" in roles:
        head = next(n for n, p in pad.site.items() if hasattr(p, "release_head"))
        session.act("", Latch(head))
        for name, one in pad.site.items():
            if hasattr(one, "pulled"):
                session.act("", Pin(name, chance.random() < 0.8))
    elif what == "power":
        if session.world.powered and chance.random() < 0.1:
            session.act("", PowerOff())
        else:
            session.act("", PowerOn())
    elif what == "dump":
        for name, one in pad.site.items():
            if getattr(one, "opened_by", "") == "hand":
                session.act("", HandValve(name, chance.random() < 0.1))


@pytest.fixture(scope="module")
def club():
    pad = load("configs/club.yaml")
    draft = draft_of(pad)
    system = system_of(draft)
    return pad, draft, explore(system).all


class Reached:
    """The reached set, asked by projections."""

    def __init__(self, draft, words):
        self.draft, self.words, self.projected = draft, words, {}

    def must_hold(self, shadow):
        care, word = shadow.word()
        care |= ((1 << 64) - 1) & ~self.draft.layout.low
        if care not in self.projected:
            self.projected[care] = np.unique(self.words & np.uint64(care))
        table = self.projected[care]
        at = int(np.searchsorted(table, np.uint64(word)))
        place = self.draft.layout.place_of(word)
        names = [n for n, v in self.draft.layout.told(word).items() if v]
        assert at < len(table) and int(table[at]) == word, f"{shadow.session.ms} ms: {self.draft.told(place)} {names}"
        return place


def with_gate(shadow, pad):
    gate = next(p.gate for p in pad.site.values() if hasattr(p, "walk"))
    world = shadow.session.world
    world.truth_of_gate_shut = world.judge(t.SwitchIs(gate, pad.inputs[gate].contact.word))


@pytest.mark.parametrize("seed", range(3))
def test_every_moment_of_a_random_day_is_among_the_reached_situations(club, seed):
    pad, draft, words = club
    reached, shadow, chance = Reached(draft, words), Shadow(pad, draft, seed), random.Random(seed)
    with_gate(shadow, pad)
    places = set()
    for number in range(9_000):
        if number % 10 == 0 and chance.random() < 0.5:
            acts(shadow, chance)
        shadow.tick()
        places.add(reached.must_hold(shadow))
    assert len(places) >= 3


@pytest.mark.parametrize("disturbed_in", ["", "filling", "holding", "counting"])
def test_every_moment_of_the_crews_day_with_disturbances_is_among_the_reached_situations(club, disturbed_in):
    pad, draft, words = club
    reached, chance = Reached(draft, words), random.Random(f"crew {disturbed_in}")
    shadow = Shadow(pad, draft, 0, steps=pad.crew.steps)
    with_gate(shadow, pad)
    states = set()
    for number in range(14_000):
        if disturbed_in in states and number % 25 == 0 and chance.random() < 0.5:
            acts(shadow, chance)
        shadow.tick()
        states.add(draft.told(reached.must_hold(shadow)))
    assert (disturbed_in or "gone") in states


def test_the_projection_refuses_a_situation_that_cannot_be(club):
    """The test above can fail: gas in the bottle while the box is at rest is not among the reached situations."""
    pad, draft, words = club
    reached, shadow = Reached(draft, words), Shadow(pad, draft, 0)
    for _ in range(4_000):
        shadow.tick()
    assert shadow.session.state_name == "rest"
    shadow.session.world.set_pressure("bottle", 3e5)
    with pytest.raises(AssertionError):
        reached.must_hold(shadow)


def test_every_moment_of_curlews_nominal_day_is_among_the_reached_situations():
    pad = load("configs/curlew.yaml")
    draft = draft_of(pad)
    reached = Reached(draft, explore(system_of(draft), judged=False).all)
    shadow, states = Shadow(pad, draft, 0, steps=pad.crew.steps), set()
    for _ in range(60_000):
        shadow.tick()
        states.add(draft.told(reached.must_hold(shadow)))
        if "flown" in states and shadow.session.state_name == "rest":
            break
    assert {"leak_watching", "full_filling", "releasing", "flown", "rest"} <= states


STRIKES = (
    "bottle_sensor: frozen", "gate: stuck closed", "fill_line: stuck open", "dump_line: stuck shut",
    "hold_down: lets go early",
)  # fmt: skip


@pytest.mark.parametrize("name", STRIKES)
def test_every_moment_of_a_day_with_a_fault_is_among_what_that_fault_reaches(club, name):
    """Up to the first breach of a rule about the world: what comes after it is not followed."""
    pad, draft, words = club
    system = system_of(draft)
    explored = explore(system)
    campaign = Campaign(draft, system, explored, forward(system))
    kind = next(k for k in campaign.kinds if name in [f.name for f in k.faults])
    delta = campaign.single(kind)
    reached = Reached(draft, np.union1d(words, delta.new))
    part, _, mode = name.partition(": ")
    for seconds in (95,):
        shadow = Shadow(pad, draft, 0, steps=pad.crew.steps, events=[Event(At(seconds * 1000), Strike(part, mode))])
        for _ in range(7_500):
            shadow.tick()
            if any(watch.broken_ms is not None for watch in shadow.session.watches):
                break
            reached.must_hold(shadow)
