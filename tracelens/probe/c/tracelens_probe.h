/* tracelens_probe.h: records what a real-time kernel does, for tracelens to read.
 *
 * C99; no allocation, no library. Two ways to keep the records:
 *   drain      the ring is emptied into any channel, at any pace; what finds it full is counted
 *   keep last  the newest records stay; freeze it at a fault, read it by debugger or after reset
 *
 * What depends on your target (counter, interrupt masking, cores, sizes) stands in
 * tracelens_probe_port.h. Which of your kernel's hooks calls which function: see HOOKS.md.
 */
#ifndef TRACELENS_PROBE_H
#define TRACELENS_PROBE_H

#include <stdint.h>

#include "tracelens_probe_port.h"

/* ---------------------------------------------------------------- what is recorded */

enum tl_event {
    TL_ACTIVATE = 1, TL_START, TL_PREEMPT, TL_WAIT, TL_RELEASE, TL_TERMINATE, TL_SUSPEND,
    TL_ARRIVE, TL_FINISH, TL_ENTER_ISR, TL_LEAVE_ISR, TL_PEND, TL_MASK, TL_UNMASK,
    TL_REQUEST, TL_LOCK, TL_UNLOCK, TL_SEND, TL_RECEIVE, TL_PRIORITY, TL_STACK,
    TL_SLEEP, TL_WAKE, TL_MARK, TL_MARK_BEGIN, TL_MARK_END, TL_MARK_POINT, TL_LOST,
    TL_COUNT = 30, /* in the stream only: how many records of a core came before */
    TL_TEXT = 31   /* in the stream only: a declaration */
};

enum tl_kind { TL_UNUSED = 0, TL_TASK, TL_ISR, TL_MUTEX, TL_QUEUE, TL_PHASE };

#define TL_NOBODY 0u      /* subject '-', or no value */
#define TL_DELAY 0xFFFFu  /* a wait for time to pass */
#define TL_IRQ 1u         /* what is masked */
#define TL_SCHED 2u

/* One event in the ring: 12 bytes. */
typedef struct {
    uint32_t time;    /* counter ticks */
    uint32_t value;
    uint16_t subject; /* number of an object, or TL_NOBODY */
    uint8_t event;    /* enum tl_event */
    uint8_t valued;   /* 1 if value says something */
} tl_record_t;

/* Something with a name. Its number is its place in the table: 1 to TL_OBJECTS - 1. */
typedef struct {
    uint32_t period_us;    /* 0: not declared; so below */
    uint32_t deadline_us;
    uint32_t size;         /* stack bytes, queue depth, lock ceiling */
    int32_t priority;
    uint32_t released;     /* when the open job began, if watched */
    uint8_t kind;          /* enum tl_kind */
    uint8_t told;          /* 1: priority is declared; 2: an idle task */
    uint8_t watched;       /* 1: freeze when a job is late; 2: and one is open */
    volatile uint8_t sent; /* 1: the reader has had it as it is now */
    char name[TL_NAME_BYTES];
} tl_object_t;

typedef struct {
    volatile uint32_t head; /* records ever written */
    volatile uint32_t tail; /* records ever read */
    uint32_t dropped;       /* since the last that found room */
    uint32_t last_time;
    tl_record_t records[TL_RECORDS];
} tl_ring_t;

/* All that the probe keeps, in one piece: a dump of this memory is a log. */
typedef struct {
    uint32_t magic; /* TL_MAGIC; its byte order is the target's */
    uint16_t version;
    uint8_t cores;
    uint8_t name_bytes;
    uint32_t records; /* a ring */
    uint16_t objects;
    uint8_t mode;
    uint8_t higher_first;
    uint32_t hz;
    uint32_t cost_ticks; /* of 64 events */
    volatile uint32_t frozen;
    uint32_t check; /* of the fields above but `frozen`: tells memory that survived */
    tl_object_t object[TL_OBJECTS];
    tl_ring_t ring[TL_CORES];
} tl_state_t;

#define TL_MAGIC 0x31504C54u /* "TLP1" in a little-endian dump */
#define TL_VERSION 1u

enum tl_mode { TL_DRAIN = 0, TL_KEEP_LAST = 1 };
enum tl_order { TL_LOWER_FIRST = 0, TL_HIGHER_FIRST = 1 };

/* ---------------------------------------------------------------- beginning and end */

/* Begin. Returns 1 if a frozen ring of the time before the reset is still there: it is kept, and
 * nothing is recorded, until tl_drain has read it out and tl_restart is called. */
int tl_init(enum tl_mode mode, enum tl_order order);

