/* tracelens_probe.c: see tracelens_probe.h. */
#include "tracelens_probe.h"

#define MASK (TL_RECORDS - 1u)
#define HALF 0x7FFFFFFFu
#define COUNT_EVERY 64u /* records of a core between two counts in the stream */
#define COST_EVENTS 64u

/* A name that does not fit, or sizes that cannot work, stop the compiler here. */
typedef char tl_records_is_a_power_of_two[(TL_RECORDS & MASK) == 0u ? 1 : -1];
typedef char tl_record_is_12_bytes[sizeof(tl_record_t) == 12u ? 1 : -1];
typedef char tl_a_frame_is_one_block[TL_FRAME_BYTES <= 254u ? 1 : -1];
typedef char tl_few_cores[TL_CORES >= 1u && TL_CORES <= 8u ? 1 : -1];

tl_state_t tl_state TL_STATE;

/* The reader's own memory: what it has still to say. */
static struct {
    volatile uint8_t head_lines;  /* declarations that are not objects, still to be sent */
    uint8_t text_sequence;
    uint8_t counting[TL_CORES];   /* a count has been sent */
    uint32_t uncounted[TL_CORES]; /* records sent since the last */
} reader;

/* ---------------------------------------------------------------- beginning and end */

static uint32_t check_of(const tl_state_t *state)
{
    return state->magic ^ ((uint32_t)state->version << 16) ^ ((uint32_t)state->cores << 8) ^
           state->name_bytes ^ (state->records * 2654435761u) ^ ((uint32_t)state->objects << 4) ^
           ((uint32_t)state->mode << 1) ^ state->higher_first ^ state->hz ^ state->cost_ticks;
}

static int survived(void)
{
    return tl_state.magic == TL_MAGIC && tl_state.version == TL_VERSION &&
           tl_state.cores == TL_CORES && tl_state.name_bytes == TL_NAME_BYTES &&
           tl_state.records == TL_RECORDS && tl_state.objects == TL_OBJECTS &&
           tl_state.check == check_of(&tl_state) && tl_state.mode == (uint8_t)TL_KEEP_LAST;
}

void tl_repeat_names(void)
{
    uint16_t i;
    for (i = 0u; i < TL_OBJECTS; i++) {
        tl_state.object[i].sent = 0u;
    }
    reader.head_lines = 4u;
}

static void clear_rings(void)
{
    uint32_t core;
    for (core = 0u; core < TL_CORES; core++) {
        tl_state.ring[core].head = 0u;
        tl_state.ring[core].tail = 0u;
        tl_state.ring[core].dropped = 0u;
        tl_state.ring[core].last_time = TL_TIME();
        reader.uncounted[core] = 0u;
        reader.counting[core] = 0u;
    }
}

void tl_restart(void)
{
    tl_state.frozen = 1u;
    TL_BARRIER();
    clear_rings();
    tl_repeat_names();
    TL_BARRIER();
    tl_state.frozen = 0u;
}

int tl_init(enum tl_mode mode, enum tl_order order)
{
    uint32_t i, begin;
    uint16_t object;
    if (survived()) {
        /* A reset that nobody announced is a fault too: its ring is as good as frozen. */
        tl_state.frozen = 1u;
        for (i = 0u; i < TL_CORES; i++) {
            reader.uncounted[i] = 0u;
            reader.counting[i] = 0u;
        }
        tl_repeat_names();
        return 1;
    }
    tl_state.magic = 0u;
    tl_state.version = (uint16_t)TL_VERSION;
    tl_state.cores = (uint8_t)TL_CORES;
    tl_state.name_bytes = (uint8_t)TL_NAME_BYTES;
    tl_state.records = TL_RECORDS;
    tl_state.objects = (uint16_t)TL_OBJECTS;
    tl_state.mode = (uint8_t)TL_KEEP_LAST; /* so that the trial below cannot fill the ring */
    tl_state.higher_first = (uint8_t)order;
    tl_state.hz = TL_HZ;
    for (object = 0u; object < TL_OBJECTS; object++) {
        tl_state.object[object].kind = (uint8_t)TL_UNUSED;
        tl_state.object[object].watched = 0u;
        tl_state.object[object].sent = 1u;
    }
    tl_restart();
    begin = TL_TIME();
    for (i = 0u; i < COST_EVENTS; i++) {
        tl_record(TL_MARK, TL_NOBODY, 1u, i);
    }
    tl_state.cost_ticks = TL_TIME() - begin;
    tl_state.mode = (uint8_t)mode;
    tl_restart();
    tl_state.magic = TL_MAGIC;
    tl_state.check = check_of(&tl_state);
    return 0;
}

