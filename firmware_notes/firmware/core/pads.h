/* The pads as a whole: reads converters, answers the host, sends lines as protocol.md says. */
#ifndef PADS_H
#define PADS_H

#include "board.h"
#include "command.h"
#include "converter.h"
#include "line.h"

#define FIRMWARE_VERSION "1.1.0"

enum { PADS_MOST = 4, FORCE_CELL = PADS_MOST, CONVERTERS_MOST };

enum flag { /* shift the first two by the pad's number, from 0 */
    FLAG_MISSING = 0x0001,
    FLAG_SATURATED = 0x0010,
    FLAG_RESTARTED = 0x0100,
    FLAG_WATCHDOG = 0x0200,
    FLAG_SETTLING = 0x0400,
    FLAG_OVERRUN = 0x0800,
};

struct reading {
    uint32_t ms; /* when the last pad was read */
    int32_t counts[PADS_MOST];
    uint16_t flags;
    uint16_t seq;
};

struct force {
    uint32_t read_ms;       /* when the cell was last read */
    uint32_t wait_since_ms; /* the line before */
    uint16_t seq;           /* of the next line */
    uint8_t settling_left;  /* conversions still to carry the flag */
    bool settling;          /* the newest carries it */
    bool overrun;
    bool on; /* the host has asked for it */
};

struct pads {
    const struct board *board;
    int32_t counts[CONVERTERS_MOST]; /* newest conversions; the force cell's last */
    struct command_reader command;
    struct line line;
    uint32_t read_ms;        /* when a pad was last read */
    uint32_t wait_since_ms;  /* start of the pause, or the line before */
    uint16_t seq;            /* of the next line */
    uint8_t built;           /* bit per converter: the board has it */
    uint8_t armed;           /* bit per pad: low on its data line means ready: it was high since the last reading */
    uint8_t failed;          /* bit per pad: its data line stayed low after the last reading */
    uint8_t fresh;           /* bit per pad: a conversion since the line before */
    uint8_t awaited;         /* bit per pad: a line waits for it */
    uint8_t restarted_left;  /* lines still to carry the flag */
    uint8_t settling_left;
    bool overrun;            /* lines were dropped since the last one sent */
    bool fast;               /* 80 per second, not 10 */
    bool paused;             /* the converters settle */
    bool running;
    struct force force;
};

/* After a reset: restarts the converters and sends the identification line. */
void pads_begin(struct pads *pads, const struct board *board);

/* Do what is due. Call after every interrupt that may have changed something, and every few ms. */
void pads_poll(struct pads *pads);

/* Lines, built into pads->line. While a reading is built, pads that become ready are read. */
void pads_build_identity(struct pads *pads);
void pads_build_reading(struct pads *pads, const struct reading *reading);
void pads_build_force(struct pads *pads, const struct reading *reading); /* its first count is the force */

#endif
