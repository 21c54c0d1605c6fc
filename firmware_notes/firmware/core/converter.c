#include "converter.h"

enum { BYTES = 3 };

int32_t converter_read(const struct board *board, uint8_t pad)
{
    bool (*pulse)(uint8_t) = board->pulse; /* looked up once, not for every bit */
    uint32_t raw = 0;
    board->read_begin(pad);
    for (uint8_t byte = 0; byte < BYTES; byte++) {
        uint8_t bits = 0; /* an 8-bit processor shifts one byte in a third of the time of three */
        for (uint8_t bit = 0; bit < 8; bit++)
            bits = (uint8_t)(bits << 1) | pulse(pad);
        raw = (raw << 8) | bits;
    }
    pulse(pad); /* the 25th: channel A, gain 128 next time, and the data line goes high */
    board->read_end(pad);
    return (int32_t)(raw ^ 0x800000u) - INT32_C(0x800000); /* sign of 24 bits to 32 */
}

bool converter_saturated(int32_t counts)
{
    return counts == CONVERTER_HIGHEST || counts == CONVERTER_LOWEST;
}
