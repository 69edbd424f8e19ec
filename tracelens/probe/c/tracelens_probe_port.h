/* tracelens_probe_port.h: what the probe must know of your target. Adapt each line.
 *
 * As it stands it is for one core with PRIMASK-like masking left out: fill in your own.
 */
#ifndef TRACELENS_PROBE_PORT_H
#define TRACELENS_PROBE_PORT_H

#include <stdint.h>

/* A free-running counter of 32 bits that counts up, and its ticks a second. A counter that is
 * wider is cut to its low 32 bits; a narrower one has to be extended. */
extern uint32_t board_counter(void);
#define TL_TIME() board_counter()
#define TL_HZ 1000000u

/* Which core runs this, 0 to TL_CORES - 1. */
#define TL_CORES 1u
#define TL_CORE() 0u

/* Mask interrupts on this core and restore what was before: a dozen instructions run between. */
extern uint32_t board_mask_interrupts(void);
extern void board_restore_interrupts(uint32_t before);
#define TL_ENTER(before) ((before) = board_mask_interrupts())
#define TL_LEAVE(before) board_restore_interrupts(before)

/* Order memory accesses between cores (a barrier instruction); one core needs the compiler's. */
#define TL_BARRIER() __asm volatile("" ::: "memory")

/* Sizes. A record is 12 bytes, an object 24 + TL_NAME_BYTES. TL_RECORDS is a power of two. */
#define TL_RECORDS 512u
#define TL_OBJECTS 32u
#define TL_NAME_BYTES 20u

/* Where the state lies. For records that survive a reset, name a section here that the start-up
 * code does not clear: __attribute__((section(".noinit"))). */
#define TL_STATE

#endif
