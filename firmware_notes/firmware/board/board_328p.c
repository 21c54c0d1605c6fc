/* ATmega328P at 16 MHz with up to four 24-bit bridge converters, one clock line each; with -DFORCE=1 a fifth for
 * the load cell on the pushing finger.
 *
 *   PC0-PC3  data lines of pads 1-4 (pull-ups on: an unplugged converter reads as never ready)
 *   PD4-PD7  clock lines of pads 1-4
 *   PC4 PD3  data and clock line of the force cell
 *   PB0      rate select of all converters: low 10, high 80 per second
 *   PD0 PD1  serial port
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <util/delay.h>

#include "pads.h"

#ifndef CHANNELS
#define CHANNELS 4
#endif

#ifndef FORCE
#define FORCE 0
#endif

#define PAD_LINES ((1u << CHANNELS) - 1u)
#define FORCE_CLOCK (1u << PD3)
#define DATA_LINES ((uint8_t)(PAD_LINES | (FORCE ? 1u << FORCE_CELL : 0u)))
#define CLOCK_LINES ((uint8_t)(PAD_LINES << 4 | (FORCE ? FORCE_CLOCK : 0u)))
#define RATE_LINE ((uint8_t)(1u << PB0))

enum {
    TICK_MS = 4,
    COUNTS_PER_MS = 250, /* 16 MHz / 64 / 1000 */
    RECEIVE_ROOM = 64,   /* a power of two */
};

static volatile uint32_t tick_ms;
static volatile uint8_t woken; /* something happened that the main loop should look at */

static char sending[256]; /* 8-bit places wrap by themselves */
static volatile uint8_t send_head, send_tail;
static volatile uint8_t received[RECEIVE_ROOM];
static volatile uint8_t receive_head, receive_tail;

static uint8_t reset_cause __attribute__((section(".noinit")));

