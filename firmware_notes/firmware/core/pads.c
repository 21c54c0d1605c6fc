#include "pads.h"

#include <string.h>

enum { RESTARTED_LINES = 16, SETTLING_LINES = 4 };

static const uint8_t force_bit = 1u << FORCE_CELL;

static uint8_t bit_of(uint8_t pad)
{
    return (uint8_t)(1u << pad);
}

static uint8_t only_pads(uint8_t bits)
{
    return bits & (uint8_t)~force_bit;
}

static void note_force(struct pads *pads)
{
    struct force *force = &pads->force;
    force->read_ms = pads->board->now_ms();
    force->settling = force->settling_left > 0;
    if (force->settling && !pads->paused)
        force->settling_left--;
}

static void read_pad(struct pads *pads, uint8_t pad)
{
    uint8_t bit = bit_of(pad);
    int32_t counts = converter_read(pads->board, pad);
    if ((pads->board->data_lines() & bit) == 0) {
        pads->armed &= (uint8_t)~bit; /* a line that stays low belongs to no working converter: stuck */
        pads->failed |= bit;
        return;
    }
    if (pads->failed & bit) { /* it had waited for some time and may have been renewed in mid-reading */
        pads->failed &= (uint8_t)~bit;
        return;
    }
    pads->counts[pad] = counts;
    pads->fresh |= bit;
    if (pad == FORCE_CELL)
        note_force(pads);
    else
        pads->read_ms = pads->board->now_ms();
}

/* Newest wins: a pad is read whenever it is ready, also when the current line already has a value of it.
 * A conversion left waiting would be renewed at some moment, perhaps in the middle of being read. */
static void read_ready_pads(struct pads *pads)
{
    uint8_t high = pads->board->data_lines();
    pads->armed |= high;
    uint8_t ready = pads->armed & (uint8_t)~high & pads->built;
    for (uint8_t pad = 0; ready != 0; pad++, ready >>= 1) {
        if (ready & 1u)
            read_pad(pads, pad);
    }
}

void pads_build_identity(struct pads *pads)
{
    struct line *line = &pads->line;
    line_begin(line);
    line_word(line, "ID");
    line_word(line, "board=");
    line_more(line, pads->board->name);
    line_word(line, "fw=" FIRMWARE_VERSION);
    line_word(line, "ch=");
    line_more_unsigned(line, pads->board->channels);
    line_word(line, pads->fast ? "rate=80" : "rate=10");
    line_word(line, pads->running ? "run=1" : "run=0");
    line_word(line, "boot=");
    line_more(line, pads->board->boot);
    if (pads->board->force)
        line_word(line, "force=1");
    line_end(line);
}

void pads_build_reading(struct pads *pads, const struct reading *reading)
{
    struct line *line = &pads->line;
    line_begin(line);
    line_unsigned(line, reading->seq);
    line_unsigned(line, reading->ms);
    for (uint8_t pad = 0; pad < PADS_MOST; pad++) {
        read_ready_pads(pads); /* a number takes up to 0.2 ms to write: no pad waits for the whole line */
        line_signed(line, reading->counts[pad]);
    }
    read_ready_pads(pads);
    line_hex(line, reading->flags);
    line_end(line);
}

void pads_build_force(struct pads *pads, const struct reading *reading)
{
    struct line *line = &pads->line;
    line_begin(line);
    line_word(line, "F");
    line_unsigned(line, reading->seq);
    read_ready_pads(pads);
    line_unsigned(line, reading->ms);
    read_ready_pads(pads);
    line_signed(line, reading->counts[0]);
    read_ready_pads(pads);
    line_hex(line, reading->flags);
    line_end(line);
}

static void send_line(const struct pads *pads)
{
    pads->board->send(pads->line.text, pads->line.length);
}

static void restart_converters(struct pads *pads)
{
    pads->board->restart_converters(pads->fast);
    pads->armed = pads->built;
    pads->awaited = only_pads(pads->built);
    pads->paused = true;
    pads->wait_since_ms = pads->board->now_ms();
    pads->settling_left = pads->force.settling_left = SETTLING_LINES;
}

void pads_begin(struct pads *pads, const struct board *board)
{
    memset(pads, 0, sizeof *pads);
    pads->board = board;
    pads->built = (uint8_t)(bit_of(board->channels) - 1u);
    if (board->force)
        pads->built |= force_bit;
    pads->running = true;
    pads->restarted_left = RESTARTED_LINES;
    restart_converters(pads);
    pads_build_identity(pads);
    send_line(pads);
}

static void answer(struct pads *pads, const char *kind, const char *words)
{
    line_begin(&pads->line);
    line_word(&pads->line, kind);
    line_word(&pads->line, words);
    line_end(&pads->line);
    send_line(pads);
}

static void set_rate(struct pads *pads, bool fast, const char *words)
{
    pads->fast = fast;
    restart_converters(pads);
    answer(pads, "OK", words);
}

static void start(struct pads *pads)
{
    if (!pads->running) {
        pads->running = true;
        pads->fresh = 0; /* the first line shows now, not the moment of the stop */
        if (!pads->paused)
            pads->wait_since_ms = pads->force.wait_since_ms = pads->board->now_ms();
    }
    answer(pads, "OK", "start");
}

static void set_force(struct pads *pads, bool on, const char *words)
{
    if (!pads->board->force) {
        answer(pads, "ERR", "unknown");
        return;
    }
    if (on && !pads->force.on) {
        pads->force.seq = 0;
        pads->force.overrun = false;
        pads->force.wait_since_ms = pads->board->now_ms();
        pads->fresh = only_pads(pads->fresh); /* the first line shows now */
    }
    pads->force.on = on;
    answer(pads, "OK", words);
}

