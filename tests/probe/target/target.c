/* A bare-metal switcher of two tasks over an idle loop, traced by the probe.
 *
 * The idle loop drains the ring into the serial port; at the end the program writes what it counted
 * itself through the emulator's console, as `name count` lines.
 */
#include <stdint.h>

#include "tracelens_probe.h"

#define REG(address) (*(volatile uint32_t *)(address))
#define TIMER_CTRL REG(0x40000000u)
#define TIMER_VALUE REG(0x40000004u)
#define TIMER_RELOAD REG(0x40000008u)
#define UART_DATA REG(0x40004000u)
#define UART_STATE REG(0x40004004u)
#define UART_CTRL REG(0x40004008u)
#define UART_DIVIDER REG(0x40004010u)
#define TICK_CTRL REG(0xE000E010u)
#define TICK_RELOAD REG(0xE000E014u)
#define TICK_VALUE REG(0xE000E018u)
#define PEND REG(0xE000ED04u)
#define PRIORITIES REG(0xE000ED20u)

enum { T_NEEDLES = 1, T_PANEL, T_IDLE, I_TICK, M_FLASH, P_END };
enum { TASKS = 3, TICKS = 300 };

typedef struct {
    uint32_t *sp;
    uint32_t wake; /* tick at which it is released; 0: ready */
    uint32_t jobs, busy_ticks;
} task_t;

static task_t tasks[TASKS + 1]; /* by number; the lower number is the more urgent */
static uint32_t stacks[TASKS + 1][256];
static volatile uint32_t tick, current = T_IDLE;
static uint32_t switches, handlers;

static void spin(uint32_t ticks)
{
    uint32_t begin = TL_TIME();
    while (TL_TIME() - begin < ticks) {
    }
}

static void wait_until(uint32_t task, uint32_t when)
{
    uint32_t before;
    TL_ENTER(before);
    tasks[task].wake = when;
    tasks[task].jobs++;
    tl_wait(task, TL_DELAY);
    PEND = 1u << 28;
    TL_LEAVE(before);
    __asm volatile("isb");
}

static void needles(void)
{
    uint32_t next = 2u;
    for (;;) {
        spin(7500u); /* 0.3 ms */
        wait_until(T_NEEDLES, next);
        next += 2u;
    }
}

static void panel(void)
{
    uint32_t next = 5u;
    for (;;) {
        tl_request(T_PANEL, M_FLASH);
        tl_lock(T_PANEL, M_FLASH);
        spin(30000u); /* 1.2 ms */
        tl_unlock(T_PANEL, M_FLASH);
        wait_until(T_PANEL, next);
        next += 5u;
    }
}

uint32_t *next_stack(uint32_t *sp);
uint32_t *next_stack(uint32_t *sp)
{
    uint32_t task = T_NEEDLES;
    tasks[current].sp = sp;
    while (task < T_IDLE && tasks[task].wake != 0u) {
        task++;
    }
    if (task != current) {
        current = task;
        switches++;
        tl_start(task);
    }
    return tasks[task].sp;
}

void __attribute__((naked)) switch_tasks(void);
void __attribute__((naked)) switch_tasks(void)
{
    /* In the instructions that the smallest cores have too: high registers go through low ones. */
    __asm volatile(".syntax unified\n\tmrs r0, psp\n\tsubs r0, #32\n\tstmia r0!, {r4-r7}\n\t"
                   "mov r4, r8\n\tmov r5, r9\n\tmov r6, r10\n\tmov r7, r11\n\t"
                   "stmia r0!, {r4-r7}\n\tsubs r0, #32\n\t"
                   "push {r3, lr}\n\tbl next_stack\n\tpop {r2, r3}\n\tmov lr, r3\n\t"
                   "adds r0, #16\n\tldmia r0!, {r4-r7}\n\t"
                   "mov r8, r4\n\tmov r9, r5\n\tmov r10, r6\n\tmov r11, r7\n\t"
                   "msr psp, r0\n\tsubs r0, #32\n\tldmia r0!, {r4-r7}\n\tbx lr");
}

