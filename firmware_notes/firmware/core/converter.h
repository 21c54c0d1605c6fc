/* One 24-bit bridge converter: when to read it, and how. */
#ifndef CONVERTER_H
#define CONVERTER_H

#include "board.h"

#define CONVERTER_HIGHEST INT32_C(8388607)
#define CONVERTER_LOWEST INT32_C(-8388608)

struct converter {
    int32_t counts; /* the newest conversion */
    bool armed;     /* the data line was seen high since the last reading: low now means a new conversion */
};

/* Read the converter if it has a conversion waiting. True when counts is new. */
bool converter_poll(struct converter *converter, const struct board *board, uint8_t pad);

bool converter_saturated(int32_t counts);

#endif
