"""Seeded random event logs, as text, to hold two readings of the format against each other.

    random_log(seed, events=200, cores=2, messy=True)

Without `messy` a log is what a well-behaved kernel and recorder write, with a few of the liberties
that the format grants. With it the log is then damaged: lines lost, doubled, swapped, records late,
restarts, wraps, interrupts without end. The same arguments always give the same text.
"""

from random import Random

from tests.random_programs import System, random_system, run_system
from tests.toy_parts import Row


def random_log(seed: int, *, events: int = 200, cores: int = 1, messy: bool = False) -> str:
    """The text of a random log of about `events` events."""
    rng = Random(f"{seed}/{events}/{cores}/{messy}")
    system = random_system(rng, cores)
    boots = [run_system(rng, system, events)]
    if messy and rng.random() < 0.15:
        half = events // 2
        boots = [run_system(rng, system, half), run_system(rng, system, events - half)]
    rows = [_liberties(rng, boot, cores) for boot in boots]
    if messy:
        rows = [_damage(rng, boot, cores) for boot in rows]
    text = _Text(rng, system, messy)
    return text.write(rows)


def _liberties(rng: Random, rows: list[Row], cores: int) -> list[Row]:
    """What the format allows any recorder to write; not damage."""
    rows = list(rows)
    if rng.random() < 0.2:  # kernels re-queue tasks that are ready or running
        for _ in range(3):
            at = rng.randrange(len(rows))
            known = [row for row in rows[:at] if row[2] == "start"]
            if known and rows[at][2] == "start" and known[-1][3] != rows[at][3]:
                time, core, _, _, _ = rows[at]
                rows.insert(at, (time, core, "release", rows[at][3], ""))
    if rng.random() < 0.15:  # a start implies the release
        rows = [row for row in rows if row[2] != "release" or rng.random() > 0.1]
    if cores > 1 and rng.random() < 0.4:
        rows = _early(rng, rows)
    return rows


def _early(rng: Random, rows: list[Row]) -> list[Row]:
    """On two cores: a release just before its wait, a lock before the unlock it follows."""
    for at in range(len(rows)):
        time, core, word, subject, value = rows[at]
        if word not in ("wait", "unlock"):
            continue
        wanted = "release" if word == "wait" else "lock"
        for later in range(at + 1, min(at + 8, len(rows))):
            row = rows[later]
            same = row[3] == subject if word == "wait" else row[4] == value
            if row[2] != wanted or not same:
                continue
            started = any(r[2:4] == ("start", row[3]) for r in rows[at:later])
            if row[1] != core and not started and rng.random() < 0.5:
                del rows[later]
                rows.insert(at, (time, *row[1:]))
            break
    return rows


def _damage(rng: Random, rows: list[Row], cores: int) -> list[Row]:
    for harm in (_lose, _drop, _double, _swap, _unleave, _contradict, _give_back):
        if len(rows) > 30 and rng.random() < 0.35:
            rows = harm(rng, list(rows), cores)
    return rows


def _lose(rng: Random, rows: list[Row], cores: int) -> list[Row]:
    """A full buffer: events of one core are missing, and the recorder says so."""
    for _ in range(rng.randint(1, 2)):
        core = rng.randrange(cores)
        first = rng.randrange(len(rows))
        last = min(len(rows) - 1, first + rng.randint(0, 25))
        time = rows[last][0]
        gone = [row for row in rows[first:last] if row[1] == core]
        kept = [row for row in rows[first:last] if row[1] != core]
        rows[first:last] = [*kept, (time, core, "lost", "", str(len(gone)))]
    return rows


def _drop(rng: Random, rows: list[Row], cores: int) -> list[Row]:
    for _ in range(rng.randint(1, 5)):
        del rows[rng.randrange(len(rows) - 1)]
    return rows


def _double(rng: Random, rows: list[Row], cores: int) -> list[Row]:
    for _ in range(rng.randint(1, 5)):
        at = rng.randrange(len(rows))
        rows.insert(at, rows[at])
    return rows


def _swap(rng: Random, rows: list[Row], cores: int) -> list[Row]:
    """Two lines change places in time."""
    for _ in range(rng.randint(1, 5)):
        at = rng.randrange(len(rows) - 1)
        one, two = rows[at], rows[at + 1]
        rows[at], rows[at + 1] = (one[0], *two[1:]), (two[0], *one[1:])
    return rows


def _unleave(rng: Random, rows: list[Row], cores: int) -> list[Row]:
    return [row for row in rows if row[2] != "leave" or rng.random() > 0.2]


def _contradict(rng: Random, rows: list[Row], cores: int) -> list[Row]:
    """Switches that were not recorded."""
    return [row for row in rows if row[2] not in ("start", "preempt") or rng.random() > 0.08]


