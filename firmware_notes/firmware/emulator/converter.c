#include "converter.h"

#include <math.h>
#include <simavr/avr_ioport.h>
#include <string.h>

static const int settling_periods = 4;
static const double power_down_us = 60.0;

static double cycles_per_us(const struct converter *converter)
{
    return converter->avr->frequency / 1e6;
}

static double period(const struct converter *converter)
{
    double rate = converter->fast ? 80.0 : 10.0;
    return converter->avr->frequency / rate * (1.0 + converter->clock_error);
}

/* What the board sees on its pin; the input's pull-up makes an open line high. */
static void show(struct converter *converter, bool level)
{
    converter->level = level;
    bool seen = level;
    if (converter->fault == FAULT_OPEN || converter->fault == FAULT_STUCK_HIGH)
        seen = true;
    if (converter->fault == FAULT_STUCK_LOW)
        seen = false;
    avr_raise_irq(converter->data, seen);
}

static double uniform(struct converter *converter)
{
    uint64_t x = converter->random; /* a xorshift generator with shifts 13, 7, 17 */
    x ^= x << 13;
    x ^= x >> 7;
    x ^= x << 17;
    converter->random = x;
    return ((double)(x >> 11) + 0.5) / 9007199254740992.0;
}

static uint32_t convert(struct converter *converter)
{
    double value = converter->load;
    if (converter->noise > 0.0)
        value += converter->noise * sqrt(-2.0 * log(uniform(converter)))
                 * cos(6.283185307179586 * uniform(converter));
    converter->load += converter->ramp;
    value = fmin(fmax(round(value), -8388608.0), 8388607.0);
    return (uint32_t)(int32_t)value & 0xFFFFFFu;
}

static avr_cycle_count_t renew(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct converter *converter = param;
    (void)when;
    converter->renewal += period(converter);
    if (converter->down)
        return (avr_cycle_count_t)converter->renewal;
    if (converter->settling > 0 && --converter->settling > 0)
        return (avr_cycle_count_t)converter->renewal;

    converter->shift = convert(converter);
    converter->statistics.conversions++;
    if (converter->ready && converter->pulses > 0 && converter->pulses < 25) {
        converter->statistics.collisions++; /* the register is reloaded, the pulse count goes on */
        show(converter, (converter->shift & 0x800000u) != 0);
        return (avr_cycle_count_t)converter->renewal;
    }
    if (converter->ready && converter->pulses == 0)
        converter->statistics.unread++;
    converter->ready = true;
    converter->pulses = 0;
    converter->ready_at = avr->cycle;
    show(converter, true); /* a short mark, then ready */
    show(converter, false);
    return (avr_cycle_count_t)converter->renewal;
}

/* (Re)start the timer of the next renewal. */
static void rearm(struct converter *converter)
{
    avr_t *avr = converter->avr;
    while (converter->renewal <= (double)avr->cycle)
        converter->renewal += period(converter);
    avr_cycle_timer_cancel(avr, renew, converter);
    avr_cycle_timer_register(avr, (avr_cycle_count_t)converter->renewal - avr->cycle, renew, converter);
}

static avr_cycle_count_t power_down(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct converter *converter = param;
    (void)avr;
    (void)when;
    converter->down = true;
    converter->ready = false;
    converter->statistics.power_downs++;
    show(converter, true);
    return 0;
}

static void rise(struct converter *converter)
{
    avr_t *avr = converter->avr;
    struct converter_statistics *statistics = &converter->statistics;
    converter->rose = avr->cycle;
    avr_cycle_timer_register(avr, (avr_cycle_count_t)(power_down_us * cycles_per_us(converter)), power_down,
                             converter);
    if (!converter->ready)
        return;
    converter->pulses++;
    if (converter->pulses == 1)
        statistics->late_us = fmax(statistics->late_us,
                                   (double)(avr->cycle - converter->ready_at) / cycles_per_us(converter));
    else
        statistics->shortest_us = fmin(statistics->shortest_us,
                                       (double)(avr->cycle - converter->fell) / cycles_per_us(converter));
    if (converter->pulses <= 24) {
        show(converter, (converter->shift & 0x800000u) != 0);
        converter->shift <<= 1;
    } else {
        show(converter, true);
        if (converter->pulses == 25)
            statistics->readings++;
    }
}

static void fall(struct converter *converter)
{
    double high_us = (double)(converter->avr->cycle - converter->rose) / cycles_per_us(converter);
    converter->fell = converter->avr->cycle;
    avr_cycle_timer_cancel(converter->avr, power_down, converter);
    if (converter->down) { /* wakes and settles */
        converter->down = false;
        converter->settling = settling_periods;
        converter->renewal = (double)converter->avr->cycle + period(converter);
        rearm(converter);
        return;
    }
    converter->statistics.high_us = fmax(converter->statistics.high_us, high_us);
    converter->statistics.shortest_us = fmin(converter->statistics.shortest_us, high_us);
}

static void clock_changed(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct converter *converter = param;
    if ((value != 0) == (irq->value != 0))
        return;
    if (value)
        rise(converter);
    else
        fall(converter);
}

static void rate_changed(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct converter *converter = param;
    (void)irq;
    if (converter->fast == (value != 0))
        return;
    converter->fast = value != 0;
    converter->settling = settling_periods;
    converter->ready = false;
    show(converter, true);
    converter->renewal = (double)converter->avr->cycle + period(converter);
    rearm(converter);
}

void converter_wire(struct converter *converter, avr_t *avr, int number, uint64_t seed)
{
    memset(converter, 0, sizeof *converter);
    converter->avr = avr;
    converter->number = number;
    converter->random = seed * 0x9E3779B97F4A7C15ull + (uint64_t)number + 1;
    converter->settling = settling_periods;
    for (int i = 0; i < 8; i++)
        uniform(converter); /* small seeds begin alike */
    converter->data = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('C'), number);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), number == 4 ? 3 : 4 + number), clock_changed,
                            converter);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 0), rate_changed, converter);
    converter->renewal = period(converter) * uniform(converter); /* free-running: any phase */
    converter_clear_statistics(converter);
    rearm(converter);
    show(converter, true);
}

void converter_after_reset(struct converter *converter)
{
    avr_raise_irq(converter->data, converter->data->value == 0); /* an unchanged level would not be passed on */
    show(converter, converter->level);
    rearm(converter);
}

void converter_set_fault(struct converter *converter, enum fault fault)
{
    converter->fault = fault;
    show(converter, converter->level);
}

void converter_clear_statistics(struct converter *converter)
{
    memset(&converter->statistics, 0, sizeof converter->statistics);
    converter->statistics.shortest_us = 1e9;
}