/* Forget all records, keep the names, record again. */
void tl_restart(void);

/* Record no more: what led here is kept. Safe anywhere, in a fault handler too. */
void tl_freeze(void);

/* ---------------------------------------------------------------- names, once each */

void tl_task(uint16_t task, const char *name, int32_t priority);
void tl_idle_task(uint16_t task, const char *name);
void tl_timing(uint16_t task, uint32_t period_us, uint32_t deadline_us);
void tl_stack_size(uint16_t task, uint32_t bytes);
void tl_isr(uint16_t isr, const char *name);
void tl_lock_named(uint16_t lock, const char *name);
void tl_queue(uint16_t queue, const char *name, uint32_t depth);
void tl_phase(uint16_t phase, const char *name);

/* Freeze when a job of this task ends later than its deadline. A job begins at release, activate
 * or arrive, and ends at finish, terminate or a wait for TL_DELAY. */
void tl_freeze_when_late(uint16_t task);

/* Send all names again: to a reader that came later. */
void tl_repeat_names(void);

/* ---------------------------------------------------------------- events */

void tl_record(enum tl_event event, uint16_t subject, uint8_t valued, uint32_t value);

#define tl_activate(task) tl_record(TL_ACTIVATE, (task), 0u, 0u)
#define tl_start(task) tl_record(TL_START, (task), 0u, 0u)
#define tl_preempt(task) tl_record(TL_PREEMPT, (task), 0u, 0u)
#define tl_wait(task, what) tl_record(TL_WAIT, (task), 1u, (what))
#define tl_release(task, by) tl_record(TL_RELEASE, (task), 1u, (by))
#define tl_terminate(task) tl_record(TL_TERMINATE, (task), 0u, 0u)
#define tl_suspend(task) tl_record(TL_SUSPEND, (task), 0u, 0u)
#define tl_arrive(task) tl_record(TL_ARRIVE, (task), 0u, 0u)
#define tl_finish(task) tl_record(TL_FINISH, (task), 0u, 0u)
#define tl_enter(isr) tl_record(TL_ENTER_ISR, (isr), 0u, 0u)
#define tl_leave(isr) tl_record(TL_LEAVE_ISR, (isr), 0u, 0u)
#define tl_pend(isr) tl_record(TL_PEND, (isr), 0u, 0u)
#define tl_mask(who, what) tl_record(TL_MASK, (who), 1u, (what))
#define tl_unmask(who, what) tl_record(TL_UNMASK, (who), 1u, (what))
#define tl_request(task, lock) tl_record(TL_REQUEST, (task), 1u, (lock))
#define tl_lock(task, lock) tl_record(TL_LOCK, (task), 1u, (lock))
#define tl_unlock(task, lock) tl_record(TL_UNLOCK, (task), 1u, (lock))
#define tl_send(who, queue) tl_record(TL_SEND, (who), 1u, (queue))
#define tl_receive(who, queue) tl_record(TL_RECEIVE, (who), 1u, (queue))
#define tl_priority(task, number) tl_record(TL_PRIORITY, (task), 1u, (uint32_t)(int32_t)(number))
#define tl_stack(task, free_bytes) tl_record(TL_STACK, (task), 1u, (free_bytes))
#define tl_sleep() tl_record(TL_SLEEP, TL_NOBODY, 0u, 0u)
#define tl_wake(ticks_slept) tl_record(TL_WAKE, TL_NOBODY, 1u, (ticks_slept))
#define tl_mark(phase, number) tl_record(TL_MARK, (phase), 1u, (uint32_t)(int32_t)(number))
#define tl_mark_begin(phase) tl_record(TL_MARK_BEGIN, (phase), 0u, 0u)
#define tl_mark_end(phase) tl_record(TL_MARK_END, (phase), 0u, 0u)
#define tl_mark_point(phase) tl_record(TL_MARK_POINT, (phase), 0u, 0u)

/* Call it from the tick, or at least once in half the range of the counter: a silence as long as
 * the counter can count could not be told from a short one. Records only if one is near. */
void tl_heartbeat(void);

/* ---------------------------------------------------------------- reading */

/* Put whole frames into out, at most room bytes; returns how many. 0: nothing to send now.
 * room must be at least TL_FRAME_BYTES. One reader at a time; it may run anywhere. In the mode
 * TL_KEEP_LAST it gives records only once the ring is frozen. */
uint32_t tl_drain(uint8_t *out, uint32_t room);

#define TL_FRAME_BYTES (TL_NAME_BYTES + 128u)

#endif
