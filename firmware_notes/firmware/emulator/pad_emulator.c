/* Runs the board's firmware in an emulator: converters with known loads at one end, a pseudo-terminal that any
 * program can open as the pads' port at the other.
 *
 *   pad_emulator pads.elf [seed [converters]]     5 converters: the last is the force cell
 *
 * Prints "port <name>" and then obeys lines on standard input, each answered by one line:
 *   run <seconds>     run that much emulated time (fast); ended early by any further line, also an empty one
 *   pace <0|1>        1: run in step with real time
 *   load <pad> <counts>  noise <pad> <counts>  ramp <pad> <counts per conversion>  pads from 1
 *   clock <pad> <ppm>    this converter is slower by so much
 *   fault <pad> <none|open|low|high>
 *   type <text>          reaches the board as if the host had sent it; ; in it and its end are line feeds
 *   reset  stats  clear  quit
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pty.h>
#include <signal.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_core.h>
#include <simavr/sim_elf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "converter.h"

enum { CONVERTERS_MOST = 5, FREQUENCY = 16000000, SLICE_US = 2000, FAST_SLICE_US = 20000 };

static avr_t *avr;
static struct converter converters[CONVERTERS_MOST];
static int built = 4; /* converters on the board */
static void (*reset_of_the_core)(avr_t *);
static unsigned long resets, bytes_out, bytes_in, bytes_dropped, crashes;
static unsigned long long asleep; /* cycles */

static int terminal = -1, far_end = -1;
static bool paced;
static char out[4096];
static size_t out_length;
static unsigned char in[4096];
static size_t in_length, in_place;
static bool may_send_in = true;
static avr_irq_t *uart_in;

static char commands[4096];
static size_t commands_length;

static double cycles_per_us(void)
{
    return avr->frequency / 1e6;
}

/* What the board sent goes to the terminal. Paced, a full terminal loses bytes as a wire would; otherwise
 * emulated time waits for the reader. */
static void flush_out(void)
{
    size_t done = 0;
    while (done < out_length) {
        ssize_t wrote = write(terminal, out + done, out_length - done);
        if (wrote > 0) {
            done += (size_t)wrote;
        } else if (errno == EAGAIN && !paced) {
            struct pollfd wait[2] = { { .fd = terminal, .events = POLLOUT }, { .fd = 0, .events = POLLIN } };
            poll(wait, 2, -1);
            if (wait[1].revents & POLLHUP)
                exit(0); /* nobody is left to read */
            if (wait[1].revents && !wait[0].revents)
                usleep(1000); /* a command waits; it is taken after this line */
        } else if (errno != EINTR) {
            bytes_dropped += out_length - done;
            break;
        }
    }
    out_length = 0;
}

static void byte_from_board(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)param;
    bytes_out++;
    out[out_length++] = (char)value;
    if (out_length == sizeof out)
        flush_out();
}

static void input_free(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)value;
    may_send_in = param != NULL;
}

/* One byte from the terminal to the board in the time that a wire would need for it. */
static avr_cycle_count_t feed_board(avr_t *mcu, avr_cycle_count_t when, void *param)
{
    (void)param;
    (void)mcu;
    if (may_send_in && in_place < in_length) {
        bytes_in++;
        avr_raise_irq(uart_in, in[in_place++]);
    }
    if (in_place >= in_length)
        return 0;
    return when + (avr_cycle_count_t)(10e6 / 115200 * cycles_per_us());
}

static void to_board(size_t length)
{
    in_length = length;
    in_place = 0;
    avr_cycle_timer_register(avr, 1, feed_board, NULL);
}

static void look_for_input(void)
{
    if (in_place < in_length)
        return;
    ssize_t got = read(terminal, in, sizeof in);
    if (got > 0)
        to_board((size_t)got);
}

static void after_reset(avr_t *mcu)
{
    if (reset_of_the_core)
        reset_of_the_core(mcu);
    resets++;
    in_place = in_length = 0; /* a byte on its way is lost */
    may_send_in = true;
    for (int i = 0; i < built; i++)
        converter_after_reset(&converters[i]);
}

static double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static bool command_waits(void)
{
    struct pollfd wait = { .fd = 0, .events = POLLIN };
    return memchr(commands, '\n', commands_length) != NULL || poll(&wait, 1, 0) > 0;
}

static avr_cycle_count_t end_of_slice(avr_t *mcu, avr_cycle_count_t when, void *param)
{
    (void)mcu;
    (void)when;
    (void)param;
    return 0; /* only ends a long sleep */
}

