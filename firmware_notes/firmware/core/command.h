/* Bytes from the host in, commands out. */
#ifndef COMMAND_H
#define COMMAND_H

#include <stdbool.h>
#include <stdint.h>

enum { COMMAND_LONGEST = 16 }; /* bytes before the line end (protocol.md) */

enum command {
    COMMAND_NONE, /* no line end yet, or an empty line */
    COMMAND_IDENTIFY,
    COMMAND_RATE_10,
    COMMAND_RATE_80,
    COMMAND_START,
    COMMAND_STOP,
    COMMAND_FORCE_ON,
    COMMAND_FORCE_OFF,
    COMMAND_FORCE_ARGUMENT, /* unknown to a board without a force cell */
    COMMAND_UNKNOWN,
    COMMAND_ARGUMENT,
    COMMAND_LONG,
};

struct command_reader {
    uint8_t length;                 /* as received, up to one more than fits */
    char text[COMMAND_LONGEST + 2]; /* room for a carriage return and an end mark */
};

enum command command_feed(struct command_reader *reader, uint8_t byte);

#endif
