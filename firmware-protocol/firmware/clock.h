/* The controller's microsecond clock and the time-stamped flow meter, both on timer 5. */
#ifndef CLOCK_H
#define CLOCK_H

#include <stdint.h>

/* A count below 2^48 without 64-bit arithmetic (LINE-43): millions and the rest below a million. */
struct big {
    uint32_t millions;
    uint32_t rest;
};

void clock_init(void);
/* Microseconds since the start. */
struct big clock_now(void);
/* Edges since the start, and the time of the latest (LINE-44). Call with interrupts off. */
void clock_edges(struct big *edges, struct big *at);
/* Edges since the start, modulo 65536. Call with interrupts off. */
uint16_t clock_edge_count(void);
/* Every millisecond, from an interrupt. */
void clock_tick(void);
/* 1: since the last call edges came faster than they can be time-stamped, and some were lost (LINE-96). */
uint8_t clock_overrun(void);
void big_add(struct big *to, uint32_t less_than_4e9);
/* 1: a is before b. */
uint8_t big_before(const struct big *a, const struct big *b);

#endif