void on_tick(void);
void on_tick(void)
{
    uint32_t task;
    tl_enter(I_TICK);
    handlers++;
    tick++;
    for (task = T_NEEDLES; task < T_IDLE; task++) {
        if (tasks[task].wake != 0u && tasks[task].wake <= tick) {
            tasks[task].wake = 0u;
            tl_release(task, I_TICK);
            PEND = 1u << 28;
        }
    }
    tl_heartbeat();
    tl_leave(I_TICK);
}

static void ask_emulator(uint32_t what, const void *with)
{
    register uint32_t r0 __asm("r0") = what;
    register const void *r1 __asm("r1") = with;
    __asm volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
}

static void say(const char *name, uint32_t count)
{
    char line[40], digits[10];
    uint32_t n = 0u, i = 0u;
    while (*name != '\0') {
        line[i++] = *name++;
    }
    line[i++] = ' ';
    do {
        digits[n++] = (char)('0' + count % 10u);
        count /= 10u;
    } while (count != 0u);
    while (n > 0u) {
        line[i++] = digits[--n];
    }
    line[i++] = '\n';
    line[i] = '\0';
    ask_emulator(4u, line);
}

static void send(void)
{
    static uint8_t frames[512];
    uint32_t i, n = tl_drain(frames, sizeof frames);
    for (i = 0u; i < n; i++) {
        while (UART_STATE & 1u) {
        }
        UART_DATA = frames[i];
    }
}

static void make(uint32_t task, void (*body)(void))
{
    uint32_t *sp = &stacks[task][256 - 16];
    sp[14] = (uint32_t)body;
    sp[15] = 0x01000000u;
    tasks[task].sp = sp;
}

void reset(void);
void reset(void)
{
    extern uint32_t _bss, _ebss;
    uint32_t *p;
    for (p = &_bss; p < &_ebss; p++) {
        *p = 0u;
    }
    current = T_IDLE;
    TIMER_RELOAD = 0xFFFFFFFFu;
    TIMER_VALUE = 0xFFFFFFFFu;
    TIMER_CTRL = 1u;
    UART_DIVIDER = 16u;
    UART_CTRL = 1u;
    (void)tl_init(TL_DRAIN, TL_LOWER_FIRST);
    tl_task(T_NEEDLES, "needle_select", T_NEEDLES);
    tl_timing(T_NEEDLES, 2000u, 1800u);
    tl_task(T_PANEL, "panel", T_PANEL);
    tl_timing(T_PANEL, 5000u, 5000u);
    tl_idle_task(T_IDLE, "idle");
    tl_isr(I_TICK, "tick");
    tl_lock_named(M_FLASH, "flash_bus");
    tl_phase(P_END, "end");
    make(T_NEEDLES, needles);
    make(T_PANEL, panel);
    PRIORITIES = 0xFFu << 16; /* switching waits until no handler runs */
    tl_start(T_IDLE);
    __asm volatile(".syntax unified\n\tmsr psp, %0\n\tmovs r0, #2\n\tmsr control, r0\n\tisb" ::"r"(&stacks[T_IDLE][256])
                   : "r0", "memory");
    TICK_RELOAD = 24999u;
    TICK_VALUE = 0u;
    TICK_CTRL = 7u;
    tl_activate(T_NEEDLES);
    tl_activate(T_PANEL);
    PEND = 1u << 28;
    while (tick < TICKS) {
        send();
    }
    TICK_CTRL = 0u;
    tl_mark_point(P_END);
    send();
    send();
    say("needle_select", tasks[T_NEEDLES].jobs);
    say("panel", tasks[T_PANEL].jobs);
    say("switches", switches);
    say("tick", handlers);
    ask_emulator(0x18u, (const void *)0x20026u);
    for (;;) {
    }
}

extern uint32_t _stack;
__attribute__((section(".vectors"), used)) static void (*const vectors[16])(void) = {
    (void (*)(void))(uintptr_t)&_stack, reset, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0,
    switch_tasks, on_tick,
};
