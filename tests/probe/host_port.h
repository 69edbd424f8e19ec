/* The probe's port for a test on the development machine: a thread is a core, a signal is an
 * interrupt. */
#ifndef TRACELENS_PROBE_PORT_H
#define TRACELENS_PROBE_PORT_H

#include <stdint.h>

extern uint32_t host_counter(void);
extern uint32_t host_core(void);
extern uint32_t host_mask(void);
extern void host_restore(uint32_t before);

#define TL_TIME() host_counter()
#define TL_HZ 1000000u
#define TL_CORES 2u
#define TL_CORE() host_core()
#define TL_ENTER(before) ((before) = host_mask())
#define TL_LEAVE(before) host_restore(before)
#define TL_BARRIER() __sync_synchronize()
#ifndef TL_RECORDS
#define TL_RECORDS 8192u
#endif
#define TL_OBJECTS 16u
#define TL_NAME_BYTES 20u
#define TL_STATE

#endif
