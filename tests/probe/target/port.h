/* The probe's port for an emulated 32-bit microcontroller: a down-counting timer of 25 MHz. */
#ifndef TRACELENS_PROBE_PORT_H
#define TRACELENS_PROBE_PORT_H

#include <stdint.h>

#define TL_TIME() (~*(volatile uint32_t *)0x40000004u)
#define TL_HZ 25000000u
#define TL_CORES 1u
#define TL_CORE() 0u

static inline uint32_t target_mask(void)
{
    uint32_t before;
    __asm volatile("mrs %0, primask\n\tcpsid i" : "=r"(before)::"memory");
    return before;
}

static inline void target_restore(uint32_t before)
{
    __asm volatile("msr primask, %0" ::"r"(before) : "memory");
}

#define TL_ENTER(before) ((before) = target_mask())
#define TL_LEAVE(before) target_restore(before)
#define TL_BARRIER() __asm volatile("dmb" ::: "memory")
#define TL_RECORDS 512u
#define TL_OBJECTS 16u
#define TL_NAME_BYTES 20u
#define TL_STATE

#endif
