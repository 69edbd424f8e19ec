"""Interrupt handlers, sleep and masks on one core."""

from tracelens.reconstruct.arena import (
    DEPTH,
    EVENT_ROW,
    IRQ_MASKS,
    IRQ_SINCE,
    IRQ_WHO,
    ISR_WIDTH,
    ISRS,
    MAX_DEPTH,
    NONE,
    NOW,
    PENDED,
    R_ISR,
    R_MASK,
    SCHED_MASKS,
    SCHED_SINCE,
    SCHED_WHO,
    SLEEPING,
    STACK_ISR,
    STACK_OWN,
    STACK_PEND,
    STACK_SINCE,
    STACK_UNCLOSED,
    STACK_WHOLE,
    STACK_WIDTH,
    Memory,
    core_row,
    stack_row,
    touch_core,
)
from tracelens.reconstruct.emit import emit_record, emit_repair, emit_unused

_REPAIR_LEAVE = 0
_REPAIR_WAKE = 1
_REPAIR_DEPTH = 3
_UNUSED_LEAVE = 0
_UNUSED_WAKE = 2
_UNUSED_UNMASK = 4


def end_top(M: Memory, c: int, at: int, whole: int) -> None:
    """The innermost handler of core c ends."""
    k = core_row(M, c)
    M[k + DEPTH] -= 1
    s = stack_row(M, c, M[k + DEPTH])
    complete = 1 if whole == 1 and M[s + STACK_WHOLE] == 1 else 0
    since, own, pend = M[s + STACK_SINCE], M[s + STACK_OWN], M[s + STACK_PEND]
    emit_record(M, R_ISR, M[s + STACK_ISR], c, since, at, own, pend, complete)
    touch_core(M, c)


def depth_of(M: Memory, c: int, isr: int) -> int:
    """How deep the innermost run of this handler stands on core c's stack, or NONE."""
    depth = M[core_row(M, c) + DEPTH] - 1
    while depth >= 0 and M[stack_row(M, c, depth) + STACK_ISR] != isr:
        depth -= 1
    return depth


def end_below(M: Memory, c: int, depth: int) -> None:
    """A handler whose leave was never written ended; those above it on the stack stay."""
    k = core_row(M, c)
    top = M[k + DEPTH] - 1
    for level in range(depth, top):
        for field in range(STACK_WIDTH):
            here = stack_row(M, c, level) + field
            above = stack_row(M, c, level + 1) + field
            kept = M[here]
            M[here] = M[above]
            M[above] = kept
    end_top(M, c, M[NOW], 1)
    emit_repair(M, _REPAIR_LEAVE, M[EVENT_ROW])


def end_unclosed(M: Memory, c: int) -> None:
    """A task starts: handlers whose leave was never written ended before it."""
    depth = M[core_row(M, c) + DEPTH] - 1
    while depth >= 0:
        if M[stack_row(M, c, depth) + STACK_UNCLOSED] == 1:
            end_below(M, c, depth)
        depth -= 1


def on_enter(M: Memory, isr: int, c: int, unclosed: int) -> None:
    """A handler begins. `unclosed`: it enters again before it leaves, so its leave is missing."""
    k = core_row(M, c)
    depth = depth_of(M, c, isr)
    if depth >= 0 and M[stack_row(M, c, depth) + STACK_UNCLOSED] == 1:
        end_below(M, c, depth)
    if M[k + DEPTH] == MAX_DEPTH:
        end_top(M, c, M[NOW], 0)
        emit_repair(M, _REPAIR_DEPTH, M[EVENT_ROW])
    s = stack_row(M, c, M[k + DEPTH])
    M[s + STACK_ISR] = isr
    M[s + STACK_SINCE] = M[NOW]
    M[s + STACK_OWN] = 0
    M[s + STACK_UNCLOSED] = unclosed
    M[s + STACK_WHOLE] = 1
    pended = M[ISRS] + isr * ISR_WIDTH + PENDED
    M[s + STACK_PEND] = M[pended]
    M[pended] = NONE
    M[k + DEPTH] += 1
    touch_core(M, c)


