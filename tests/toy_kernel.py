"""A toy kernel that runs random programs and writes down what it does, for random event logs.

It is a small, honest simulation: tasks are generators that yield what they want to do, the
scheduler is preemptive with fixed priorities, and every record is written at the moment at which
the thing happens. Urgency is a number here; a larger one is more urgent.
"""

from random import Random

from tests.toy_parts import Core, Habits, Isr, IsrRun, Lock, Row, Task


class Kernel:
    def __init__(self, rng: Random, cores: int, habits: Habits) -> None:
        self.rng = rng
        self.habits = habits
        self.cores = [Core(number) for number in range(cores)]
        self.tasks: dict[str, Task] = {}
        self.locks: dict[str, Lock] = {}
        self.items: dict[str, int] = {}
        self.isrs: list[Isr] = []
        self.now = 0
        self.log: list[Row] = []
        self.where = 0  # the core that writes

    # ------------------------------------------------------------------ writing

    def write(self, word: str, subject: str, value: object = "") -> None:
        self.log.append((self.now, self.where, word, subject, str(value)))

    # ------------------------------------------------------------------ the run

    def run(self, events: int) -> list[Row]:
        for _ in range(events * 50):
            self.settle()
            if len(self.log) >= events:
                break
            self.pass_time()
        self.where = 0
        self.write("mark", "log_end")
        return self.log

    def pass_time(self) -> None:
        steps = [isr.next_at - self.now for isr in self.isrs]
        steps += [t.deadline - self.now for t in self.tasks.values() if t.deadline is not None]
        for core in self.cores:
            if core.isrs:
                steps.append(core.isrs[-1].left)
            elif core.switching:
                steps.append(core.left)
            elif core.current and not core.current.spins:
                steps.append(core.current.left)
                if self.habits.slice:
                    steps.append(self.habits.slice)
        step = max(1, min(steps, default=10))
        self.now += step
        for core in self.cores:
            if core.isrs:
                core.isrs[-1].left -= step
            elif core.switching:
                core.left -= step
            elif core.current:
                core.current.left -= step
                core.current.sliced += step

    def settle(self) -> None:
        """Do everything that is due now."""
        for _ in range(200):
            before = len(self.log)
            changed = self.timers() or self.interrupts()
            for core in self.cores:
                self.where = core.number
                changed = self.one_core(core) or changed
            if not changed and len(self.log) == before:
                return

    def timers(self) -> bool:
        changed = False
        for task in self.tasks.values():
            if task.deadline is not None and task.deadline <= self.now:
                task.deadline = None
                if task.state == "waiting":
                    self.where = self.rng.choice(self.cores).number
                    if task.waits_for in self.locks:
                        task.again = None  # out of patience
                    self.release(task)
                    changed = True
        return changed

    def interrupts(self) -> bool:
        changed = False
        for isr in self.isrs:
            if isr.next_at <= self.now:
                isr.next_at = self.now + self.rng.randint(*isr.gap)
                core = self.cores[isr.core]
                if isr not in core.wanted and all(run.isr is not isr for run in core.isrs):
                    core.wanted.append(isr)
                    self.where = isr.core
                    if self.habits.pends:
                        self.write("pend", isr.name)
                    changed = True
        return changed

    def one_core(self, core: Core) -> bool:
        for isr in sorted(core.wanted, key=lambda isr: -isr.level):
            if "irq" in core.masks or (core.isrs and core.isrs[-1].isr.level >= isr.level):
                continue
            core.wanted.remove(isr)
            if core.asleep and self.rng.random() < 0.7:
                core.asleep = False
                self.write("wake", str(core.number))
            self.write("enter", isr.name)
            core.isrs.append(IsrRun(isr, self.rng.randint(0, 4), "act"))
            return True
        if core.isrs:
            return self.go_on_with_isr(core)
        if core.switching:
            return self.finish_switch(core)
        if self.schedule(core):
            return True
        task = core.current
        if task and (task.spins or task.left <= 0):
            return self.go_on(core, task)
        return False

    def go_on_with_isr(self, core: Core) -> bool:
        run = core.isrs[-1]
        if run.left > 0:
            return False
        if run.then == "act":
            run.isr.acts(self, run.isr)
            run.left, run.then = self.rng.randint(0, 4), "leave"
        else:
            self.write("leave", run.isr.name)
            core.isrs.pop()
        return True

    # ------------------------------------------------------------------ the scheduler

    def schedule(self, core: Core) -> bool:
        current = core.current
        if current and "sched" in core.masks:
            return False
        ready = [
            task
            for task in self.tasks.values()
            if task.state == "ready" and not task.reserved and task.core in (None, core.number)
        ]
        if not ready:
            return self.rest(core)
        best = max(ready, key=lambda task: (task.eff, -list(self.tasks).index(task.name)))
        if current:
            sliced = self.habits.slice and current.sliced >= self.habits.slice
            if best.eff < current.eff or (best.eff == current.eff and not sliced):
                return False
            self.wake_up(core)
            current.state, current.sliced = "ready", 0
            if self.habits.preempt_recorded:
                self.write("preempt", current.name)
            core.current = None
        core.switching, best.reserved = best, True
        recorded = current is None or self.habits.preempt_recorded
        core.left = self.rng.randint(0, self.habits.overhead) if recorded else 0
        return True

    def rest(self, core: Core) -> bool:
        idling = core.current is None or core.current.idle
        if idling and self.habits.sleeps and not core.asleep and self.rng.random() < 0.2:
            core.asleep = True
            self.write("sleep", str(core.number))
            return True
        return False

    def wake_up(self, core: Core) -> None:
        if core.asleep:
            core.asleep = False
            if self.rng.random() < 0.8:
                self.write("wake", str(core.number))

    def finish_switch(self, core: Core) -> bool:
        if core.left > 0:
            return False
        task = core.switching
        assert task
        core.switching, task.reserved = None, False
        self.wake_up(core)
        core.current, task.state, task.last_core, task.sliced = task, "running", core.number, 0
        self.write("start", task.name)
        return True

    # ------------------------------------------------------------------ what tasks do

    def go_on(self, core: Core, task: Task) -> bool:
        if task.again:
            command, task.again = task.again, None
        else:
            if task.doing is None:
                task.doing = task.program(self, task)
            command = next(task.doing)
        task.left = 0
        before = len(self.log)
        getattr(self, f"do_{command[0]}")(core, task, *command[1:])
        return not task.spins or len(self.log) > before

    def block(self, core: Core, task: Task, what: str, until: int | None = None) -> None:
        task.state, task.waits_for, task.deadline = "waiting", what, until
        core.current = None
        self.write("wait", task.name, what)

    def release(self, task: Task, by: str = "") -> None:
        task.state, task.waits_for, task.deadline = "ready", None, None
        self.write("release", task.name, by if self.habits.says_who else "")

    def do_run(self, core: Core, task: Task, time: int) -> None:
        task.left = time

    def do_delay(self, core: Core, task: Task, time: int) -> None:
        self.block(core, task, "delay", self.now + max(1, time))

    def do_wait(self, core: Core, task: Task, what: str, patience: int | None = None) -> None:
        self.block(core, task, what, None if patience is None else self.now + patience)

    def do_signal(self, core: Core, task: Task, what: str) -> None:
        self.wake_one(what, task.name)

    def wake_one(self, what: str, by: str) -> None:
        waiting = [t for t in self.tasks.values() if t.waits_for == what and t.state == "waiting"]
        if waiting:
            self.release(max(waiting, key=lambda t: t.eff), by)

    def put(self, queue: str, by: str) -> None:
        self.items[queue] += 1
        self.write("send", by, queue)
        self.wake_one(queue, by)

    def do_send(self, core: Core, task: Task, queue: str) -> None:
        self.put(queue, task.name)

    def do_receive(self, core: Core, task: Task, queue: str) -> None:
        if self.items[queue]:
            self.items[queue] -= 1
            self.write("receive", task.name, queue)
        else:
            task.again = ("receive", queue)
            self.block(core, task, queue)

    def activate(self, name: str) -> None:
        task = self.tasks[name]
        self.write("activate", name)
        if task.state == "suspended":
            task.state, task.eff = "ready", task.base
        else:
            task.pending += 1

    def do_activate(self, core: Core, task: Task, name: str) -> None:
        self.activate(name)

    def do_terminate(self, core: Core, task: Task) -> None:
        self.write("terminate", task.name)
        core.current, task.doing = None, None
        task.state = "suspended"
        if task.pending:
            task.pending -= 1
            task.state = "ready"

    def do_suspend(self, core: Core, task: Task, name: str) -> None:
        other = self.tasks[name]
        free = not other.reserved and not other.held and not other.again
        if other.state in ("ready", "waiting") and free:
            self.write("suspend", name)
            other.state, other.waits_for, other.deadline, other.pending = "suspended", None, None, 0

    def do_write(self, core: Core, task: Task, word: str, subject: str, value: object) -> None:
        self.write(word, subject, value)

    def do_mask(self, core: Core, task: Task, what: str) -> None:
        core.masks.append(what)
        self.write("mask", task.name, what)

    def do_unmask(self, core: Core, task: Task, what: str) -> None:
        if what in core.masks:
            core.masks.remove(what)
            self.write("unmask", task.name, what)

    # ------------------------------------------------------------------ locks

    def do_lock(
        self,
        core: Core,
        task: Task,
        name: str,
        patience: int | None = None,
        resumed: bool = False,
    ) -> None:
        lock = self.locks[name]
        first = not task.spins and not (resumed and self.habits.promises)
        if first and self.habits.request_recorded:
            self.write("request", task.name, name)
        if lock.owner is task:
            lock.depth += 1
            self.write("lock", task.name, name)
            return
        in_the_way = self.in_the_way(task, lock)
        if in_the_way is None:
            task.spins = None
            self.take(task, lock)
            return
        task.again = ("lock", name, patience, True)
        owner = in_the_way.owner
        elsewhere = owner and owner.state == "running" and owner.last_core != core.number
        if task.spins or (self.habits.spins and elsewhere):
            task.spins = name
            return
        self.block(core, task, in_the_way.name, None if patience is None else self.now + patience)
        if owner and in_the_way.protocol != "none":
            self.inherit(owner, task.eff, in_the_way)

    def in_the_way(self, task: Task, lock: Lock) -> Lock | None:
        if lock.owner is not None or lock.promised not in (None, task):
            return lock
        if lock.protocol == "ceiling" and not lock.declared_ceiling:
            for other in self.locks.values():
                taken = other.owner not in (None, task)
                refuses = other.protocol == "ceiling" and not other.declared_ceiling
                if taken and refuses and other.ceiling >= task.eff:
                    return other
        return None

    def inherit(self, owner: Task, urgency: int, lock: Lock) -> None:
        if owner.eff >= urgency or lock.declared_ceiling:
            return
        owner.eff = urgency
        self.write("priority", owner.name, ("urgency", urgency))
        if owner.state == "ready" and self.habits.requeue_recorded:
            self.write("release", owner.name)

    def take(self, task: Task, lock: Lock) -> None:
        lock.owner, lock.depth, lock.promised = task, 1, None
        task.held.append(lock.name)
        self.write("lock", task.name, lock.name)
        if lock.declared_ceiling and lock.ceiling > task.eff:
            task.eff = lock.ceiling

    def do_unlock(self, core: Core, task: Task, name: str) -> None:
        lock = self.locks[name]
        owner = lock.owner
        if owner is None:
            return
        self.write("unlock", task.name, name)
        lock.depth -= 1
        if lock.depth:
            return
        lock.owner = None
        owner.held.remove(name)
        self.lower(owner)
        waiting = [t for t in self.tasks.values() if t.waits_for == name and t.state == "waiting"]
        if waiting:
            following = max(waiting, key=lambda t: t.eff)
            if self.habits.promises and following.again and following.again[1] == name:
                lock.promised = following
            self.release(following, task.name)

    def lower(self, owner: Task) -> None:
        """Back to the base priority, when and if this kernel does that."""
        before = owner.eff
        ceilings = [self.locks[n].ceiling for n in owner.held if self.locks[n].declared_ceiling]
        if owner.held and self.habits.restore != "at once":
            return
        owner.eff = max([owner.base, *ceilings])
        recorded = any(
            word == "priority" and subject == owner.name for _, _, word, subject, _ in self.log
        )
        if before != owner.eff and recorded and self.habits.restore != "never":
            self.write("priority", owner.name, ("urgency", owner.eff))
