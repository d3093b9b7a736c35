#include "safety.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "analog.h"
#include "board.h"
#include "clock.h"
#include "pulse.h"

/* How often the interlocks are looked at; a change counts when two looks running see it (LINE-59). */
#define LOOK_MS 5
#define CONVERTER_LOOKS (CONVERTER_MS / LOOK_MS)
#define FROZEN_LOOKS (FROZEN_MS / 11) /* looks of the converter, 11 ms each */
#define IDLE_LOOKS (IDLE_MS / LOOK_MS)
#define AFTER_PULSE_LOOKS (AFTER_PULSE_MS / LOOK_MS)
#define RAIL_BITS (_BV(PUMP_BIT) | _BV(RELIEF_BIT) | _BV(SHUT_OFF_BIT))

static volatile uint8_t armed, keeping, raised;
static volatile uint8_t fault;
static volatile uint8_t for_good; /* the fault whose cause stays until the next start */
static volatile uint8_t ticks;
static uint8_t open_before;
static uint16_t deadman_ms = DEADMAN_DEFAULT_MS;
static uint16_t deadman_left;

void safety_init(void) {
    SELECT_PORT &= (uint8_t)~_BV(ENABLE_BIT);
    SELECT_DDR |= _BV(ENABLE_BIT);
    RAIL_PORT &= (uint8_t)~RAIL_BITS;
    RAIL_DDR |= RAIL_BITS;
    LAMP_PORT &= (uint8_t)~_BV(LAMP_BIT);
    LAMP_DDR |= _BV(LAMP_BIT);
    INTERLOCK_PORT |= ALL_INTERLOCKS;
    safety_make_safe();
    /* 1 kHz: F_CPU / 64 / 250. */
    OCR2A = 249;
    TCCR2A = _BV(WGM21);
    TCCR2B = _BV(CS22);
    TIMSK2 = _BV(OCIE2A);
}

static void stop_work(void) {
    SELECT_PORT &= (uint8_t)~_BV(ENABLE_BIT);
    pulse_cut();
    armed = 0;
    LAMP_PORT &= (uint8_t)~_BV(LAMP_BIT);
}

void safety_make_safe(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        stop_work();
        RAIL_PORT &= (uint8_t)~RAIL_BITS;
        analog_rest();
        keeping = 0;
        raised = 0;
    }
}

static void latch(enum fault cause) {
    safety_make_safe();
    if (fault == NO_FAULT) fault = cause;
}

void safety_latch_for_good(enum fault cause) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        if (for_good == NO_FAULT) for_good = cause;
        latch(cause);
    }
}

void safety_shorted(void) {
    latch(FAULT_CURRENT);
}

void safety_calibrated(void) {
    if (for_good == FAULT_CALIBRATION) for_good = NO_FAULT;
}

static uint8_t live(void) {
    return armed | keeping | raised;
}

static enum fault limit_fault(uint8_t found) {
    if (found & LOST_PRESSURE) return FAULT_SENSOR_PRESSURE;
    if (found & LOST_RAIL) return FAULT_SENSOR_RAIL;
    if (found & LOST_METER) return FAULT_SENSOR_METER;
    if (found & OVER_CURRENT) return FAULT_CURRENT;
    if (found & OVER_PRESSURE) return FAULT_PRESSURE;
    if (found & OVER_TEMPERATURE) return FAULT_TEMPERATURE;
    return NO_FAULT;
}

/* LINE-93: the converter starts each conversion from the end of the one before; if that chain breaks, no reading changes. */
static uint8_t converter_stands(void) {
    static uint8_t seen, still;
    uint8_t looks = analog_looks();
    if (looks != seen) {
        seen = looks;
        still = 0;
    } else if (still < 255) {
        still++;
    }
    return still > CONVERTER_LOOKS;
}
static uint8_t converter_stood;

