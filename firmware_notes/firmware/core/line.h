/* One line of the protocol, built word by word; the CRC grows with it. */
#ifndef LINE_H
#define LINE_H

#include <stdint.h>

enum { LINE_LONGEST = 96 }; /* bytes, line end included (protocol.md) */

struct line {
    uint16_t crc;
    uint8_t length;
    char text[LINE_LONGEST];
};

void line_begin(struct line *line);                          /* PB1 */
void line_word(struct line *line, const char *word);         /* a space and the word */
void line_more(struct line *line, const char *text);         /* the text, no space before it */
void line_more_unsigned(struct line *line, uint32_t number); /* the digits, no space before them */
void line_unsigned(struct line *line, uint32_t number);
void line_signed(struct line *line, int32_t number);
void line_hex(struct line *line, uint16_t number); /* a space and four upper-case digits */
void line_end(struct line *line);                  /* the CRC and the line feed */

#endif
