/* Drives the probe with two threads and their timer signals, and counts by itself what it did.
 *
 * host MODE ROUNDS PACE_US: MODE is `stream` (frames on standard output), `keep` (freezes when
 * task 1 is late, then frames) or `dump` (the state as it lies in memory). The counts go to
 * standard error: `event core count` a line.
 */
#define _GNU_SOURCE
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

#include "tracelens_probe.h"

extern tl_state_t tl_state;

static __thread uint32_t core;
static __thread volatile sig_atomic_t masked;
static unsigned long done[TL_CORES][32];
static volatile int running = 1;
static unsigned long rounds, pace_us;
static uint32_t offset;

uint32_t host_counter(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (uint32_t)((uint64_t)now.tv_sec * 1000000u + (uint64_t)now.tv_nsec / 1000u) + offset;
}

uint32_t host_core(void) { return core; }

uint32_t host_mask(void)
{
    sigset_t all, before;
    sigemptyset(&all);
    sigaddset(&all, SIGUSR1);
    pthread_sigmask(SIG_BLOCK, &all, &before);
    return (uint32_t)sigismember(&before, SIGUSR1);
}

void host_restore(uint32_t before)
{
    sigset_t all;
    if (before == 0u) {
        sigemptyset(&all);
        sigaddset(&all, SIGUSR1);
        pthread_sigmask(SIG_UNBLOCK, &all, 0);
    }
}

#define DO(event, subject, valued, value)                                     \
    do {                                                                      \
        __sync_fetch_and_add(&done[core][event], 1ul);                        \
        tl_record((event), (uint16_t)(subject), (valued), (uint32_t)(value)); \
    } while (0)

static void interrupt(int signal)
{
    (void)signal;
    DO(TL_ENTER_ISR, 7u + core, 0u, 0u);
    DO(TL_RELEASE, 1u + core, 1u, 7u + core);
    DO(TL_LEAVE_ISR, 7u + core, 0u, 0u);
}

static void pause_us(unsigned long us)
{
    struct timespec t = {0, (long)us * 1000};
    if (us > 0) {
        nanosleep(&t, 0);
    }
}

static void *work(void *number)
{
    unsigned long i;
    struct sigevent how;
    struct itimerspec when;
    timer_t timer;
    uint32_t task, idle;
    core = (uint32_t)(uintptr_t)number;
    task = 1u + core;
    idle = 3u + core;
    memset(&how, 0, sizeof how);
    how.sigev_notify = SIGEV_THREAD_ID;
    how.sigev_signo = SIGUSR1;
    how._sigev_un._tid = (int)syscall(SYS_gettid);
    timer_create(CLOCK_MONOTONIC, &how, &timer);
    memset(&when, 0, sizeof when);
    when.it_value.tv_nsec = 1;
    when.it_interval.tv_nsec = 300000;
    DO(TL_START, idle, 0u, 0u);
    timer_settime(timer, 0, &when, 0);
    for (i = 0; i < rounds; i++) {
        DO(TL_START, task, 0u, 0u);
        DO(TL_REQUEST, task, 1u, 5u);
        DO(TL_LOCK, task, 1u, 5u);
        DO(TL_PRIORITY, task, 1u, -(int)(i % 9));
        DO(TL_UNLOCK, task, 1u, 5u);
        DO(TL_SEND, task, 1u, 6u);
        DO(TL_MARK, 9u, 1u, (int)i - 5);
        DO(TL_STACK, task, 1u, 900u - i % 300u);
        DO(TL_WAIT, task, 1u, TL_DELAY);
        DO(TL_START, idle, 0u, 0u);
        pause_us(pace_us);
    }
    timer_delete(timer);
    return 0;
}

static void send(void)
{
    uint8_t frames[4096];
    uint32_t n;
    while ((n = tl_drain(frames, sizeof frames)) > 0u) {
        fwrite(frames, 1, n, stdout);
    }
    fflush(stdout);
}

static void *drain(void *slow)
{
    core = 0u;
    while (running) {
        send();
        pause_us((unsigned long)(uintptr_t)slow);
    }
    return 0;
}

static void begin(enum tl_mode mode)
{
    (void)tl_init(mode, TL_HIGHER_FIRST);
    tl_task(1u, "needle_select", 6);
    tl_timing(1u, 2000u, 1800u);
    tl_stack_size(1u, 1024u);
    tl_task(2u, "tension, \"left\"", -5);
    tl_idle_task(3u, "idle0");
    tl_idle_task(4u, "idle1");
    tl_lock_named(5u, "flash_bus");
    tl_queue(6u, "row_queue", 8u);
    tl_isr(7u, "encoder");
    tl_isr(8u, "a name that is longer than its field");
    tl_phase(9u, "warm up");
}

int main(int argc, char **argv)
{
    pthread_t worker[TL_CORES], drainer;
    uint32_t i, e;
    const char *mode = argc > 1 ? argv[1] : "stream";
    struct sigaction act;
    rounds = argc > 2 ? strtoul(argv[2], 0, 10) : 100ul;
    pace_us = argc > 3 ? strtoul(argv[3], 0, 10) : 0ul;
    offset = argc > 5 ? (uint32_t)strtoul(argv[5], 0, 10) - host_counter() : 0u;
    memset(&act, 0, sizeof act);
    act.sa_handler = interrupt;
    act.sa_flags = SA_RESTART;
    sigaction(SIGUSR1, &act, 0);
    begin(strcmp(mode, "keep") == 0 ? TL_KEEP_LAST : TL_DRAIN);
    if (strcmp(mode, "keep") == 0) {
        tl_freeze_when_late(1u);
        core = 0u;
        for (i = 0; i < rounds; i++) {
            DO(TL_RELEASE, 1u, 0u, 0u);
            DO(TL_START, 1u, 0u, 0u);
            if (i == rounds / 2u) {
                pause_us(4000ul);
            }
            DO(TL_WAIT, 1u, 1u, TL_DELAY);
        }
        send(); /* frozen at the late job: the records after it were not taken */
        if (!tl_init(TL_KEEP_LAST, TL_HIGHER_FIRST)) {
            fprintf(stderr, "nothing survived\n");
        }
        tl_restart();
        DO(TL_START, 3u, 0u, 0u);
        tl_freeze();
        send();
        return 0;
    }
    if (strcmp(mode, "stream") == 0) {
        pthread_create(&drainer, 0, drain, (void *)(uintptr_t)(argc > 4 ? strtoul(argv[4], 0, 10) : 50ul));
    }
    for (i = 0; i < TL_CORES; i++) {
        pthread_create(&worker[i], 0, work, (void *)(uintptr_t)i);
    }
    for (i = 0; i < TL_CORES; i++) {
        pthread_join(worker[i], 0);
    }
    running = 0;
    if (strcmp(mode, "stream") == 0) {
        pthread_join(drainer, 0);
        send();
        /* What found no room at the very end is told by the next record that does. */
        for (core = 0u; core < TL_CORES; core++) {
            DO(TL_MARK_POINT, 9u, 0u, 0u);
        }
        send();
    } else {
        fwrite(&tl_state, sizeof tl_state, 1, stdout);
    }
    for (i = 0; i < TL_CORES; i++) {
        for (e = 0; e < 32u; e++) {
            if (done[i][e] != 0ul) {
                fprintf(stderr, "%u %u %lu\n", e, i, done[i][e]);
            }
        }
    }
    return 0;
}
