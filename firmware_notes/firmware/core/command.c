#include "command.h"

#include <string.h>

/* The argument when the text is this command, or a null pointer. */
static const char *argument_of(const char *text, const char *name)
{
    size_t length = strlen(name);
    if (strncmp(text, name, length) != 0)
        return NULL;
    if (text[length] == '\0')
        return text + length;
    return text[length] == ' ' ? text + length + 1 : NULL;
}

static enum command understand(const char *text)
{
    const char *argument;
    if ((argument = argument_of(text, "?")) != NULL)
        return *argument == '\0' ? COMMAND_IDENTIFY : COMMAND_ARGUMENT;
    if ((argument = argument_of(text, "start")) != NULL)
        return *argument == '\0' ? COMMAND_START : COMMAND_ARGUMENT;
    if ((argument = argument_of(text, "stop")) != NULL)
        return *argument == '\0' ? COMMAND_STOP : COMMAND_ARGUMENT;
    if ((argument = argument_of(text, "force")) != NULL) {
        if (strcmp(argument, "on") == 0)
            return COMMAND_FORCE_ON;
        return strcmp(argument, "off") == 0 ? COMMAND_FORCE_OFF : COMMAND_FORCE_ARGUMENT;
    }
    if ((argument = argument_of(text, "rate")) == NULL)
        return COMMAND_UNKNOWN;
    if (strcmp(argument, "10") == 0)
        return COMMAND_RATE_10;
    return strcmp(argument, "80") == 0 ? COMMAND_RATE_80 : COMMAND_ARGUMENT;
}

enum command command_feed(struct command_reader *reader, uint8_t byte)
{
    if (byte != '\n') {
        if (reader->length <= COMMAND_LONGEST) /* a zero would end the text early: another stranger instead */
            reader->text[reader->length] = byte == 0 ? '\1' : (char)byte;
        if (reader->length <= COMMAND_LONGEST + 1)
            reader->length++; /* stays there: a long line must not wrap round to a short one */
        return COMMAND_NONE;
    }
    uint8_t length = reader->length;
    reader->length = 0;
    if (length > 0 && length <= COMMAND_LONGEST + 1 && reader->text[length - 1] == '\r')
        length--;
    if (length > COMMAND_LONGEST)
        return COMMAND_LONG;
    while (length > 0 && reader->text[length - 1] == ' ')
        length--;
    reader->text[length] = '\0';
    return length == 0 ? COMMAND_NONE : understand(reader->text);
}
