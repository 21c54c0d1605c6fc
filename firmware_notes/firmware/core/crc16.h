/* CRC-16/CCITT-FALSE: polynomial 1021, start FFFF, not reflected, no final exclusive-or. */
#ifndef CRC16_H
#define CRC16_H

#include <stdint.h>

#define CRC16_START 0xFFFFu

/* The CRC of everything before plus one more byte. */
uint16_t crc16_add(uint16_t crc, uint8_t byte);

#endif
