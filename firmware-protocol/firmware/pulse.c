/*
 * Timer 1 in fast PWM, mode 14: the hardware sets OC1B when the counter returns to 0 and clears it at the match with
 * OCR1B, so both edges of every pulse are the timer's own, whatever the processor is doing.
 *
 * The counter has 16 bits, a period up to 21. So a period is cut into segments, each one turn of the counter:
 *
 *   segment   begins with         match in it
 *   rise      output set          at the fall, if that is near enough
 *   hold      set (is already)    at the fall, if that is near enough
 *   low       cleared (is already) none
 *
 * OCR1B is double buffered by the hardware and taken over when a segment begins, so it is written a whole segment ahead.
 * ICR1 (the length) is not buffered and is written at the beginning of the segment itself. No segment is shorter than a
 * millisecond, and that is the latency which the two interrupts here can bear. A low segment needs the output mode
 * turned round (clear at 0); that is done by the interrupt of the fall, and a segment that is followed by a low one is
 * cut so that it lasts 1.25 ms longer than its fall.
 */
#include "pulse.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"

#define LEAD_TICKS 2000   /* from the request to the first pulse */
#define AFTER_FALL 2500   /* rest of a segment after its fall where the output mode has to be turned */
#define HOLD_TICKS 30000  /* a segment without an event */
#define FALL_WITHIN 60000 /* the latest fall in a segment */
#define LONGEST 65000
#define NEVER 0xFFFF /* above every length, so no match */

#define MODE_SET (_BV(COM1B1) | _BV(WGM11))                 /* set at 0, clear at the match */
#define MODE_CLEAR (_BV(COM1B1) | _BV(COM1B0) | _BV(WGM11)) /* clear at 0 */
#define RUN (_BV(WGM13) | _BV(WGM12) | _BV(CS11))

struct segment {
    uint16_t length;
    uint16_t fall_at; /* ticks after its beginning; 0: none */
    uint8_t rises;
    uint8_t low;
};

static struct burst burst;
static uint32_t width, gap;
static uint32_t planned;     /* pulses to be started at most; a halt lowers it */
static uint32_t started;
static uint32_t in_plan;     /* pulses whose rise has been planned */
static uint32_t to_fall;     /* from the end of the planned segments to the fall, while the planned output is high */
static uint32_t to_rise;     /* and to the next rise, while it is low */
static struct segment current, next;

void pulse_init(void) {
    PULSE_PORT &= (uint8_t)~_BV(PULSE_BIT);
    pulse_cut();
    PULSE_DDR |= _BV(PULSE_BIT);
    SELECT_PORT &= (uint8_t)~SELECT_MASK;
    SELECT_DDR |= SELECT_MASK;
}

void pulse_cut(void) {
    /* The counter stands, so the output has fallen by its match or it has not: a pulse that ran to its end counts, also
       where the interrupt that counts it was held off (LINE-97). */
    TCCR1B &= (uint8_t)~_BV(CS11);
    if (burst.active && (TIFR1 & _BV(OCF1B))) burst.done++;
    /* Out of PWM first: only then a forced compare clears the output and its latch, without a glitch. */
    TCCR1B = 0;
    TCCR1A = _BV(COM1B1);
    TCCR1C = _BV(FOC1B);
    TCCR1A = 0;
    TIMSK1 = 0;
    TIFR1 = _BV(TOV1) | _BV(OCF1B);
    burst.active = 0;
}

/* The segment in which the output falls, `to_fall` ticks after its beginning. */
static void plan_fall(void) {
    next.fall_at = to_fall;
    if (in_plan == planned) {
        /* The last one: what follows does not come, the fall ends the burst. */
        next.length = to_fall + AFTER_FALL;
        to_rise = LONGEST;
    } else if (to_fall + gap <= LONGEST) {
        next.length = to_fall + gap;
        to_rise = 0;
    } else {
        next.length = to_fall + AFTER_FALL;
        to_rise = gap - AFTER_FALL;
    }
    OCR1B = to_fall - 1;
    to_fall = 0;
}