void tl_freeze(void)
{
    tl_state.frozen = 1u;
}

/* ---------------------------------------------------------------- names */

static tl_object_t *named(uint16_t number, enum tl_kind kind, const char *name)
{
    tl_object_t *object;
    uint32_t i = 0u;
    if (number == 0u || number >= TL_OBJECTS) {
        return 0;
    }
    object = &tl_state.object[number];
    object->kind = (uint8_t)TL_UNUSED;
    object->period_us = 0u;
    object->deadline_us = 0u;
    object->size = 0u;
    object->priority = 0;
    object->told = 0u;
    object->watched = 0u;
    for (; name != 0 && name[i] != '\0' && i + 1u < TL_NAME_BYTES; i++) {
        char c = name[i];
        object->name[i] = (c < ' ' || c == '"' || c == ',' || c == 127) ? '_' : c;
    }
    object->name[i] = '\0';
    TL_BARRIER();
    object->kind = (uint8_t)kind;
    object->sent = 0u;
    return object;
}

void tl_task(uint16_t task, const char *name, int32_t priority)
{
    tl_object_t *object = named(task, TL_TASK, name);
    if (object != 0) {
        object->priority = priority;
        object->told = 1u;
        object->sent = 0u;
    }
}

void tl_idle_task(uint16_t task, const char *name)
{
    tl_object_t *object = named(task, TL_TASK, name);
    if (object != 0) {
        object->told = 2u;
        object->sent = 0u;
    }
}

void tl_timing(uint16_t task, uint32_t period_us, uint32_t deadline_us)
{
    if (task < TL_OBJECTS) {
        tl_state.object[task].period_us = period_us;
        tl_state.object[task].deadline_us = deadline_us;
        tl_state.object[task].sent = 0u;
    }
}

void tl_stack_size(uint16_t task, uint32_t bytes)
{
    if (task < TL_OBJECTS) {
        tl_state.object[task].size = bytes;
        tl_state.object[task].sent = 0u;
    }
}

void tl_isr(uint16_t isr, const char *name)
{
    (void)named(isr, TL_ISR, name);
}

void tl_lock_named(uint16_t lock, const char *name)
{
    (void)named(lock, TL_MUTEX, name);
}

void tl_queue(uint16_t queue, const char *name, uint32_t depth)
{
    tl_object_t *object = named(queue, TL_QUEUE, name);
    if (object != 0) {
        object->size = depth;
        object->sent = 0u;
    }
}

void tl_phase(uint16_t phase, const char *name)
{
    (void)named(phase, TL_PHASE, name);
}

void tl_freeze_when_late(uint16_t task)
{
    if (task < TL_OBJECTS) {
        tl_state.object[task].watched = 1u;
    }
}

/* ---------------------------------------------------------------- events */

/* The deadline in ticks; whole ticks a millisecond are near enough for a trigger. */
static uint32_t ticks_of(uint32_t us)
{
    return TL_HZ >= 1000u ? (us / 1000u) * (TL_HZ / 1000u) + (us % 1000u) * (TL_HZ / 1000u) / 1000u
                          : us / (1000000u / TL_HZ);
}

static int late(tl_object_t *object, uint8_t event, uint32_t value, uint32_t now)
{
    switch (event) {
    case TL_RELEASE:
    case TL_ACTIVATE:
    case TL_ARRIVE:
        if (object->watched == 1u) {
            object->watched = 2u;
            object->released = now;
        }
        return 0;
    case TL_WAIT:
        if (value != TL_DELAY) {
            return 0;
        }
        break;
    case TL_FINISH:
    case TL_TERMINATE:
        break;
    default:
        return 0;
    }
    if (object->watched != 2u) {
        return 0;
    }
    object->watched = 1u;
    return object->deadline_us != 0u && now - object->released > ticks_of(object->deadline_us);
}

static void put(tl_ring_t *ring, uint8_t event, uint16_t subject, uint8_t valued, uint32_t value,
                uint32_t now)
{
    tl_record_t *record = &ring->records[ring->head & MASK];
    record->time = now;
    record->value = value;
    record->subject = subject;
    record->event = event;
    record->valued = valued;
    TL_BARRIER();
    ring->head = ring->head + 1u;
}

