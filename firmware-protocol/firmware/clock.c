#include "clock.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"

/* What one turn of the counter is worth: 65536 ticks of half a microsecond. */
#define TURN_US 32768UL

static struct big turned; /* time of the latest overflow that was served */
static struct big edges;
static struct big edge_at;
static uint16_t edge_count;
static uint8_t edges_in_tick, overrun;

void big_add(struct big *to, uint32_t n) {
    to->rest += n;
    while (to->rest >= 1000000UL) {
        to->rest -= 1000000UL;
        to->millions++;
    }
}

uint8_t big_before(const struct big *a, const struct big *b) {
    return a->millions < b->millions || (a->millions == b->millions && a->rest < b->rest);
}

void clock_init(void) {
    TCCR5A = 0;
    /* Rising edges, noise canceller on (four equal samples), F_CPU / 8. */
    TCCR5B = _BV(ICNC5) | _BV(ICES5) | _BV(CS51);
    TIMSK5 = _BV(ICIE5) | _BV(TOIE5);
}

ISR(TIMER5_OVF_vect) {
    big_add(&turned, TURN_US);
}

/* `count` was read from the counter or the capture register; an overflow may be waiting to be served. */
static struct big time_of(uint16_t count) {
    struct big t = turned;
    uint32_t us = count / TICKS_PER_US;
    if ((TIFR5 & _BV(TOV5)) && count < 0x8000) us += TURN_US;
    big_add(&t, us);
    return t;
}

/* An input that rattles is left alone for the rest of the millisecond: the pulses and the dead-man go on. */
ISR(TIMER5_CAPT_vect) {
    edge_at = time_of(ICR5);
    big_add(&edges, 1);
    edge_count++;
    if (++edges_in_tick > METER_MAX_HZ / 1000) {
        TIMSK5 &= (uint8_t)~_BV(ICIE5);
        overrun = 1;
    }
}

uint16_t clock_edge_count(void) {
    return edge_count;
}

void clock_tick(void) {
    if (edges_in_tick > METER_MAX_HZ / 1000) {
        TIFR5 = _BV(ICF5);
        TIMSK5 |= _BV(ICIE5);
    }
    edges_in_tick = 0;
}

uint8_t clock_overrun(void) {
    uint8_t was = overrun;
    overrun = 0;
    return was;
}

struct big clock_now(void) {
    struct big t;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        t = time_of(TCNT5);
    }
    return t;
}

void clock_edges(struct big *count, struct big *at) {
    *count = edges;
    *at = edge_at;
}
