#include "request.h"

#include <string.h>

#include "board.h"
#include "line.h"

const char words[][14] PROGMEM = {
    "hello", "describe", "alive", "deadman", "telemetry", "arm", "safe", "supply", "pressure", "burst", "halt", "clear",
    "rail", "pump", "shut-off", "keep-pressure", "echo", "calibrate", "signals", "unknown"
};
const char topics[][12] PROGMEM = {
    "timing", "supply", "pressure", "safety", "extensions", "rail", "watch", "health", "calibration"
};
const char inputs[][9] PROGMEM = {"supply", "current", "pressure", "rail", "meter"};

/* 2: it is no flag. */
static uint8_t read_flag(const char *key) {
    uint32_t n = read_number(key);
    return n > 1 ? 2 : n;
}

static void read_fields(struct request *r) {
    char name[LONGEST_NAME + 1];
    switch (r->word) {
        case HELLO:
            read_name(PSTR(" token="), r->token, LONGEST_TOKEN);
            break;
        case DESCRIBE:
            read_name(PSTR(" topic="), name, LONGEST_NAME);
            r->topic = TIMING_TOPIC;
            while (r->topic < TOPICS && strcmp_P(name, topics[r->topic]) != 0) r->topic++;
            break;
        case DEADMAN:
            r->value = read_number(PSTR(" ms="));
            break;
        case TELEMETRY:
            r->value = read_number(PSTR(" hz="));
            break;
        case SUPPLY:
            r->value = read_number(PSTR(" mv="));
            break;
        case PRESSURE:
            r->value = read_number(PSTR(" pa="));
            break;
        case BURST:
            r->channel = read_number(PSTR(" channel="));
            r->width_ns = read_number(PSTR(" width-ns="));
            r->period_us = read_number(PSTR(" period-us="));
            r->count = read_number(PSTR(" count="));
            break;
        case PUMP:
            r->value = read_flag(PSTR(" on="));
            break;
        case SHUT_OFF:
            r->value = read_flag(PSTR(" shut="));
            break;
        case SIGNALS:
            r->in_pulse = read_names(PSTR(" names="), PSTR(IN_PULSE_NAME), LONGEST_NAMES);
            break;
        case CALIBRATE:
            read_name(PSTR(" input="), name, LONGEST_NAME);
            while (r->input < ANALOG_INPUTS && strcmp_P(name, inputs[r->input]) != 0) r->input++;
            r->scale.zero = read_signed(PSTR(" zero="));
            r->scale.full = read_signed(PSTR(" full="));
            break;
        default:
            break;
    }
}

/* What was read is of this word, but is not among what it allows. */
static uint8_t has_form(const struct request *r) {
    switch (r->word) {
        case DESCRIBE:
            return r->topic < TOPICS;
        case PUMP:
        case SHUT_OFF:
            return r->value < 2;
        case CALIBRATE:
            return r->input < ANALOG_INPUTS;
        default:
            return 1;
    }
}

uint8_t request_read(uint8_t length, struct request *r, uint8_t *fits) {
    r->input = 0;
    if (!read_begin(length, &r->seq)) return 0;
    char word[LONGEST_NAME + 1];
    read_word(word);
    r->word = HELLO;
    while (r->word < UNKNOWN && strcmp_P(word, words[r->word]) != 0) r->word++;
    read_fields(r);
    *fits = read_complete() && has_form(r);
    return 1;
}
