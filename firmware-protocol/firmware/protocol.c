#include "protocol.h"

#include <stdlib.h>
#include <string.h>
#include <util/atomic.h>

#include "analog.h"
#include "board.h"
#include "clock.h"
#include "describe.h"
#include "line.h"
#include "memory.h"
#include "pulse.h"
#include "request.h"
#include "safety.h"
#include "uart.h"

static const char faults[][25] PROGMEM = {
    "none", "emergency-stop", "interlock-cover", "interlock-ventilation", "over-current", "over-pressure",
    "over-temperature", "dead-man", "sensor-current", "sensor-pressure", "sensor-rail-temperature",
    "sensor-meter-temperature", "converter", "driver", "meter", "calibration", "fuses"
};

static char boot[9];
static char answer[LONGEST_TO_HOST]; /* the remembered one (LINE-12) */
static uint16_t answer_length;       /* 0: nothing is remembered */
static uint16_t answer_seq;
static char passing[LONGEST_TO_HOST]; /* a frame, or an answer that is not remembered */
static uint8_t hello_taken;
static uint8_t signals; /* this conversation's frames carry the supply inside pulses (LINE-114, LINE-130) */
static uint8_t extended; /* this conversation's host has asked for the extensions (LINE-87) */
static uint32_t starts;
static uint16_t hello_seq;
static char hello_token[LONGEST_TOKEN + 1];

static uint32_t interval_us = 1000000UL / TELEMETRY_DEFAULT_HZ;
static struct big next_frame;
static struct big frames;
static uint16_t frame_seq;

void protocol_init(uint32_t start) {
    starts = start;
    ultoa(start, boot, 10);
    big_add(&next_frame, interval_us);
}

/* ---- answering ---- */

static void begin(char *into, char mark, const struct request *r) {
    write_begin(into, mark, r->seq);
    write_text(words[r->word]);
}

/* The caller adds the text after it, where it has more to say than `text`. */
static void begin_refusal(char *into, const struct request *r, const char *code, const char *text) {
    begin(into, '!', r);
    write_text(PSTR(" code="));
    write_text(code);
    write_text(PSTR(" text="));
    write_text(text);
}

static void refuse_range(const struct request *r, const char *what, uint32_t low, uint32_t high) {
    begin_refusal(answer, r, PSTR("range"), what);
    write_field(PSTR(" must be from "), low);
    write_field(PSTR(" to "), high);
    write_char('.');
}

static uint8_t outside(uint32_t value, uint32_t low, uint32_t high) {
    return value < low || value > high;
}

static void refuse_fault(const struct request *r, enum fault fault) {
    begin_refusal(answer, r, PSTR("fault"), PSTR("Latched fault: "));
    write_text(faults[fault]);
    write_text(PSTR(". Remove the cause and clear it."));
}

/* What keeps the bench from working, LINE-21: 1 if it was refused. */
static uint8_t refuse_unready(const struct request *r, enum fault fault, uint8_t armed) {
    if (fault != NO_FAULT) {
        refuse_fault(r, fault);
    } else if (!armed) {
        begin_refusal(answer, r, PSTR("not-armed"), PSTR("The bench is not armed."));
    } else {
        return 0;
    }
    return 1;
}

static void answer_hello(char *into, const struct request *r) {
    begin(into, '=', r);
    write_text(PSTR(" token="));
    write_string(r->token);
    write_text(PSTR(" protocol=1 model=" MODEL " serial=" SERIAL_NUMBER " firmware=" FIRMWARE_VERSION " boot="));
    write_string(boot);
    write_field(PSTR(" channels="), CHANNELS);
}

static void do_telemetry(const struct request *r) {
    if (outside(r->value, 1, TELEMETRY_MAX_HZ)) {
        refuse_range(r, PSTR("hz"), 1, TELEMETRY_MAX_HZ);
        return;
    }
    interval_us = (1000000UL + r->value / 2) / r->value;
    next_frame = clock_now();
    big_add(&next_frame, interval_us);
    begin(answer, '=', r);
}