def on_leave(M: Memory, isr: int, c: int) -> None:
    """A handler ends; those nested in it, whose leave is missing, end with it."""
    k = core_row(M, c)
    depth = depth_of(M, c, isr)
    if depth < 0:
        emit_unused(M, _UNUSED_LEAVE, M[EVENT_ROW])
        return
    while M[k + DEPTH] > depth + 1:
        end_top(M, c, M[NOW], 1)
        emit_repair(M, _REPAIR_LEAVE, M[EVENT_ROW])
    end_top(M, c, M[NOW], 1)


def on_pend(M: Memory, isr: int) -> None:
    """The interrupt was requested; requests before it is served are one."""
    pended = M[ISRS] + isr * ISR_WIDTH + PENDED
    if M[pended] < 0:
        M[pended] = M[NOW]


def clear_handlers(M: Memory, c: int, at: int) -> None:
    """Nobody knows what core c did: handlers under way are cut off."""
    while M[core_row(M, c) + DEPTH] > 0:
        end_top(M, c, at, 0)


def on_sleep(M: Memory, c: int) -> None:
    """The core stops until it wakes."""
    M[core_row(M, c) + SLEEPING] = 1
    touch_core(M, c)


def on_wake(M: Memory, c: int) -> None:
    """The core goes on; what the counter missed is in the times already."""
    k = core_row(M, c)
    if M[k + SLEEPING] == 0:
        emit_unused(M, _UNUSED_WAKE, M[EVENT_ROW])
    M[k + SLEEPING] = 0
    touch_core(M, c)


def end_sleep(M: Memory, c: int) -> None:
    """A task runs on core c: if the core was asleep, its wake was not recorded."""
    k = core_row(M, c)
    if M[k + SLEEPING] == 1:
        M[k + SLEEPING] = 0
        touch_core(M, c)
        emit_repair(M, _REPAIR_WAKE, M[EVENT_ROW])


def on_mask(M: Memory, c: int, who: int, sched: bool) -> None:
    """Interrupts masked, or the scheduler locked; masks nest."""
    k = core_row(M, c)
    masks = SCHED_MASKS if sched else IRQ_MASKS
    if M[k + masks] == 0:
        M[k + (SCHED_SINCE if sched else IRQ_SINCE)] = M[NOW]
        M[k + (SCHED_WHO if sched else IRQ_WHO)] = who
    M[k + masks] += 1
    touch_core(M, c)


def on_unmask(M: Memory, c: int, sched: bool) -> None:
    """One mask less; with the last one the masked time ends."""
    k = core_row(M, c)
    masks = SCHED_MASKS if sched else IRQ_MASKS
    if M[k + masks] == 0:
        emit_unused(M, _UNUSED_UNMASK, M[EVENT_ROW])
        return
    M[k + masks] -= 1
    if M[k + masks] == 0:
        end_mask(M, c, M[NOW], sched)


def end_mask(M: Memory, c: int, at: int, sched: bool) -> None:
    """Write down a masked time of core c that ends at `at`."""
    k = core_row(M, c)
    since = M[k + (SCHED_SINCE if sched else IRQ_SINCE)]
    who = M[k + (SCHED_WHO if sched else IRQ_WHO)]
    emit_record(M, R_MASK, c, 1 if sched else 0, who, since, at)
    M[k + (SCHED_MASKS if sched else IRQ_MASKS)] = 0
    touch_core(M, c)


def clear_masks(M: Memory, c: int, at: int) -> None:
    """Nobody knows what core c did: masked times are cut off at `at`."""
    k = core_row(M, c)
    if M[k + IRQ_MASKS] > 0:
        end_mask(M, c, at, False)
    if M[k + SCHED_MASKS] > 0:
        end_mask(M, c, at, True)