/* The watchdog stays on after its own reset, at its shortest time: stop it before anything else. */
void stop_watchdog_early(void) __attribute__((naked, used, section(".init3")));
void stop_watchdog_early(void)
{
    reset_cause = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

ISR(TIMER1_COMPA_vect)
{
    tick_ms += TICK_MS;
    woken = 1;
}

ISR(PCINT1_vect)
{
    woken = 1;
}

ISR(USART_RX_vect)
{
    uint8_t damaged = UCSR0A & ((1u << FE0) | (1u << DOR0));
    uint8_t byte = UDR0;
    if (damaged)
        byte = 0xFF; /* in no command: the line it stands in is answered, never obeyed */
    uint8_t next = (uint8_t)(receive_head + 1) % RECEIVE_ROOM;
    if (next == receive_tail) {
        received[(uint8_t)(receive_head - 1) % RECEIVE_ROOM] = 0xFF; /* full: the same for lost bytes */
    } else {
        received[receive_head] = byte;
        receive_head = next;
    }
    woken = 1;
}

ISR(USART_UDRE_vect)
{
    uint8_t tail = send_tail;
    UDR0 = (uint8_t)sending[tail++];
    send_tail = tail;
    if (tail == send_head)
        UCSR0B &= (uint8_t)~(1u << UDRIE0);
}

static uint32_t now_ms(void)
{
    cli();
    uint32_t ms = tick_ms;
    uint16_t count = TCNT1;
    if ((TIFR1 & (1u << OCF1A)) && count < TICK_MS * COUNTS_PER_MS / 2)
        ms += TICK_MS; /* wrapped, but its interrupt has not run yet */
    sei();
    return ms + count / COUNTS_PER_MS;
}

static uint8_t data_lines(void)
{
    return PINC;
}

static uint8_t clock_line, data_line; /* of the pad being read: shifting takes this processor long */

static void read_begin(uint8_t pad)
{
    clock_line = FORCE && pad == FORCE_CELL ? FORCE_CLOCK : (uint8_t)(0x10u << pad);
    data_line = (uint8_t)(1u << pad);
    PCICR = 0; /* the bits of a reading are no news */
}

static void read_end(uint8_t pad)
{
    (void)pad;
    PCIFR = 1u << PCIF1;
    PCICR = 1u << PCIE1;
    woken = 1; /* another pad may have become ready meanwhile: look again before sleeping */
}

static bool pulse(uint8_t pad)
{
    (void)pad;
    uint8_t high = clock_line;
    cli(); /* an interrupt here could hold the clock high for 60 us, which powers the converter down */
    PORTD |= high;
    _delay_us(1);
    uint8_t data = PINC;
    PORTD &= (uint8_t)~high;
    sei();
    return (data & data_line) != 0;
}

static void restart_converters(bool fast)
{
    if (fast)
        PORTB |= RATE_LINE;
    else
        PORTB &= (uint8_t)~RATE_LINE;
    PORTD |= CLOCK_LINES;
    _delay_us(100);
    PORTD &= (uint8_t)~CLOCK_LINES;
}

static uint8_t room(void)
{
    return (uint8_t)(send_tail - send_head - 1);
}

static void send(const char *bytes, uint8_t length)
{
    uint8_t head = send_head;
    while (length-- > 0)
        sending[head++] = *bytes++;
    cli(); /* the sending interrupt changes the same register */
    send_head = head;
    UCSR0B |= 1u << UDRIE0;
    sei();
}

static int16_t receive(void)
{
    uint8_t tail = receive_tail;
    if (tail == receive_head)
        return -1;
    uint8_t byte = received[tail];
    receive_tail = (uint8_t)(tail + 1) % RECEIVE_ROOM;
    return byte;
}

static const char *boot_cause(void)
{
    if (reset_cause & (1u << PORF))
        return "power"; /* sets others too while the supply rises */
    if (reset_cause & (1u << WDRF))
        return "watchdog";
    if (reset_cause & (1u << BORF))
        return "brownout";
    return "pin";
}

static void set_up(void)
{
    DDRD = CLOCK_LINES;
    DDRB = RATE_LINE;
    PORTC = DATA_LINES;
    PCMSK1 = DATA_LINES;
    PCICR = 1u << PCIE1;

    UCSR0A = 1u << U2X0; /* before the divisor: some emulators work out the speed when that is written */
    UBRR0 = 16;          /* 117 647 baud */
    UCSR0C = (1u << UCSZ01) | (1u << UCSZ00);
    UCSR0B = (1u << RXCIE0) | (1u << RXEN0) | (1u << TXEN0);

    TCCR1B = (1u << WGM12) | (1u << CS11) | (1u << CS10); /* before the compare value, for the same reason */
    OCR1A = TICK_MS * COUNTS_PER_MS - 1;
    TIMSK1 = 1u << OCIE1A;

    set_sleep_mode(SLEEP_MODE_IDLE);
    wdt_enable(WDTO_1S);
    sei();
}

/* Until there is news. Sent bytes alone wake the processor, but not the main loop. */
static void sleep_until_woken(void)
{
    cli();
    while (!woken) {
        sleep_enable();
        sei(); /* takes effect after the next instruction: no interrupt slips in between */
        sleep_cpu();
        __asm__ __volatile__("nop"); /* simavr 1.6 takes an interrupt that is already waiting only now */
        cli();
    }
    woken = 0;
    sei();
}

int main(void)
{
    static struct board board = {
        .name = "pads4",
        .channels = CHANNELS,
        .force = FORCE != 0,
        .now_ms = now_ms,
        .data_lines = data_lines,
        .read_begin = read_begin,
        .read_end = read_end,
        .pulse = pulse,
        .restart_converters = restart_converters,
        .room = room,
        .send = send,
        .receive = receive,
    };
    static struct pads pads;

    set_up();
    board.boot = boot_cause();
    pads_begin(&pads, &board);
    for (;;) {
        wdt_reset();
        pads_poll(&pads);
        sleep_until_woken();
    }
}