/* LINE-94: nothing is driven, and yet current or fluid flows. */
static uint8_t driver_fault(uint8_t active) {
    static uint8_t quiet, looks_with_current, looks_of_flow;
    static uint16_t edges_before, pressure_before;
    if (active || !live()) {
        quiet = 0;
        looks_with_current = 0;
        looks_of_flow = 0;
        return 0;
    }
    if (quiet < AFTER_PULSE_LOOKS) {
        quiet++;
        return 0;
    }
    looks_with_current = analog_found_twice() & IDLE_CURRENT ? looks_with_current + 1 : 0;
    if (looks_with_current >= IDLE_LOOKS / 2) return 1;
    if (looks_of_flow == 0) {
        edges_before = clock_edge_count();
        pressure_before = analog_latest(PRESSURE_INPUT);
    }
    if (++looks_of_flow < IDLE_LOOKS) return 0;
    looks_of_flow = 0;
    uint16_t pressure = analog_latest(PRESSURE_INPUT);
    uint16_t moved = pressure > pressure_before ? pressure - pressure_before : pressure_before - pressure;
    return (uint16_t)(clock_edge_count() - edges_before) >= IDLE_EDGES && moved <= analog_steady();
}

static void look(void) {
    uint8_t open = (uint8_t)~safety_interlocks() & ALL_INTERLOCKS;
    uint8_t stays = open & open_before;
    open_before = open;
    uint8_t active = pulse_state().active;
    uint8_t undriven = driver_fault(active);
    converter_stood = converter_stands();
    enum fault found = limit_fault(analog_found_twice());
    if (stays & EMERGENCY_STOP) latch(FAULT_EMERGENCY_STOP);
    else if (live() && (stays & COVER)) latch(FAULT_COVER);
    else if (live() && (stays & VENTILATION)) latch(FAULT_VENTILATION);
    else if (converter_stood) latch(FAULT_CONVERTER);
    else if (clock_overrun()) latch(FAULT_METER);
    else if (found != NO_FAULT) latch(found);
    else if (active && analog_frozen_looks(PRESSURE_INPUT) >= FROZEN_LOOKS) latch(FAULT_SENSOR_PRESSURE);
    else if (active && analog_frozen_looks(CURRENT_INPUT) >= FROZEN_LOOKS) latch(FAULT_SENSOR_CURRENT);
    else if (undriven) latch(FAULT_DRIVER);
}

ISR(TIMER2_COMPA_vect) {
    static uint8_t until_look;
    ticks++;
    clock_tick();
    if (live() && --deadman_left == 0) latch(FAULT_DEADMAN);
    if (++until_look == LOOK_MS) {
        until_look = 0;
        look();
    }
}

uint8_t safety_armed(void) {
    return armed;
}

uint8_t safety_live(void) {
    return live();
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

enum fault safety_arm(uint8_t with_pump) {
    enum fault found;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        uint8_t closed = safety_interlocks();
        if (!(closed & EMERGENCY_STOP)) latch(FAULT_EMERGENCY_STOP);
        found = fault;
        if (found == NO_FAULT && closed == ALL_INTERLOCKS) {
            deadman_left = deadman_ms + 1;
            if (with_pump && !armed && !keeping) safety_pump(1);
            armed = 1;
            keeping = 0;
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
             (fault == FAULT_VENTILATION && !(closed & VENTILATION)) || (analog_found_now() & (uint8_t)~IDLE_CURRENT) ||
             converter_stood || for_good != NO_FAULT)) {
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

struct rail safety_rail(void) {
    uint8_t port = RAIL_PORT;
    struct rail rail = {
        (port & _BV(PUMP_BIT)) != 0,
        HAS_RELIEF && !(port & _BV(RELIEF_BIT)),
        (port & _BV(SHUT_OFF_BIT)) != 0,
        keeping,
    };
    return rail;
}

void safety_pump(uint8_t on) {
    if (on) {
        if (HAS_PUMP) RAIL_PORT |= _BV(PUMP_BIT);
        if (HAS_RELIEF) RAIL_PORT |= _BV(RELIEF_BIT);
    } else {
        RAIL_PORT &= (uint8_t)~_BV(PUMP_BIT);
    }
}

void safety_shut_off(uint8_t shut) {
    if (shut) RAIL_PORT |= _BV(SHUT_OFF_BIT);
    else RAIL_PORT &= (uint8_t)~_BV(SHUT_OFF_BIT);
}

void safety_keep_pressure(void) {
    stop_work();
    analog_set_supply(SAFE_SUPPLY_MV);
    keeping = 1;
}

void safety_set_pressure(uint32_t pa) {
    analog_set_pressure(pa);
    raised = pa > MIN_PRESSURE_PA;
}
