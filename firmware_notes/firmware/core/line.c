#include "line.h"

#include "crc16.h"

static void put(struct line *line, char letter)
{
    if (line->length < LINE_LONGEST) /* a longer board name must not write past the end */
        line->text[line->length++] = letter;
    line->crc = crc16_add(line->crc, (uint8_t)letter);
}

void line_begin(struct line *line)
{
    line->length = 0;
    line->crc = CRC16_START;
    line_more(line, "PB1");
}

void line_more(struct line *line, const char *text)
{
    while (*text != '\0')
        put(line, *text++);
}

void line_word(struct line *line, const char *word)
{
    put(line, ' ');
    line_more(line, word);
}

/* By repeated subtraction: an 8-bit processor needs 40 us for each division by ten, and a pad waits. */
void line_more_unsigned(struct line *line, uint32_t number)
{
    static const uint32_t place[] = { 1000000000u, 100000000u, 10000000u, 1000000u, 100000u,
                                      10000u,      1000u,      100u,      10u };
    uint8_t begun = 0;
    for (uint8_t i = 0; i < sizeof place / sizeof place[0]; i++) {
        char digit = '0';
        while (number >= place[i]) {
            number -= place[i];
            digit++;
        }
        begun |= (uint8_t)(digit != '0');
        if (begun)
            put(line, digit);
    }
    put(line, (char)('0' + (char)number));
}

void line_unsigned(struct line *line, uint32_t number)
{
    put(line, ' ');
    line_more_unsigned(line, number);
}

void line_signed(struct line *line, int32_t number)
{
    put(line, ' ');
    if (number < 0)
        put(line, '-');
    line_more_unsigned(line, number < 0 ? 0u - (uint32_t)number : (uint32_t)number);
}

void line_hex(struct line *line, uint16_t number)
{
    put(line, ' ');
    for (uint8_t shift = 16; shift > 0;) {
        shift = (uint8_t)(shift - 4);
        put(line, "0123456789ABCDEF"[((uint8_t)(number >> shift)) & 0xFu]);
    }
}

void line_end(struct line *line)
{
    line_hex(line, line->crc);
    put(line, '\n');
}