/* One instruction or one sleep, as avr_run does it, but timers are looked through only when one is due: that
 * takes the library as long as the instruction itself. */
static void step(void)
{
    if (avr->run != avr_callback_run_raw) { /* the watchdog resets the processor */
        avr_run(avr);
        return;
    }
    avr_flashaddr_t next = avr->pc;
    if (avr->state == cpu_Running)
        next = avr_run_one(avr);
    avr_cycle_count_t idle = 0;
    const avr_cycle_timer_slot_t *timer = avr->cycle_timers.timer;
    if (avr->state == cpu_Sleeping || (timer != NULL && timer->when <= avr->cycle))
        idle = avr_cycle_timer_process(avr);
    avr->pc = next;
    if (avr->state == cpu_Sleeping) {
        if (!avr->sreg[S_I]) { /* nothing could wake it */
            avr->state = cpu_Done;
            return;
        }
        asleep += idle;
        avr->cycle += 1 + idle;
    }
    if (avr->interrupt_state)
        avr_service_interrupts(avr);
}

static void run(double seconds)
{
    avr_cycle_count_t begin = avr->cycle;
    avr_cycle_count_t end = begin + (avr_cycle_count_t)(seconds * avr->frequency);
    double wall = seconds_now();
    bool ended = false;
    while (avr->cycle < end && !ended) {
        avr_cycle_count_t slice = (avr_cycle_count_t)((paced ? SLICE_US : FAST_SLICE_US) * cycles_per_us());
        if (slice > end - avr->cycle)
            slice = end - avr->cycle;
        avr_cycle_count_t stop = avr->cycle + slice;
        avr_cycle_timer_register(avr, slice, end_of_slice, NULL);
        while (avr->cycle < stop) {
            step();
            if (avr->state == cpu_Done || avr->state == cpu_Crashed) {
                crashes++;
                ended = true;
                break;
            }
        }
        flush_out();
        look_for_input();
        if (paced) {
            double ahead = (double)(avr->cycle - begin) / avr->frequency - (seconds_now() - wall);
            if (ahead > 0)
                usleep((useconds_t)(ahead * 1e6));
        }
        if (command_waits())
            ended = true;
    }
    printf("ran %.6f\n", (double)(avr->cycle - begin) / avr->frequency);
}

/* The port's speed as the ATmega328P data sheet (chapter on the USART) works it out from its registers. The emulator itself counts 11
 * bits for a byte, one more than a real wire. */
static double baud(void)
{
    enum { UCSR0A = 0xC0, U2X0 = 1, UBRR0L = 0xC4, UBRR0H = 0xC5 };
    int divisor = avr->data[UBRR0L] + 256 * avr->data[UBRR0H] + 1;
    return avr->frequency / (divisor * (avr->data[UCSR0A] & (1 << U2X0) ? 8.0 : 16.0));
}

static void print_statistics(void)
{
    printf("{\"cycles\": %llu, \"asleep\": %llu, \"resets\": %lu, \"crashes\": %lu, \"bytes_out\": %lu, \"bytes_in\": %lu, "
           "\"bytes_dropped\": %lu, \"baud\": %.1f, \"pads\": [",
           (unsigned long long)avr->cycle, asleep, resets, crashes, bytes_out, bytes_in, bytes_dropped,
           baud());
    for (int i = 0; i < built; i++) {
        const struct converter_statistics *s = &converters[i].statistics;
        printf("%s{\"conversions\": %lu, \"readings\": %lu, \"collisions\": %lu, \"unread\": %lu, "
               "\"power_downs\": %lu, \"late_us\": %.3f, \"high_us\": %.3f, \"shortest_us\": %.3f}",
               i ? ", " : "", s->conversions, s->readings, s->collisions, s->unread, s->power_downs,
               s->late_us, s->high_us, s->shortest_us);
    }
    printf("]}\n");
}