/* Plans the segment after the last planned one and gives the timer its match. */
static void plan(void) {
    next.rises = 0;
    next.fall_at = 0;
    next.low = 0;
    if (to_fall == 0 && to_rise == 0) {
        next.rises = 1;
        in_plan++;
        to_fall = width;
    }
    if (to_fall > FALL_WITHIN) {
        next.length = HOLD_TICKS;
        to_fall -= HOLD_TICKS;
        OCR1B = NEVER;
    } else if (to_fall > 0) {
        plan_fall();
    } else {
        next.low = 1;
        next.length = to_rise <= LONGEST ? to_rise : HOLD_TICKS;
        to_rise -= next.length;
        OCR1B = NEVER;
    }
}

static void begin_segment(void) {
    ICR1 = next.length - 1;
    current = next;
    if (current.rises) started++;
    plan();
    if (current.low && next.rises) TCCR1A = MODE_SET;
}

static void fall(void) {
    burst.done++;
    if (burst.done == planned) {
        pulse_cut();
    } else if (next.low) {
        TCCR1A = MODE_CLEAR;
    }
}

ISR(TIMER1_COMPB_vect) {
    fall();
}

ISR(TIMER1_OVF_vect) {
    begin_segment();
}

uint32_t pulse_start(uint8_t channel, uint32_t width_ticks, uint32_t period_ticks, uint32_t count) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        SELECT_PORT = (SELECT_PORT & (uint8_t)~SELECT_MASK) | (uint8_t)(channel - 1);
        burst.number++;
        if (burst.number == 0) burst.number = 1;
        burst.commanded = count;
        burst.done = 0;
        width = width_ticks;
        gap = period_ticks - width_ticks;
        planned = count;
        started = 0;
        in_plan = 0;
        to_fall = 0;
        to_rise = 0;
        current.rises = 0;
        current.fall_at = 0;
        current.low = 1;
        /* The counter stands still in normal mode here, where OCR1B is taken at once: no match in the lead. It starts
           at 1, because at 0 the buffer of OCR1B could be taken over too early. */
        TCNT1 = 1;
        OCR1B = NEVER;
        ICR1 = LEAD_TICKS;
        TCCR1A = MODE_SET;
        TCCR1B = RUN;
        plan();
        TIFR1 = _BV(TOV1) | _BV(OCF1B);
        TIMSK1 = _BV(TOIE1) | _BV(OCIE1B);
        burst.active = 1;
    }
    return burst.number;
}

/* What the two interrupts would do now if they were not held off, in their order. */
static void serve_pending(void) {
    if (TIFR1 & _BV(OCF1B)) {
        TIFR1 = _BV(OCF1B);
        fall();
    }
    if (burst.active && (TIFR1 & _BV(TOV1))) {
        TIFR1 = _BV(TOV1);
        begin_segment();
    }
}

void pulse_halt(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        if (burst.active) serve_pending();
        if (burst.active && (current.fall_at || current.low)) {
            /* The next rise is at the end of this segment at the earliest: move that out of reach. */
            ICR1 = 0xFFFF;
            serve_pending();
            if (burst.active && current.fall_at) ICR1 = 0xFFFF;
        }
        if (burst.active) {
            planned = started;
            if (burst.done == planned) {
                pulse_cut();
            } else if (!current.fall_at && next.fall_at) {
                /* The fall is in the next segment, which must not end with a rise. */
                next.length = next.fall_at + AFTER_FALL;
            }
        }
    }
}

struct burst pulse_state(void) {
    return burst;
}

struct drive pulse_drive(void) {
    struct drive drive = {burst.number == 0 ? 0 : (SELECT_PIN & SELECT_MASK) + 1, width, width + gap};
    return drive;
}
