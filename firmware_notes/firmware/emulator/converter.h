/* A model of a 24-bit bridge converter with a free-running clock, wired to an emulated board.
 *
 * Assumed, not checked on a chip: a renewal in the middle of a reading reloads the shift register; settling
 * takes 4 conversion periods. The rest are figures of the HX711 data sheet, from memory (clock high 0.2 to 50 us, power-down after 60).
 */
#ifndef CONVERTER_MODEL_H
#define CONVERTER_MODEL_H

#include <simavr/sim_avr.h>
#include <stdbool.h>

enum fault { FAULT_NONE, FAULT_OPEN, FAULT_STUCK_LOW, FAULT_STUCK_HIGH };

struct converter_statistics {
    unsigned long conversions;  /* made ready */
    unsigned long readings;     /* of at least 25 pulses */
    unsigned long collisions;   /* renewals in the middle of a reading */
    unsigned long unread;       /* conversions renewed before any pulse */
    unsigned long power_downs;
    double late_us;             /* longest time from ready to the first pulse */
    double high_us;             /* longest time the clock was high, power-downs aside */
    double shortest_us;         /* shortest half of a clock pulse */
};

struct converter {
    avr_t *avr;
    avr_irq_t *data; /* the board's input pin */
    int number;
    double clock_error; /* share by which this converter is slow */
    double load, noise, ramp;
    enum fault fault;

    bool fast, down, ready;
    int settling; /* conversions still to be kept back */
    int pulses;   /* since the conversion became ready */
    uint32_t shift;
    bool level;
    double renewal; /* cycle of the next one */
    avr_cycle_count_t rose, fell, ready_at;
    uint64_t random;
    struct converter_statistics statistics;
};

void converter_wire(struct converter *converter, avr_t *avr, int number, uint64_t seed);
/* The processor's reset clears all timers and pins: put this converter's back. It runs on meanwhile. */
void converter_after_reset(struct converter *converter);
void converter_set_fault(struct converter *converter, enum fault fault);
void converter_clear_statistics(struct converter *converter);

#endif