/* False at the end. */
static bool obey(char *line)
{
    char word[16] = "", text[16] = "";
    int pad = 0;
    double number = 0;
    if (*line == '\0') {
        return true; /* only ends a run */
    } else if (sscanf(line, "run %lf", &number) == 1 && number >= 0) {
        run(number);
    } else if (strcmp(line, "reset") == 0) {
        avr_reset(avr);
        printf("ok\n");
    } else if (strcmp(line, "stats") == 0) {
        print_statistics();
    } else if (strcmp(line, "clear") == 0) {
        for (int i = 0; i < built; i++)
            converter_clear_statistics(&converters[i]);
        printf("ok\n");
    } else if (strncmp(line, "type ", 5) == 0) {
        size_t length = (size_t)sprintf((char *)in, "%s\n", line + 5);
        for (char *place = (char *)in; (place = strchr(place, ';')) != NULL;)
            *place = '\n'; /* several lines at once */
        to_board(length);
        printf("ok\n");
    } else if (strcmp(line, "quit") == 0) {
        return false;
    } else if (sscanf(line, "pace %d", &pad) == 1) {
        paced = pad != 0;
        printf("ok\n");
    } else if (sscanf(line, "fault %d %15s", &pad, text) == 2 && pad >= 1 && pad <= built) {
        static const char *names[] = { "none", "open", "low", "high" };
        int fault = 0;
        while (fault < 4 && strcmp(text, names[fault]) != 0)
            fault++;
        if (fault < 4)
            converter_set_fault(&converters[pad - 1], (enum fault)fault);
        printf(fault < 4 ? "ok\n" : "error no such fault\n");
    } else if (sscanf(line, "%15s %d %lf", word, &pad, &number) == 3 && pad >= 1 && pad <= built) {
        struct converter *converter = &converters[pad - 1];
        bool known = true;
        if (strcmp(word, "load") == 0)
            converter->load = number;
        else if (strcmp(word, "noise") == 0)
            converter->noise = number;
        else if (strcmp(word, "ramp") == 0)
            converter->ramp = number;
        else if (strcmp(word, "clock") == 0)
            converter->clock_error = number * 1e-6;
        else
            known = false;
        printf(known ? "ok\n" : "error no such command\n");
    } else {
        printf("error no such command\n");
    }
    return true;
}

static void obey_all(void)
{
    for (;;) {
        char *end;
        while ((end = memchr(commands, '\n', commands_length)) != NULL) {
            char line[256];
            size_t length = (size_t)(end - commands);
            snprintf(line, sizeof line, "%.*s", (int)length, commands);
            memmove(commands, end + 1, commands_length - length - 1);
            commands_length -= length + 1;
            if (!obey(line))
                return;
            fflush(stdout);
        }
        if (commands_length == sizeof commands)
            return; /* no line is that long */
        ssize_t got = read(0, commands + commands_length, sizeof commands - commands_length);
        if (got <= 0)
            return;
        commands_length += (size_t)got;
    }
}

static void log_to_stderr(avr_t *mcu, const int level, const char *format, va_list arguments)
{
    (void)mcu;
    if (level <= LOG_ERROR)
        vfprintf(stderr, format, arguments);
}

static void load_firmware(const char *name)
{
    static elf_firmware_t firmware;
    if (elf_read_firmware(name, &firmware) != 0) {
        fprintf(stderr, "%s: cannot be read as firmware. Build it with make board.\n", name);
        exit(2);
    }
    avr = avr_make_mcu_by_name("atmega328p");
    if (avr == NULL) {
        fprintf(stderr, "this emulator library knows no atmega328p. Install libsimavr-dev 1.6 or later.\n");
        exit(1);
    }
    avr_init(avr);
    avr->frequency = FREQUENCY;
    avr->log = LOG_ERROR;
    avr_load_firmware(avr, &firmware);
    avr->frequency = FREQUENCY;
}

int main(int count, char **arguments)
{
    if (count < 2) {
        fprintf(stderr, "usage: pad_emulator pads.elf [seed [converters]]\n");
        return 2;
    }
    avr_global_logger_set(log_to_stderr);
    load_firmware(arguments[1]);

    char name[128];
    struct termios raw;
    memset(&raw, 0, sizeof raw);
    cfmakeraw(&raw);
    raw.c_cflag |= CREAD | CS8;
    raw.c_cc[VMIN] = 1;
    if (openpty(&terminal, &far_end, name, &raw, NULL) != 0) { /* the far end stays open: no hang-up */
        perror("pseudo-terminal");
        return 1;
    }
    fcntl(terminal, F_SETFL, O_NONBLOCK);

    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= (uint32_t) ~(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    uart_in = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), byte_from_board,
                            NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), input_free, avr);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), input_free,
                            NULL);

    uint64_t seed = count > 2 ? strtoull(arguments[2], NULL, 10) : 1;
    built = count > 3 && strcmp(arguments[3], "5") == 0 ? 5 : 4;
    for (int i = 0; i < built; i++)
        converter_wire(&converters[i], avr, i, seed);
    reset_of_the_core = avr->reset;
    avr->reset = after_reset;

    printf("port %s\n", name);
    fflush(stdout);
    obey_all();
    flush_out();
    return 0;
}
