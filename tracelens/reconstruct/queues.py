"""Items in queues: how many, since when, and whose jobs they begin."""

from tracelens.reconstruct.arena import (
    ACTIVATION,
    BY_QUEUE,
    CONSUMER,
    EVENT_ROW,
    FIRST_ITEM,
    ITEM_NEXT,
    ITEM_SENT,
    LAST_ITEM,
    LEVEL,
    LEVEL_KNOWN,
    MODE,
    NONE,
    NOW,
    R_ITEM,
    R_LEVEL,
    Memory,
    item_row,
    object_row,
    task_row,
)
from tracelens.reconstruct.emit import emit_record, emit_repair, give_item, take_item
from tracelens.reconstruct.jobs import give_up_pending, on_receive_of_job, on_send_of_job

_REPAIR_EMPTY = 4


def on_send(M: Memory, queue: int) -> None:
    """An item is put in. Where one task's jobs are begun by items, this begins one; if older
    items of unknown number may stand before it, it cannot be judged."""
    o = object_row(M, queue)
    i = take_item(M)
    M[item_row(M, i) + ITEM_SENT] = M[NOW]
    M[item_row(M, i) + ITEM_NEXT] = NONE
    if M[o + FIRST_ITEM] < 0:
        M[o + FIRST_ITEM] = i
    else:
        M[item_row(M, M[o + LAST_ITEM]) + ITEM_NEXT] = i
    M[o + LAST_ITEM] = i
    M[o + LEVEL] += 1
    if M[o + LEVEL_KNOWN] == 1:
        emit_record(M, R_LEVEL, queue, M[NOW], M[o + LEVEL])
    if M[o + CONSUMER] >= 0:
        on_send_of_job(M, M[o + CONSUMER], M[o + LEVEL_KNOWN] == 1)


def on_receive(M: Memory, t: int, queue: int) -> None:
    """An item is taken out, the oldest; t is NONE if a handler takes it."""
    o = object_row(M, queue)
    sent = NONE
    i = M[o + FIRST_ITEM]
    if i >= 0:
        sent = M[item_row(M, i) + ITEM_SENT]
        M[o + FIRST_ITEM] = M[item_row(M, i) + ITEM_NEXT]
        give_item(M, i)
        M[o + LEVEL] -= 1
        if M[o + LEVEL_KNOWN] == 1:
            emit_record(M, R_ITEM, queue, sent, M[NOW])
            emit_record(M, R_LEVEL, queue, M[NOW], M[o + LEVEL])
    elif M[o + LEVEL_KNOWN] == 1:
        # More was in it than the log shows: nobody knows how much, until a task waits for it.
        M[o + LEVEL_KNOWN] = 0
        emit_record(M, R_LEVEL, queue, M[NOW], NONE)
        emit_repair(M, _REPAIR_EMPTY, M[EVENT_ROW])
    if t >= 0:
        k = task_row(M, t)
        if M[k + MODE] == BY_QUEUE and M[k + ACTIVATION] == queue:
            on_receive_of_job(M, t, sent, M[o + LEVEL_KNOWN] == 1)


def drop_items(M: Memory, queue: int) -> None:
    """Forget the items of a queue."""
    o = object_row(M, queue)
    while M[o + FIRST_ITEM] >= 0:
        i = M[o + FIRST_ITEM]
        M[o + FIRST_ITEM] = M[item_row(M, i) + ITEM_NEXT]
        give_item(M, i)
    M[o + LAST_ITEM] = NONE
    M[o + LEVEL] = 0


def forget_items(M: Memory, queue: int, at: int) -> None:
    """Events were lost: how many items there are is not known until a task waits for one."""
    o = object_row(M, queue)
    drop_items(M, queue)
    if M[o + LEVEL_KNOWN] == 1:
        emit_record(M, R_LEVEL, queue, at, NONE)
    M[o + LEVEL_KNOWN] = 0


def proven_empty(M: Memory, queue: int) -> None:
    """A task waits for an item: if the number was not known, it is none."""
    o = object_row(M, queue)
    if M[o + LEVEL_KNOWN] == 0:
        drop_items(M, queue)
        M[o + LEVEL_KNOWN] = 1
        emit_record(M, R_LEVEL, queue, M[NOW], 0)
        if M[o + CONSUMER] >= 0:
            give_up_pending(M, M[o + CONSUMER])
