/* What a request says: its words, its fields, and the form that they must have. */
#ifndef REQUEST_H
#define REQUEST_H

#include <avr/pgmspace.h>
#include <stdint.h>

#include "analog.h"

#define LONGEST_NAME 24
#define LONGEST_TOKEN 16
#define LONGEST_NAMES 88

enum word {
    HELLO, DESCRIBE, ALIVE, DEADMAN, TELEMETRY, ARM, SAFE, SUPPLY, PRESSURE, BURST, HALT, CLEAR,
    RAIL, PUMP, SHUT_OFF, KEEP_PRESSURE, ECHO, CALIBRATE, SIGNALS, UNKNOWN
};
extern const char words[][14] PROGMEM;

enum topic {
    TIMING_TOPIC, SUPPLY_TOPIC, PRESSURE_TOPIC, SAFETY_TOPIC,
    EXTENSIONS_TOPIC, RAIL_TOPIC, WATCH_TOPIC, HEALTH_TOPIC, CALIBRATION_TOPIC, TOPICS
};
extern const char topics[][12] PROGMEM;

/* The one reading beyond LINE-41 (LINE-130). */
#define IN_PULSE_NAME "supply-in-pulse"

/* Names of the analog inputs (LINE-91). */
extern const char inputs[][9] PROGMEM;

struct request {
    uint16_t seq;
    enum word word;
    char token[LONGEST_TOKEN + 1];
    enum topic topic;
    uint32_t value; /* of the requests that have one number or flag */
    uint8_t input;
    struct scale scale;
    uint8_t in_pulse; /* the names of `signals` have that of the supply inside pulses */
    uint32_t channel, width_ns, period_us, count;
};

/* Reads the line that line_take completed. 0: it is no request; `fits`: its fields are those of its word. */
uint8_t request_read(uint8_t length, struct request *r, uint8_t *fits);

#endif