static void do_arm(const struct request *r) {
    enum fault fault = safety_arm(!extended);
    if (fault != NO_FAULT) {
        refuse_fault(r, fault);
    } else if (!safety_armed()) {
        begin_refusal(answer, r, PSTR("interlock"), PSTR("An interlock is open; telemetry says which. The bench stays disarmed."));
    } else {
        begin(answer, '=', r);
    }
}

static void do_supply(const struct request *r) {
    if (outside(r->value, MIN_SUPPLY_MV, MAX_SUPPLY_MV)) {
        refuse_range(r, PSTR("mv"), MIN_SUPPLY_MV, MAX_SUPPLY_MV);
        return;
    }
    enum fault fault;
    uint8_t ready;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        fault = safety_fault();
        ready = safety_armed() || r->value <= SAFE_SUPPLY_MV;
        if (ready) analog_set_supply(r->value);
    }
    if (ready || !refuse_unready(r, fault, 0)) begin(answer, '=', r);
}

static void do_pressure(const struct request *r) {
    if (!PRESSURE_COMMANDABLE) {
        begin_refusal(answer, r, PSTR("unsupported"), PSTR("This bench has no commanded regulator; set the pressure by hand."));
    } else if (outside(r->value, MIN_PRESSURE_PA, MAX_PRESSURE_PA)) {
        refuse_range(r, PSTR("pa"), MIN_PRESSURE_PA, MAX_PRESSURE_PA);
    } else {
        enum fault fault;
        ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
            fault = safety_fault();
            if (fault == NO_FAULT) safety_set_pressure(r->value);
        }
        if (fault != NO_FAULT) refuse_fault(r, fault);
        else begin(answer, '=', r);
    }
}

static void do_burst(const struct request *r) {
    if (outside(r->channel, 1, CHANNELS)) {
        refuse_range(r, PSTR("channel"), 1, CHANNELS);
        return;
    }
    if (outside(r->width_ns, MIN_WIDTH_NS, MAX_WIDTH_NS)) {
        refuse_range(r, PSTR("width-ns"), MIN_WIDTH_NS, MAX_WIDTH_NS);
        return;
    }
    if (outside(r->period_us, MIN_PERIOD_US, MAX_PERIOD_US)) {
        refuse_range(r, PSTR("period-us"), MIN_PERIOD_US, MAX_PERIOD_US);
        return;
    }
    if (outside(r->count, 1, MAX_COUNT)) {
        refuse_range(r, PSTR("count"), 1, MAX_COUNT);
        return;
    }
    uint32_t width_ticks = (r->width_ns + TICK_NS / 2) / TICK_NS;
    uint32_t period_ticks = r->period_us * TICKS_PER_US;
    if (width_ticks > period_ticks) {
        begin_refusal(answer, r, PSTR("range"), PSTR("The pulse is longer than its period."));
        return;
    }
    enum fault fault;
    uint8_t armed;
    struct burst burst;
    uint32_t number = 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        fault = safety_fault();
        armed = safety_armed();
        burst = pulse_state();
        if (armed && !burst.active) number = pulse_start(r->channel, width_ticks, period_ticks, r->count);
    }
    if (number != 0) {
        begin(answer, '=', r);
        write_field(PSTR(" number="), number);
        write_field(PSTR(" width-ns="), width_ticks * TICK_NS);
    } else if (!refuse_unready(r, fault, armed)) {
        begin_refusal(answer, r, PSTR("busy"), PSTR("Burst "));
        write_number(burst.number);
        write_text(PSTR(" is still active; wait for it or halt it."));
    }
}

static void answer_rail(const struct request *r) {
    struct rail rail = safety_rail();
    begin(answer, '=', r);
    write_field(PSTR(" pumping="), rail.pumping);
    write_field(PSTR(" relieved="), rail.relieved);
    write_field(PSTR(" shut="), rail.shut);
    write_field(PSTR(" keeping="), rail.keeping);
}