def _give_back(rng: Random, rows: list[Row], cores: int) -> list[Row]:
    """Locks that were not seen to be taken, given back, or are given back by another."""
    out = []
    tasks = sorted({row[3] for row in rows if row[2] == "start"})
    for row in rows:
        chance = rng.random()
        if row[2] in ("lock", "unlock", "request") and chance < 0.08:
            continue
        if row[2] == "unlock" and chance < 0.14 and tasks:
            out.append((*row[:3], rng.choice([*tasks, "-"]), row[4]))
            continue
        out.append(row)
    return out


class _Text:
    """Writes rows as a log: ids or names, clock, wraps, late records, repeated headers."""

    def __init__(self, rng: Random, system: System, messy: bool) -> None:
        self.rng = rng
        self.system = system
        self.messy = messy
        self.hz, self.bits = rng.choice(
            ((1_000_000, 32), (1_000_000, 16), (25_000_000, 32), (3_000_000, 24), (1_000_000, 64))
        )
        things = [*system.tasks, *(row[0] for row in system.locks)]
        things += [*(row[0] for row in system.queues), *system.isrs]
        self.ids = {
            name: f"x{number}" if rng.random() < 0.6 else name for number, name in enumerate(things)
        }
        self.late = rng.random() < (0.3 if messy else 0.1)
        self.lateness = " late_us=4" if messy and rng.random() < 0.1 else ""

    def write(self, boots: list[list[Row]]) -> str:
        head = self.head()
        lines = list(head)
        for number, boot in enumerate(boots):
            if number and self.rng.random() < 0.7:
                lines += head if self.rng.random() < 0.5 else []
                lines.append("time,core,event,subject,value")
            elif number == 0:
                lines.append("time,core,event,subject,value")
            lines += self.rows(boot, first=number == 0)
        if self.rng.random() < 0.1:  # a thing that is declared when it is created
            at = self.rng.randrange(3, len(head))
            lines.insert(self.rng.randrange(len(head), len(lines)), lines.pop(at))
        if self.messy and self.rng.random() < 0.1:  # an id that means another thing from there on
            again = self.rng.choice(list(self.system.tasks))
            line = f"#task id={self.ids[again]} name=other_{again}"
            lines.insert(self.rng.randrange(len(head) + 1, len(lines)), line)
        if self.messy and self.rng.random() < 0.2:
            lines.insert(self.rng.randrange(len(head) + 1, len(lines)), "\ufffd\x00noise")
        if self.messy and self.rng.random() < 0.2:
            lines.append("12,0")
        end = "\r\n" if self.rng.random() < 0.1 else "\n"
        return end.join(lines) + end

    def head(self) -> list[str]:
        system, rng = self.system, self.rng
        order = "higher_first" if system.higher_first else "lower_first"
        lines = [
            "#tracelens 1",
            f"#clock hz={self.hz} bits={self.bits}{self.lateness}",
            f"#priority order={order}",
        ]
        if system.policy != "fixed":
            lines.append(f"#policy name={system.policy}")
        for name, keys in system.tasks.items():
            if system.policy == "round_robin" and rng.random() < 0.5:
                keys = {key: value for key, value in keys.items() if key != "priority"}
            told = " ".join(f"{k}={self.ids.get(str(v), v)}" for k, v in keys.items())
            lines.append(f"#task id={self.ids[name]} name={name} {told}".rstrip())
        for name, protocol, ceiling, declared in system.locks:
            line = f"#lock id={self.ids[name]} name={name} protocol={protocol}"
            if protocol == "ceiling" and declared:
                line += f" ceiling={system.number(ceiling)}"
            lines.append(line)
        for queue, depth in system.queues:
            told = "" if depth is None else f" depth={depth}"
            lines.append(f"#queue id={self.ids[queue]} name={queue}{told}")
        lines += [f"#isr id={self.ids[isr]} name={isr}" for isr in system.isrs]
        return lines

    def rows(self, rows: list[Row], first: bool) -> list[str]:
        scale = self.hz // 1_000_000
        near_its_end = (1 << self.bits) - 300 * scale
        start = self.rng.choice((0, 1000, near_its_end if first else 0))
        written = []
        for time, core, word, subject, value in rows:
            ticks = (start + time * scale) % (1 << self.bits)
            subject = self.ids.get(subject, subject)
            value = self.ids.get(value, value)
            written.append(f"{ticks},{core},{word},{subject},{value}")
        if self.late and len(written) > 10:
            for _ in range(self.rng.randint(1, 6)):
                at = self.rng.randrange(5, len(written))
                line = written.pop(at)
                written.insert(min(len(written), at + self.rng.randint(1, 6)), line)
        return written
