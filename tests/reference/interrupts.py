"""Interrupt handlers, masks, and cores that sleep."""

from tests.reference.axis import Event
from tests.reference.running import Running
from tests.reference.world import IsrRun


class Interrupts(Running):
    """Events of interrupt handlers, masks and sleep."""

    def _on_enter(self, time: int, event: Event) -> None:
        core = self.world.cores[event.core]
        for run in [run for run in core.isr_stack if run.isr == event.subject]:
            self._end_isr(core, run, time)
            self._repair("ISR without leave")
        run = IsrRun(
            event.subject,
            core.id,
            time,
            event.line,
            self.pends.pop(event.subject, None),
            self.ahead.isr_ends_at_start(self.index),
        )
        self.world.isr_runs.append(run)
        core.isr_stack.append(run)
        core.isr.set(time, run)

    def _on_leave(self, time: int, event: Event) -> None:
        core = self.world.cores[event.core]
        if all(run.isr != event.subject for run in core.isr_stack):
            self.text.unused["leave without enter"].append(event.line)
            return
        while core.isr_stack[-1].isr != event.subject:
            self._end_isr(core, core.isr_stack[-1], time)
            self._repair("ISR without leave")
        self._end_isr(core, core.isr_stack[-1], time)

    def _on_pend(self, time: int, event: Event) -> None:
        self.pends.setdefault(event.subject, time)

    def _on_mask(self, time: int, event: Event) -> None:
        core = self.world.cores[event.core]
        if event.value not in core.masks:
            self.text.unused["mask of neither irq nor sched"].append(event.line)
            return
        core.masks[event.value].append((time, event.subject))
        core.masked.set(time, True)

    def _on_unmask(self, time: int, event: Event) -> None:
        core = self.world.cores[event.core]
        if not core.masks.get(event.value):
            self.text.unused["unmask without mask"].append(event.line)
            return
        start, who = core.masks[event.value].pop()
        if not core.masks[event.value]:
            self.world.masks.append((core.id, event.value, who, start, time))
        core.masked.set(time, any(core.masks.values()))

    def _on_sleep(self, time: int, event: Event) -> None:
        self.world.cores[event.core].asleep.set(time, True)

    def _on_wake(self, time: int, event: Event) -> None:
        core = self.world.cores[event.core]
        if not core.asleep.last:
            self.text.unused["wake without sleep"].append(event.line)
        core.asleep.set(time, False)
