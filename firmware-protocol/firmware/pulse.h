/* The burst: timer 1 drives the pulse output, and software only tells it a segment ahead what comes next. */
#ifndef PULSE_H
#define PULSE_H

#include <stdint.h>

struct burst {
    uint32_t number;
    uint32_t commanded;
    uint32_t done;
    uint8_t active;
};

void pulse_init(void);
/* Starts a burst; the first pulse begins a millisecond later. No burst is active. Ticks are of half a microsecond. */
uint32_t pulse_start(uint8_t channel, uint32_t width_ticks, uint32_t period_ticks, uint32_t count);
/* No pulse starts any more; the one in progress runs to its end (LINE-38). */
void pulse_halt(void);
/* The output goes low within a microsecond and the burst is over (LINE-54). Call with interrupts off. */
void pulse_cut(void);
/* Call with interrupts off. */
struct burst pulse_state(void);

/* What the burst drives, or the last one drove: the channel as it stands at the pins of the decoder, from 1; 0: none yet. */
struct drive {
    uint8_t channel;
    uint32_t width_ticks, period_ticks;
};
/* Call with interrupts off. */
struct drive pulse_drive(void);

#endif
