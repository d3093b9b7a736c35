#include "safety.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "analog.h"
#include "board.h"
#include "pulse.h"

/* How often the interlocks are looked at; a change counts when two looks running see it (LINE-59). */
#define LOOK_MS 5

static volatile uint8_t armed;
static volatile uint8_t fault;
static volatile uint8_t ticks;
static uint8_t open_before;
static uint16_t deadman_ms = DEADMAN_DEFAULT_MS;
static uint16_t deadman_left;

void safety_init(void) {
    SELECT_PORT &= (uint8_t)~_BV(ENABLE_BIT);
    SELECT_DDR |= _BV(ENABLE_BIT);
    LAMP_PORT &= (uint8_t)~_BV(LAMP_BIT);
    LAMP_DDR |= _BV(LAMP_BIT);
    INTERLOCK_PORT |= ALL_INTERLOCKS;
    safety_make_safe();
    if (PRESSURE_COMMANDABLE) analog_set_pressure(MIN_PRESSURE_PA);
    /* 1 kHz: F_CPU / 64 / 250. */
    OCR2A = 249;
    TCCR2A = _BV(WGM21);
    TCCR2B = _BV(CS22);
    TIMSK2 = _BV(OCIE2A);
}

void safety_make_safe(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        SELECT_PORT &= (uint8_t)~_BV(ENABLE_BIT);
        pulse_cut();
        analog_set_supply(SAFE_SUPPLY_MV);
        armed = 0;
        LAMP_PORT &= (uint8_t)~_BV(LAMP_BIT);
    }
}

static void latch(enum fault cause) {
    safety_make_safe();
    if (PRESSURE_COMMANDABLE && cause == FAULT_PRESSURE) analog_set_pressure(MIN_PRESSURE_PA);
    if (fault == NO_FAULT) fault = cause;
}

static enum fault limit_fault(uint8_t over) {
    if (over & OVER_CURRENT) return FAULT_CURRENT;
    if (over & OVER_PRESSURE) return FAULT_PRESSURE;
    if (over & OVER_TEMPERATURE) return FAULT_TEMPERATURE;
    return NO_FAULT;
}

static void look(void) {
    uint8_t open = (uint8_t)~safety_interlocks() & ALL_INTERLOCKS;
    uint8_t stays = open & open_before;
    open_before = open;
    enum fault over = limit_fault(analog_over_twice());
    if (stays & EMERGENCY_STOP) latch(FAULT_EMERGENCY_STOP);
    else if (armed && (stays & COVER)) latch(FAULT_COVER);
    else if (armed && (stays & VENTILATION)) latch(FAULT_VENTILATION);
    else if (over != NO_FAULT) latch(over);
}

ISR(TIMER2_COMPA_vect) {
    static uint8_t until_look;
    ticks++;
    if (armed && --deadman_left == 0) latch(FAULT_DEADMAN);
    if (++until_look == LOOK_MS) {
        until_look = 0;
        look();
    }
}

uint8_t safety_armed(void) {
    return armed;
}

enum fault safety_fault(void) {
    return fault;
}

uint8_t safety_interlocks(void) {
    return (uint8_t)~INTERLOCK_PIN & ALL_INTERLOCKS;
}

void safety_feed(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        /* One more, because the first tick comes anywhere within its millisecond: never before the set time. */
        deadman_left = deadman_ms + 1;
    }
}

void safety_set_deadman(uint16_t ms) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        deadman_ms = ms;
        deadman_left = ms + 1;
    }
}

enum fault safety_arm(void) {
    enum fault found;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        uint8_t closed = safety_interlocks();
        if (!(closed & EMERGENCY_STOP)) latch(FAULT_EMERGENCY_STOP);
        found = fault;
        if (found == NO_FAULT && closed == ALL_INTERLOCKS) {
            deadman_left = deadman_ms + 1;
            armed = 1;
            SELECT_PORT |= _BV(ENABLE_BIT);
            LAMP_PORT |= _BV(LAMP_BIT);
        }
    }
    return found;
}

uint8_t safety_clear(void) {
    uint8_t gone = 1;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        uint8_t closed = safety_interlocks();
        if (fault != NO_FAULT &&
            (!(closed & EMERGENCY_STOP) || (fault == FAULT_COVER && !(closed & COVER)) ||
             (fault == FAULT_VENTILATION && !(closed & VENTILATION)) || analog_over_now())) {
            gone = 0;
        } else {
            fault = NO_FAULT;
        }
    }
    return gone;
}

uint8_t safety_ticks(void) {
    return ticks;
}
