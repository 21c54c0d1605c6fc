#include "crc16.h"

/* A byte at a time without a table. The polynomial x^16 + x^12 + x^5 + 1 sends a bit that leaves at the top
 * back in at places 12, 5 and 0; of the eight leaving bits the upper four (through x^12) leave a second time,
 * which is the fold by four. Eight single steps would take three times as long, and a pad must be read within
 * 1 ms of being ready. */
uint16_t crc16_add(uint16_t crc, uint8_t byte)
{
    uint8_t leaving = (uint8_t)(crc >> 8) ^ byte;
    leaving ^= (uint8_t)(leaving >> 4);
    return (uint16_t)((uint16_t)(crc << 8) ^ (uint16_t)((uint16_t)leaving << 12)
                      ^ (uint16_t)((uint16_t)leaving << 5) ^ leaving);
}