/* LINE-84 to LINE-86: what gives pressure needs a bench that somebody answers for. */
static void do_rail(const struct request *r) {
    if ((r->word == PUMP && !HAS_PUMP && !HAS_RELIEF) || (r->word == SHUT_OFF && !HAS_SHUT_OFF)) {
        begin_refusal(answer, r, PSTR("unsupported"), PSTR("This bench has no such output."));
        return;
    }
    enum fault fault;
    uint8_t ready;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        fault = safety_fault();
        uint8_t kept = safety_rail().keeping;
        ready = safety_armed();
        switch (r->word) {
            case PUMP:
                ready |= !r->value;
                if (ready) safety_pump(r->value);
                break;
            case SHUT_OFF:
                ready |= kept || !r->value;
                if (ready) safety_shut_off(r->value);
                break;
            default:
                if (ready) safety_keep_pressure();
                ready |= kept;
                break;
        }
    }
    if (ready || !refuse_unready(r, fault, 0)) begin(answer, '=', r);
}

static void answer_echo(const struct request *r) {
    struct burst burst;
    struct drive drive;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        burst = pulse_state();
        drive = pulse_drive();
    }
    begin(answer, '=', r);
    write_field(PSTR(" number="), burst.number);
    write_field(PSTR(" channel="), drive.channel);
    write_field(PSTR(" width-ns="), drive.width_ticks * TICK_NS);
    write_field(PSTR(" period-us="), drive.period_ticks / TICKS_PER_US);
    write_field(PSTR(" count="), burst.commanded);
}

static void do_calibrate(const struct request *r) {
    if (safety_live()) {
        begin_refusal(answer, r, PSTR("busy"), PSTR("A bench that is armed or has its regulator up is not calibrated; make it safe first."));
        return;
    }
    if (!analog_set_scale(r->input, r->scale)) {
        begin_refusal(answer, r, PSTR("range"), PSTR("With this scale the trip limit of the input could not be measured."));
        return;
    }
    memory_store_calibration();
    safety_calibrated();
    begin(answer, '=', r);
}

static void carry_out(const struct request *r) {
    switch (r->word) {
        case DESCRIBE:
            if (r->topic == EXTENSIONS_TOPIC) extended = 1;
            begin(answer, '=', r);
            describe_topic(r->topic, starts);
            return;
        case DEADMAN:
            if (outside(r->value, DEADMAN_MIN_MS, DEADMAN_MAX_MS)) {
                refuse_range(r, PSTR("ms"), DEADMAN_MIN_MS, DEADMAN_MAX_MS);
                return;
            }
            safety_set_deadman(r->value);
            break;
        case TELEMETRY:
            do_telemetry(r);
            return;
        case ARM:
            do_arm(r);
            return;
        case SAFE:
            safety_make_safe();
            break;
        case SUPPLY:
            do_supply(r);
            return;
        case PRESSURE:
            do_pressure(r);
            return;
        case BURST:
            do_burst(r);
            return;
        case RAIL:
            answer_rail(r);
            return;
        case PUMP:
        case SHUT_OFF:
        case KEEP_PRESSURE:
            do_rail(r);
            return;
        case ECHO:
            answer_echo(r);
            return;
        case CALIBRATE:
            do_calibrate(r);
            return;
        case SIGNALS:
            signals = r->in_pulse;
            begin(answer, '=', r);
            write_text(PSTR(" names="));
            write_text(signals ? PSTR(IN_PULSE_NAME) : PSTR("none"));
            return;
        case HALT:
            pulse_halt();
            break;
        case CLEAR:
            if (!safety_clear()) {
                begin_refusal(answer, r, PSTR("fault"), PSTR("The cause of a fault is still there."));
                return;
            }
            break;
        default:
            break;
    }
    begin(answer, '=', r);
}

static void send_remembered(void) {
    uart_put(answer, answer_length);
}

static void remember(uint16_t seq) {
    answer_length = write_end();
    answer_seq = seq;
}

/* LINE-16, LINE-17. */
static void take_hello(const struct request *r) {
    safety_feed();
    if (hello_taken && r->seq == hello_seq && strcmp(r->token, hello_token) == 0) {
        answer_hello(passing, r);
        uart_put(passing, write_end());
        return;
    }
    hello_taken = 1;
    hello_seq = r->seq;
    strcpy(hello_token, r->token);
    extended = 0;
    signals = 0;
    answer_hello(answer, r);
    remember(r->seq);
    send_remembered();
}

