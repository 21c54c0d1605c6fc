/* A board made of variables, so that tests on the host can drive the core: no timing, but every path. */
#include <stddef.h>
#include <string.h>

#include "crc16.h"
#include "pads.h"

enum { HELD_FREE = -1 };

struct fake_converter {
    uint32_t shift;
    int pulses;      /* since the conversion became ready */
    int held;        /* the data line's level, if it is stuck */
    bool ready, level;
    long later;      /* looks at the data lines until the conversion below is ready; below 0: none waits */
    uint32_t later_raw;
    unsigned long all_pulses;
};

static struct fake_converter fakes[CONVERTERS_MOST];
static struct board board;
static struct pads pads;
static char boot[16], name[32];
static uint32_t time_ms;
static bool rate_fast;
static unsigned restarts;
static char sent[8192];
static size_t sent_length;
static uint8_t room_left;
static unsigned char typed[4096];
static size_t typed_length, typed_place;

static uint32_t now_ms(void)
{
    return time_ms;
}

void host_convert(uint8_t pad, int32_t counts)
{
    struct fake_converter *fake = &fakes[pad];
    fake->shift = (uint32_t)counts & 0xFFFFFFu;
    fake->pulses = 0;
    fake->ready = true;
    fake->level = false;
}

static uint8_t data_lines(void)
{
    uint8_t lines = 0;
    for (uint8_t pad = 0; pad < CONVERTERS_MOST; pad++) {
        struct fake_converter *fake = &fakes[pad];
        if (fake->later >= 0 && fake->later-- == 0)
            host_convert(pad, (int32_t)fake->later_raw);
        bool level = fake->held == HELD_FREE ? fake->level : fake->held != 0;
        lines = (uint8_t)(lines | (level ? 1u << pad : 0u));
    }
    return lines;
}

static void read_edge(uint8_t pad)
{
    (void)pad;
}

static bool pulse(uint8_t pad)
{
    struct fake_converter *fake = &fakes[pad];
    fake->all_pulses++;
    if (fake->ready && fake->pulses < 24) {
        fake->level = (fake->shift & 0x800000u) != 0;
        fake->shift <<= 1;
        fake->pulses++;
    } else {
        fake->level = true;
        fake->ready = false;
    }
    return fake->held == HELD_FREE ? fake->level : fake->held != 0;
}

static void restart_converters(bool fast)
{
    rate_fast = fast;
    restarts++;
}

static uint8_t room(void)
{
    return room_left;
}

static void send(const char *bytes, uint8_t length)
{
    if (sent_length + length <= sizeof sent) {
        memcpy(sent + sent_length, bytes, length);
        sent_length += length;
    }
}

static int16_t receive(void)
{
    return typed_place < typed_length ? (int16_t)typed[typed_place++] : (int16_t)-1;
}

void host_begin(uint8_t channels, const char *board_name, const char *boot_cause, uint32_t ms, bool force)
{
    memset(fakes, 0, sizeof fakes);
    for (int pad = 0; pad < CONVERTERS_MOST; pad++) {
        fakes[pad].held = HELD_FREE;
        fakes[pad].level = true;
        fakes[pad].later = -1;
    }
    strncpy(name, board_name, sizeof name - 1);
    strncpy(boot, boot_cause, sizeof boot - 1);
    board = (struct board){ .name = name, .boot = boot, .channels = channels, .force = force, .now_ms = now_ms,
                            .data_lines = data_lines, .read_begin = read_edge, .read_end = read_edge,
                            .pulse = pulse, .restart_converters = restart_converters, .room = room,
                            .send = send, .receive = receive };
    time_ms = ms;
    room_left = 255;
    sent_length = typed_length = typed_place = 0;
    restarts = 0;
    pads_begin(&pads, &board);
}

void host_poll(uint32_t ms)
{
    time_ms = ms;
    pads_poll(&pads);
}

/* The conversion becomes ready after so many looks at the data line: in the middle of whatever goes on then. */
void host_convert_later(uint8_t pad, int32_t counts, long looks)
{
    fakes[pad].later = looks;
    fakes[pad].later_raw = (uint32_t)counts & 0xFFFFFFu;
}

void host_hold(uint8_t pad, int level)
{
    fakes[pad].held = level;
}

void host_room(uint8_t bytes)
{
    room_left = bytes;
}

/* False when the fake's queue is full: take what was sent and poll first. */
bool host_type(const unsigned char *bytes, size_t length)
{
    if (typed_place == typed_length)
        typed_place = typed_length = 0;
    if (typed_length + length > sizeof typed)
        return false;
    memcpy(typed + typed_length, bytes, length);
    typed_length += length;
    return true;
}

/* What was sent since last time; into has room for 8192 bytes. */
size_t host_take(char *into)
{
    size_t length = sent_length;
    memcpy(into, sent, length);
    sent_length = 0;
    return length;
}

bool host_fast(void)
{
    return rate_fast;
}

unsigned host_restarts(void)
{
    return restarts;
}

unsigned long host_pulses(uint8_t pad)
{
    return fakes[pad].all_pulses;
}

uint16_t host_crc(const unsigned char *bytes, size_t length)
{
    uint16_t crc = CRC16_START;
    while (length-- > 0)
        crc = crc16_add(crc, *bytes++);
    return crc;
}

/* A reading's line from its fields, as the core writes it; into has room for LINE_LONGEST bytes. */
uint8_t host_reading(uint16_t seq, uint32_t ms, const int32_t *counts, uint16_t flags, char *into)
{
    struct reading reading = { .seq = seq, .ms = ms, .flags = flags };
    memcpy(reading.counts, counts, sizeof reading.counts);
    pads_build_reading(&pads, &reading);
    memcpy(into, pads.line.text, pads.line.length);
    return pads.line.length;
}

/* A force line from its fields, likewise. */
uint8_t host_force_line(uint16_t seq, uint32_t ms, int32_t count, uint16_t flags, char *into)
{
    struct reading reading = { .seq = seq, .ms = ms, .flags = flags, .counts = { count } };
    pads_build_force(&pads, &reading);
    memcpy(into, pads.line.text, pads.line.length);
    return pads.line.length;
}