void tl_record(enum tl_event event, uint16_t subject, uint8_t valued, uint32_t value)
{
    tl_ring_t *ring;
    uint32_t before, now;
    TL_ENTER(before);
    if (tl_state.frozen == 0u) {
        ring = &tl_state.ring[TL_CORE()];
        now = TL_TIME();
        if (tl_state.mode == (uint8_t)TL_KEEP_LAST) {
            put(ring, (uint8_t)event, subject, valued, value, now);
            ring->last_time = now;
        } else {
            uint32_t used = ring->head - ring->tail;
            if (used + (ring->dropped != 0u ? 2u : 1u) > TL_RECORDS) {
                ring->dropped++;
            } else {
                if (ring->dropped != 0u) {
                    put(ring, (uint8_t)TL_LOST, TL_NOBODY, 1u, ring->dropped, now);
                    ring->dropped = 0u;
                }
                put(ring, (uint8_t)event, subject, valued, value, now);
                ring->last_time = now;
            }
        }
        if (subject < TL_OBJECTS && tl_state.object[subject].watched != 0u &&
            late(&tl_state.object[subject], (uint8_t)event, value, now)) {
            tl_state.frozen = 1u;
        }
    }
    TL_LEAVE(before);
}

void tl_heartbeat(void)
{
    if (TL_TIME() - tl_state.ring[TL_CORE()].last_time > HALF / 2u) {
        tl_record(TL_MARK_POINT, TL_NOBODY, 0u, 0u);
    }
}

/* ---------------------------------------------------------------- frames
 *
 * A frame is [sequence][event | core << 5][body][CRC-16], made free of zeros (consistent overhead
 * byte stuffing, Cheshire & Baker 1999) and ended by a zero. The sequence counts the records of
 * one core, and the declarations apart. Numbers are little-endian base 128, seven bits a byte.
 */

typedef struct {
    uint8_t *bytes;
    uint32_t length;
} tl_frame_t;

static void byte(tl_frame_t *frame, uint8_t value)
{
    frame->bytes[frame->length++] = value;
}

static void number(tl_frame_t *frame, uint32_t value)
{
    while (value > 127u) {
        byte(frame, (uint8_t)(value | 128u));
        value >>= 7;
    }
    byte(frame, (uint8_t)value);
}

static void text(tl_frame_t *frame, const char *words)
{
    while (*words != '\0') {
        byte(frame, (uint8_t)*words++);
    }
}

static void decimal(tl_frame_t *frame, uint32_t value)
{
    char digits[10];
    uint32_t n = 0u;
    do {
        digits[n++] = (char)('0' + value % 10u);
        value /= 10u;
    } while (value != 0u);
    while (n > 0u) {
        byte(frame, (uint8_t)digits[--n]);
    }
}

static void key(tl_frame_t *frame, const char *words, uint32_t value)
{
    text(frame, words);
    decimal(frame, value);
}

/* CRC-16 of ITU-T V.41, polynomial x^16 + x^12 + x^5 + 1, begun with all ones. */
static uint16_t crc(const uint8_t *bytes, uint32_t length)
{
    uint16_t sum = 0xFFFFu;
    while (length-- > 0u) {
        uint8_t x = (uint8_t)((sum >> 8) ^ *bytes++);
        x = (uint8_t)(x ^ (x >> 4));
        sum = (uint16_t)((sum << 8) ^ ((uint16_t)x << 12) ^ ((uint16_t)x << 5) ^ (uint16_t)x);
    }
    return sum;
}

/* Close the frame in `raw` and stuff it into out; returns its length with the final zero. */
static uint32_t close_frame(tl_frame_t *raw, uint8_t *out)
{
    uint32_t i, code = 0u, at = 1u;
    uint16_t sum = crc(raw->bytes, raw->length);
    byte(raw, (uint8_t)(sum & 0xFFu));
    byte(raw, (uint8_t)(sum >> 8));
    for (i = 0u; i < raw->length; i++) {
        if (raw->bytes[i] == 0u) {
            out[code] = (uint8_t)(at - code);
            code = at++;
        } else {
            out[at++] = raw->bytes[i];
        }
    }
    out[code] = (uint8_t)(at - code);
    out[at++] = 0u;
    return at;
}