void protocol_take_line(uint8_t length) {
    struct request r;
    uint8_t fits;
    if (!request_read(length, &r, &fits)) {
        line_count_bad();
        return;
    }
    if (r.word == HELLO && fits) {
        take_hello(&r);
        return;
    }
    uint16_t ahead = r.seq - answer_seq;
    if (answer_length == 0) {
        begin_refusal(passing, &r, PSTR("no-hello"), PSTR("Nothing is done before a hello: this controller has just started."));
        uart_put(passing, write_end());
        return;
    }
    if (ahead > 32767) {
        begin_refusal(passing, &r, PSTR("stale"), PSTR("The sequence number is older than the latest."));
        uart_put(passing, write_end());
        return;
    }
    safety_feed();
    if (ahead != 0) {
        if (r.word == UNKNOWN) {
            begin_refusal(answer, &r, PSTR("unknown"), PSTR("This controller does not know that word."));
        } else if (!fits) {
            begin_refusal(answer, &r, PSTR("form"), PSTR("The fields of this request are not those of the specification."));
        } else {
            carry_out(&r);
        }
        remember(r.seq);
    }
    send_remembered();
}

/* ---- telemetry ---- */

void protocol_telemetry(void) {
    struct big now = clock_now();
    if (big_before(&now, &next_frame) || uart_room() < LONGEST_TO_HOST) return;
    big_add(&next_frame, interval_us);

    uint16_t sums[ANALOG_INPUTS], sum_in_pulse;
    uint8_t in_pulse;
    struct big edges, edge_at;
    struct burst burst;
    uint8_t armed, interlocks;
    enum fault fault;
    /* One instant for all of them (LINE-41). */
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        now = clock_now();
        clock_edges(&edges, &edge_at);
        burst = pulse_state();
        armed = safety_armed();
        fault = safety_fault();
        interlocks = safety_interlocks();
        analog_sums(sums);
        in_pulse = analog_in_pulse(&sum_in_pulse);
    }
    write_begin(passing, '.', frame_seq);
    write_text(PSTR("at-us="));
    write_big(now);
    write_text(PSTR(" frame="));
    write_big(frames);
    write_text(PSTR(" boot="));
    write_string(boot);
    write_text(PSTR(" supply-mv="));
    write_signed(analog_value(SUPPLY_INPUT, sums[SUPPLY_INPUT]));
    write_text(PSTR(" current-ma="));
    write_signed(analog_value(CURRENT_INPUT, sums[CURRENT_INPUT]));
    write_text(PSTR(" pressure-pa="));
    write_signed(analog_value(PRESSURE_INPUT, sums[PRESSURE_INPUT]));
    write_text(PSTR(" rail-mdegc="));
    write_signed(analog_value(RAIL_INPUT, sums[RAIL_INPUT]));
    write_text(PSTR(" meter-mdegc="));
    write_signed(analog_value(METER_INPUT, sums[METER_INPUT]));
    write_text(PSTR(" edges="));
    write_big(edges);
    write_text(PSTR(" edge-us="));
    write_big(edge_at);
    write_field(PSTR(" burst="), burst.number);
    write_field(PSTR(" active="), burst.active);
    write_field(PSTR(" commanded="), burst.commanded);
    write_field(PSTR(" done="), burst.done);
    write_field(PSTR(" armed="), armed);
    write_text(PSTR(" fault="));
    write_text(faults[fault]);
    write_field(PSTR(" interlocks="), interlocks);
    /* Of the name, the sign and ten digits; a frame without room for it goes without it (LINE-114). */
    if (signals && in_pulse && write_room() >= sizeof " " IN_PULSE_NAME "-mv=" + 11) {
        write_text(PSTR(" " IN_PULSE_NAME "-mv="));
        write_signed(analog_value(SUPPLY_INPUT, sum_in_pulse));
    }
    uart_put(passing, write_end());
    big_add(&frames, 1);
    frame_seq++;
}