static void obey(struct pads *pads, enum command command)
{
    switch (command) {
    case COMMAND_NONE:
        break;
    case COMMAND_IDENTIFY:
        pads_build_identity(pads);
        send_line(pads);
        break;
    case COMMAND_RATE_10:
        set_rate(pads, false, "rate 10");
        break;
    case COMMAND_RATE_80:
        set_rate(pads, true, "rate 80");
        break;
    case COMMAND_START:
        start(pads);
        break;
    case COMMAND_STOP:
        pads->running = false;
        answer(pads, "OK", "stop");
        break;
    case COMMAND_FORCE_ON:
        set_force(pads, true, "force on");
        break;
    case COMMAND_FORCE_OFF:
        set_force(pads, false, "force off");
        break;
    case COMMAND_FORCE_ARGUMENT:
        answer(pads, "ERR", pads->board->force ? "argument" : "unknown");
        break;
    case COMMAND_UNKNOWN:
        answer(pads, "ERR", "unknown");
        break;
    case COMMAND_ARGUMENT:
        answer(pads, "ERR", "argument");
        break;
    case COMMAND_LONG:
        answer(pads, "ERR", "long");
        break;
    }
}

/* Every command gets its answer: bytes stay in the input queue while there is no room for one. */
static void take_commands(struct pads *pads)
{
    while (pads->board->room() >= LINE_LONGEST) {
        int16_t byte = pads->board->receive();
        if (byte < 0)
            return;
        obey(pads, command_feed(&pads->command, (uint8_t)byte));
        read_ready_pads(pads);
    }
}

static bool pause_over(struct pads *pads, uint32_t now)
{
    if (pads->paused) {
        pads->fresh = 0; /* not settled yet */
        if (now - pads->wait_since_ms < (pads->fast ? 50u : 400u))
            return false;
        pads->paused = false;
        pads->wait_since_ms = pads->force.wait_since_ms = now;
    }
    return true;
}

static bool overdue(const struct pads *pads, uint32_t now, uint32_t since)
{
    return now - since >= (pads->fast ? 25u : 200u);
}

static bool line_due(const struct pads *pads, uint32_t now)
{
    if (only_pads(pads->fresh) != 0 && (pads->awaited & (uint8_t)~pads->fresh) == 0)
        return true;
    return overdue(pads, now, pads->wait_since_ms);
}

/* Everything that belongs to the line is taken at once; what is read from now on belongs to the next one. */
static struct reading take_reading(struct pads *pads, uint32_t now)
{
    struct reading reading = { .ms = only_pads(pads->fresh) != 0 ? pads->read_ms : now, .seq = pads->seq++ };
    uint8_t pad;
    for (pad = 0; pad < PADS_MOST; pad++) {
        if ((pads->fresh & bit_of(pad)) == 0) {
            reading.flags |= (uint16_t)(FLAG_MISSING << pad);
            continue;
        }
        reading.counts[pad] = pads->counts[pad];
        if (converter_saturated(reading.counts[pad]))
            reading.flags |= (uint16_t)(FLAG_SATURATED << pad);
    }
    if (pads->restarted_left > 0) {
        pads->restarted_left--;
        reading.flags |= FLAG_RESTARTED;
        if (strcmp(pads->board->boot, "watchdog") == 0)
            reading.flags |= FLAG_WATCHDOG;
    }
    if (pads->settling_left > 0) {
        pads->settling_left--;
        reading.flags |= FLAG_SETTLING;
    }
    pads->armed = pads->built; /* try a failed pad again, once for each line */
    pads->awaited = only_pads(pads->fresh);
    pads->fresh &= force_bit; /* what the force cell gave waits for a line of its own */
    pads->wait_since_ms = now;
    return reading;
}

/* As take_reading, for the force cell: its one count is the first. */
static struct reading take_force(struct pads *pads, uint32_t now)
{
    struct force *force = &pads->force;
    struct reading reading = { .ms = now, .seq = force->seq++ };
    if (pads->fresh & force_bit) {
        reading.ms = force->read_ms;
        reading.counts[0] = pads->counts[FORCE_CELL];
        if (converter_saturated(reading.counts[0]))
            reading.flags |= FLAG_SATURATED;
        if (force->settling)
            reading.flags |= FLAG_SETTLING;
    } else {
        reading.flags |= FLAG_MISSING;
    }
    pads->armed |= pads->built & force_bit;
    pads->fresh = only_pads(pads->fresh);
    force->wait_since_ms = now;
    return reading;
}

static void send_reading(struct pads *pads, uint32_t now)
{
    struct reading reading = take_reading(pads, now);
    if (pads->board->room() < LINE_LONGEST) {
        pads->overrun = true;
        return;
    }
    if (pads->overrun)
        reading.flags |= FLAG_OVERRUN;
    pads->overrun = false;
    pads_build_reading(pads, &reading);
    send_line(pads);
}

static void send_force(struct pads *pads, uint32_t now)
{
    struct force *force = &pads->force;
    struct reading reading = take_force(pads, now);
    if (pads->board->room() < LINE_LONGEST) {
        force->overrun = true;
        return;
    }
    if (force->overrun)
        reading.flags |= FLAG_OVERRUN;
    force->overrun = false;
    pads_build_force(pads, &reading);
    send_line(pads);
}

void pads_poll(struct pads *pads)
{
    read_ready_pads(pads);
    take_commands(pads);
    uint32_t now = pads->board->now_ms();
    if (!pause_over(pads, now))
        return;
    if (pads->running && line_due(pads, now))
        send_reading(pads, now);
    if (pads->running && pads->force.on
        && ((pads->fresh & force_bit) != 0 || overdue(pads, now, pads->force.wait_since_ms)))
        send_force(pads, now);
}
