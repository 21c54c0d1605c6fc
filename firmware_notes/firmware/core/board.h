/* What the core needs from a board. Every call is made from the main loop, never from an interrupt. */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

struct board {
    const char *name; /* letters, digits, dots, hyphens, underscores; at most 16 */
    const char *boot; /* power, pin, brownout or watchdog */
    uint8_t channels; /* pads the board is built for, 1 to 4 */
    bool force;       /* a fifth converter, for the load cell on the pushing finger: number 4, from 0 */

    uint32_t (*now_ms)(void); /* since reset; wraps */

    /* Converters. A data line is low while a conversion waits to be read. Bit per pad: line is high. */
    uint8_t (*data_lines)(void);
    void (*read_begin)(uint8_t pad); /* before the first pulse of a reading, and after the last */
    void (*read_end)(uint8_t pad);
    /* Pulse this pad's own clock line, high for 0.2 to 50 us whatever interrupts; the data line's level
     * while the clock is high. */
    bool (*pulse)(uint8_t pad);
    /* Set all converters to 80 or 10 per second and restart them: clocks high for more than 60 us, then low. */
    void (*restart_converters)(bool fast);

    uint8_t (*room)(void);                              /* free bytes in the output queue */
    void (*send)(const char *bytes, uint8_t length);    /* room was asked before */
    int16_t (*receive)(void);                           /* the next byte from the host, or -1 */
};

#endif
