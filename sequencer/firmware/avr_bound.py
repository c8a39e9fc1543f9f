"""A bound on the cycles of one scan, by static analysis of the compiled AVR code with the table it carries.

Every path that the machine code can take is followed, at once where paths come together again: what comes from flash
(code and table) is known, what comes from RAM is not, except the few cells given. A branch on something unknown goes
both ways; the dearer way counts. So the bound holds for any inputs and any memory, also such as no run can reach, and
loops are as long as the table makes them. Cycles are those of the instruction set manual. Where a loop depends on
something unknown there is no bound, and that is said.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from sequencer.firmware.avr_code import Instruction, decode, uses
from sequencer.firmware.avr_machine import RAM_END, Machine, NoBound, skips, step
from sequencer.firmware.elf import Image

MARK = 0x2A  # the register by which the harness tells where a scan begins and ends


class Bounder:
    """Bounds one image: `cells` are RAM addresses whose values are watched."""

    def __init__(self, elf: Image, cells: Mapping[int, int]) -> None:
        size = max(s.address + len(s.data) for s in elf.segments if s.address < 0x80_0000)
        flash = bytearray(size + 4)
        for segment in elf.segments:
            if segment.address < 0x80_0000:
                flash[segment.address : segment.address + len(segment.data)] = segment.data
        self.flash, self.cells, self.entry = bytes(flash), dict(cells), elf.symbols["main"][0]
        self.code: dict[int, Instruction] = {}
        self._explore_code()
        self.live = {
            at: (tuple(n for n in live if n < 32), tuple(n - 32 for n in live if n >= 32)) for at, live in self._liveness().items()
        }
        self.memo: dict[object, int] = {}

    # --- the code as a graph -------------------------------------------------------------------------------------
    def _next(self, at: int) -> list[int]:
        i = self.code[at]
        after = at + 2 * i.words
        if i.name in ("rjmp", "jmp"):
            return [i.a]
        if i.name in ("rcall", "call"):
            return [i.a]
        if i.name == "ret":
            return self.returns
        if i.name in ("brbs", "brbc"):
            return [after, i.b]
        if i.name in ("cpse", "sbrc", "sbrs"):
            return [after, after + 2 * decode(self.flash, after).words]
        return [after]

    def _explore_code(self) -> None:
        """Everything reachable from main; a call is followed, and comes back."""
        todo = [self.entry]
        self.returns: list[int] = []
        before: dict[int, int] = {}
        while todo:
            at = todo.pop()
            if at in self.code:
                continue
            i = self.code[at] = decode(self.flash, at)
            following = [] if i.name == "ret" else self._next(at)
            if i.name in ("rcall", "call"):
                self.returns.append(at + 2 * i.words)
                following = [*following, at + 2 * i.words]
            for n in following:
                before[n] = before.get(n, 0) + 1
            todo += following
        self.meetings = {at for at, times in before.items() if times > 1}

    def _liveness(self) -> dict[int, frozenset[int]]:
        """Per address the registers (0 to 31) and flags (from 32 on) that are still read later."""
        live = {at: frozenset[int]() for at in self.code}
        before: dict[int, list[int]] = {at: [] for at in self.code}
        for at in self.code:
            for n in self._next(at):
                before.setdefault(n, []).append(at)
        todo = set(self.code)
        while todo:
            at = todo.pop()
            reads, writes = uses(self.code[at])
            after = frozenset[int]().union(*(live[n] for n in self._next(at)))
            now = (after - writes) | reads
            if now != live[at]:
                live[at] = now
                todo |= set(before[at])
        return live

    # --- following the paths -------------------------------------------------------------------------------------
    def starts(self) -> list[Machine]:
        """The machine at each beginning of a scan, as reached from main."""
        found: list[Machine] = []
        todo = [Machine(self.entry, [None] * 32, [None] * 8, RAM_END, {})]
        todo[0].r[1] = 0  # as the C start-up code leaves it
        seen: set[object] = set()
        while todo:
            m = todo.pop()
            key = self._key(m)
            if key in seen:
                continue
            seen.add(key)
            for _, after, mark in self._run(m):
                (found if mark else todo).append(after)
        if not found:
            raise NoBound("no scan begins in this image")
        return found

    def bound(self, begin: Machine, cells: Mapping[int, int]) -> int:
        """Most cycles from `begin` to the end of the scan, the watched cells being as given. Raises NoBound."""
        start = begin.copy()
        start.memory |= cells
        memo, open_now = self.memo, set[object]()
        stack: list[tuple[object, Machine, Iterator[tuple[int, Machine, bool]], int]] = []

        def enter(m: Machine) -> None:
            key = self._key(m)
            if key in open_now:
                raise NoBound(f"a loop at {m.pc:04X} goes round by something unknown")
            open_now.add(key)
            memo.setdefault(key, -1)
            stack.append((key, m, iter(list(self._run(m))), 0))

        root = self._key(start)
        if memo.get(root, -1) >= 0:
            return memo[root]
        enter(start)
        while stack:
            key, m, rest, most = stack.pop()
            for cost, after, mark in rest:
                if mark:
                    most = max(most, cost)
                    continue
                known = memo.get(self._key(after), -1)
                if known >= 0:
                    most = max(most, cost + known)
                    continue
                again = iter([(cost, after, False), *rest])
                stack.append((key, m, again, most))
                enter(after)
                break
            else:
                memo[key] = most
                open_now.discard(key)
        return memo[root]

    def _key(self, m: Machine) -> object:
        registers, flags = self.live[m.pc]
        r, f = m.r, m.f
        return m.pc, tuple([r[n] for n in registers]), tuple([f[n] for n in flags]), m.sp, tuple(sorted(m.memory.items()))

    def _run(self, m: Machine) -> Iterator[tuple[int, Machine, bool]]:
        """Go on to the next place where ways part or meet: (cycles, machine there, whether a mark was written)."""
        m, cost, first = m.copy(), 0, True
        while True:
            if not first and m.pc in self.meetings:
                yield cost, m, False
                return
            first = False
            i = self.code[m.pc]
            cost += i.cycles
            if i.name in ("brbs", "brbc", "cpse", "sbrc", "sbrs"):
                if i.name[0] == "b":
                    flag = m.f[i.a]
                    taken, dearer, to = (None if flag is None else bool(flag) == (i.name == "brbs")), 1, i.b
                else:
                    words = decode(self.flash, m.pc + 2).words
                    taken, dearer, to = skips(m, i), words, m.pc + 2 + 2 * words
                if taken is None:
                    other = m.copy()
                    other.pc = to
                    m.pc += 2
                    if i.name[0] == "b":
                        other.f[i.a], m.f[i.a] = int(i.name == "brbs"), int(i.name != "brbs")
                    elif i.name == "cpse":  # alike where it skips: the code may go on using the one for the other
                        other.r[i.a] = other.r[i.b] = m.r[i.a] if m.r[i.b] is None else m.r[i.b]
                    yield cost + dearer, other, False
                    yield cost, m, False
                    return
                cost, m.pc = (cost + dearer, to) if taken else (cost, m.pc + 2)
                continue
            if i.name == "out" and i.b == MARK:
                m.pc += 2
                yield cost, m, True
                return
            step(m, i, self.flash, self.cells)
