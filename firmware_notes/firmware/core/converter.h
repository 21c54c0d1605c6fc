/* One 24-bit bridge converter: how to read it. */
#ifndef CONVERTER_H
#define CONVERTER_H

#include "board.h"

#define CONVERTER_HIGHEST INT32_C(8388607)
#define CONVERTER_LOWEST INT32_C(-8388608)

/* The conversion that waits at this pad. */
int32_t converter_read(const struct board *board, uint8_t pad);

bool converter_saturated(int32_t counts);

#endif