static void describe(tl_frame_t *frame, uint16_t number_of, const tl_object_t *object)
{
    static const char *const words[] = {"", "task id=o", "isr id=o", "lock id=o", "queue id=o",
                                        "phase id=o"};
    static const char *const sizes[] = {"", " stack_bytes=", "", " ceiling=", " depth=", ""};
    key(frame, words[object->kind], number_of);
    text(frame, " name=\"");
    text(frame, object->name);
    text(frame, "\"");
    if (object->told == 1u) {
        text(frame, object->priority < 0 ? " priority=-" : " priority=");
        decimal(frame, object->priority < 0 ? 0u - (uint32_t)object->priority
                                            : (uint32_t)object->priority);
    }
    if (object->period_us != 0u) {
        key(frame, " period_us=", object->period_us);
    }
    if (object->deadline_us != 0u) {
        key(frame, " deadline_us=", object->deadline_us);
    }
    if (object->size != 0u) {
        key(frame, sizes[object->kind], object->size);
    }
    if (object->told == 2u) {
        text(frame, " idle=yes");
    }
}

/* A declaration that is still to be sent, into frame; 0 if there is none. */
static int declaration(tl_frame_t *frame)
{
    uint16_t i;
    byte(frame, reader.text_sequence);
    byte(frame, (uint8_t)TL_TEXT);
    if (reader.head_lines > 0u) {
        switch (reader.head_lines--) {
        case 4u:
            text(frame, "tracelens 1");
            break;
        case 3u:
            key(frame, "clock hz=", tl_state.hz);
            text(frame, " bits=32");
            break;
        case 2u:
            text(frame, tl_state.higher_first ? "priority order=higher_first"
                                              : "priority order=lower_first");
            break;
        default:
            key(frame, "run probe_ticks_for_64_events=", tl_state.cost_ticks);
            break;
        }
        reader.text_sequence++;
        return 1;
    }
    for (i = 1u; i < TL_OBJECTS; i++) {
        tl_object_t *object = &tl_state.object[i];
        if (object->kind != (uint8_t)TL_UNUSED && object->sent == 0u) {
            object->sent = 1u; /* before it is read: what changes meanwhile is sent again */
            TL_BARRIER();
            describe(frame, i, object);
            reader.text_sequence++;
            return 1;
        }
    }
    return 0;
}

/* The core whose next record is the oldest, or TL_CORES if there is none. */
static uint32_t oldest(void)
{
    uint32_t core, best = TL_CORES, best_time = 0u;
    for (core = 0u; core < TL_CORES; core++) {
        tl_ring_t *ring = &tl_state.ring[core];
        uint32_t head = ring->head, time;
        TL_BARRIER();
        if (head - ring->tail > TL_RECORDS) {
            ring->tail = head - TL_RECORDS; /* overwritten: the newest are kept */
        }
        if (head == ring->tail) {
            continue;
        }
        time = ring->records[ring->tail & MASK].time;
        if (best == TL_CORES || time - best_time > HALF) {
            best = core;
            best_time = time;
        }
    }
    return best;
}

uint32_t tl_drain(uint8_t *out, uint32_t room)
{
    uint8_t bytes[TL_FRAME_BYTES];
    uint32_t sent = 0u;
    while (room - sent >= TL_FRAME_BYTES) {
        tl_frame_t frame;
        uint32_t core;
        frame.bytes = bytes;
        frame.length = 0u;
        if (declaration(&frame)) {
            sent += close_frame(&frame, out + sent);
            continue;
        }
        frame.length = 0u;
        if (tl_state.mode == (uint8_t)TL_KEEP_LAST && tl_state.frozen == 0u) {
            break;
        }
        core = oldest();
        if (core == TL_CORES) {
            break;
        }
        {
            tl_ring_t *ring = &tl_state.ring[core];
            uint32_t tail = ring->tail;
            if (reader.counting[core] == 0u || reader.uncounted[core] >= COUNT_EVERY) {
                reader.counting[core] = 1u;
                reader.uncounted[core] = 0u;
                byte(&frame, (uint8_t)tail);
                byte(&frame, (uint8_t)(TL_COUNT | (core << 5)));
                number(&frame, tail);
            } else {
                tl_record_t record = ring->records[tail & MASK];
                uint32_t shift;
                byte(&frame, (uint8_t)tail);
                byte(&frame, (uint8_t)(record.event | (core << 5)));
                for (shift = 0u; shift < 32u; shift += 8u) {
                    byte(&frame, (uint8_t)(record.time >> shift));
                }
                number(&frame, record.subject);
                if (record.valued != 0u) {
                    number(&frame, record.value);
                }
                TL_BARRIER();
                ring->tail = tail + 1u;
                reader.uncounted[core]++;
            }
        }
        sent += close_frame(&frame, out + sent);
    }
    return sent;
}
