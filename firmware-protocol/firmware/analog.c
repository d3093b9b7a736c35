#include "analog.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <util/atomic.h>

#include "board.h"
#include "safety.h"

#define BLOCK 16 /* conversions of one input in one look */
#define BLOCKS 4 /* looks in one mean */
#define BLOCK_FULL 16384UL /* sum of a block at the reference: 16 conversions of 10 bits, half a step each added */
#define REFERENCE_AVCC _BV(REFS0)
/* 125 kHz, the fastest clock at which the converter keeps its 10 bits: 104 us a conversion. */
#define CONVERT (_BV(ADEN) | _BV(ADSC) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0))

/*
 * Every other conversion is one of the current, whatever the outputs do, so that a pulse of 0.5 ms or longer has two in
 * it (LINE-95) and no mean is weighted towards the pulses or the pauses. Two of the six go into the current's mean.
 */
struct turn {
    uint8_t input;
    uint8_t weight; /* how often the reading counts in its block */
};
#define TURNS 12
static const struct turn turns[TURNS] PROGMEM = {
    {CURRENT_INPUT, 1}, {SUPPLY_INPUT, 1}, {CURRENT_INPUT, 0}, {PRESSURE_INPUT, 1}, {CURRENT_INPUT, 0}, {RAIL_INPUT, 2},
    {CURRENT_INPUT, 1}, {SUPPLY_INPUT, 1}, {CURRENT_INPUT, 0}, {PRESSURE_INPUT, 1}, {CURRENT_INPUT, 0}, {METER_INPUT, 2},
};
#define ROUNDS (BLOCK / 2)

static struct scale scales[ANALOG_INPUTS] = {
    {SUPPLY_ZERO, SUPPLY_FULL},
    {CURRENT_ZERO, CURRENT_FULL},
    {PRESSURE_ZERO, PRESSURE_FULL},
    {TEMPERATURE_ZERO, TEMPERATURE_FULL},
    {TEMPERATURE_ZERO, TEMPERATURE_FULL},
};
/* The trip limits as sums of a block, so that a look is one comparison. They follow from the scales. */
static uint16_t limits[ANALOG_INPUTS];
static uint16_t idle_limit, short_limit, steady;

static uint16_t sum[ANALOG_INPUTS]; /* of the block that is being taken */
static uint16_t blocks[BLOCKS][ANALOG_INPUTS];
static uint8_t turn, rounds, latest_block;
static uint8_t found_now, found_twice, looks;
static uint16_t frozen[2]; /* of the pressure and of the current */
static uint8_t in_pulse, over_in_pulse;
/* Of the supply inside pulses (LINE-130): sums and numbers of conversions, by block. */
static uint16_t pulse_sum[BLOCKS];
static uint8_t pulse_count[BLOCKS];

static int32_t trip(uint8_t input) {
    switch (input) {
        case CURRENT_INPUT:
            return TRIP_MA;
        case PRESSURE_INPUT:
            return TRIP_PA;
        case RAIL_INPUT:
        case METER_INPUT:
            return TRIP_MDEGC;
        default:
            return MAX_SUPPLY_MV;
    }
}

/* The block sum at which the input stands for `value`; between zero and full. */
static uint16_t block_of(struct scale scale, int32_t value) {
    return (uint64_t)(uint32_t)(value - scale.zero) * BLOCK_FULL / (uint32_t)(scale.full - scale.zero);
}

uint8_t analog_set_scale(uint8_t input, struct scale scale) {
    if (scale.zero < -WIDEST_SCALE || scale.full > WIDEST_SCALE || scale.zero >= scale.full) return 0;
    int32_t limit = trip(input);
    if (limit <= scale.zero || limit >= scale.full) return 0;
    uint16_t block = block_of(scale, limit);
    if (input >= PRESSURE_INPUT && block >= BLOCK_FULL * SENSOR_HIGH_PERMILLE / 1000) return 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        scales[input] = scale;
        limits[input] = block;
        if (input == CURRENT_INPUT) {
            idle_limit = IDLE_MA <= scale.zero ? 0 : block_of(scale, IDLE_MA);
            short_limit = block / BLOCK;
        }
        if (input == PRESSURE_INPUT) steady = 1 + (uint32_t)STEADY_PA * 16 / ((uint32_t)(scale.full - scale.zero) / (BLOCK_FULL / 16));
    }
    return 1;
}

struct scale analog_scale(uint8_t input) {
    return scales[input];
}

void analog_init(void) {
    /* Digital input stages of the analog pins off. A boot loader or a debugger may have left the JTAG port on, which
       holds ADC4; the bit takes effect when it is written twice. */
    MCUCR |= _BV(JTD);
    MCUCR |= _BV(JTD);
    DIDR0 = (1 << ANALOG_INPUTS) - 1;
    for (uint8_t i = 0; i < ANALOG_INPUTS; i++) analog_set_scale(i, scales[i]);
    ADMUX = REFERENCE_AVCC | CURRENT_INPUT;
    ADCSRA = CONVERT;
    ANALOG_OUT_PORT &= (uint8_t) ~(_BV(SUPPLY_BIT) | _BV(REGULATOR_BIT));
    ANALOG_OUT_DDR |= _BV(SUPPLY_BIT) | _BV(REGULATOR_BIT);
    ICR3 = PWM_STEPS - 1;
    TCCR3A = _BV(WGM31);
    TCCR3B = _BV(WGM33) | _BV(WGM32) | _BV(CS30);
}

static uint8_t lost(uint16_t block) {
    return block < BLOCK_FULL * SENSOR_LOW_PERMILLE / 1000 || block > BLOCK_FULL * SENSOR_HIGH_PERMILLE / 1000;
}

static void watch_frozen(uint8_t which, uint16_t now, uint16_t before) {
    if (now != before) frozen[which] = 0;
    else if (frozen[which] < 0xFFFF) frozen[which]++;
}

static void look(void) {
    uint8_t found = 0;
    const uint16_t *before = blocks[latest_block];
    latest_block = (latest_block + 1) % BLOCKS;
    uint16_t *now = blocks[latest_block];
    uint8_t oldest = (latest_block + 1) % BLOCKS;
    pulse_sum[oldest] = 0;
    pulse_count[oldest] = 0;
    for (uint8_t i = 0; i < ANALOG_INPUTS; i++) {
        now[i] = sum[i] + BLOCK / 2;
        sum[i] = 0;
    }
    watch_frozen(0, now[PRESSURE_INPUT], before[PRESSURE_INPUT]);
    watch_frozen(1, now[CURRENT_INPUT], before[CURRENT_INPUT]);
    if (now[CURRENT_INPUT] > limits[CURRENT_INPUT]) found |= OVER_CURRENT;
    if (now[CURRENT_INPUT] > idle_limit) found |= IDLE_CURRENT;
    if (now[PRESSURE_INPUT] > limits[PRESSURE_INPUT]) found |= OVER_PRESSURE;
    if (now[RAIL_INPUT] > limits[RAIL_INPUT] || now[METER_INPUT] > limits[METER_INPUT]) found |= OVER_TEMPERATURE;
    if (lost(now[PRESSURE_INPUT])) found |= LOST_PRESSURE;
    if (lost(now[RAIL_INPUT])) found |= LOST_RAIL;
    if (lost(now[METER_INPUT])) found |= LOST_METER;
    found_twice = found & found_now;
    found_now = found;
    looks++;
}

ISR(ADC_vect) {
    uint16_t reading = ADC;
    uint8_t input = pgm_read_byte(&turns[turn].input);
    uint8_t weight = pgm_read_byte(&turns[turn].weight);
    if (input == CURRENT_INPUT && in_pulse) {
        if (reading <= short_limit) {
            over_in_pulse = 0;
        } else if (++over_in_pulse == 2) {
            over_in_pulse = 0;
            safety_shorted();
        }
    }
    if (input == SUPPLY_INPUT && in_pulse) {
        /* Into the block that is being taken, which takes the place of the oldest. */
        uint8_t block = (latest_block + 1) % BLOCKS;
        pulse_sum[block] += reading;
        pulse_count[block]++;
    }
    if (weight > 0) sum[input] += reading;
    if (weight > 1) sum[input] += reading;
    if (++turn == TURNS) {
        turn = 0;
        if (++rounds == ROUNDS) {
            rounds = 0;
            look();
        }
    }
    ADMUX = REFERENCE_AVCC | pgm_read_byte(&turns[turn].input);
    ADCSRA = CONVERT;
    /* The sample is taken 12 us from here: the pulse is looked at now, and its last 12 us are given away. */
    in_pulse = PULSE_PIN & _BV(PULSE_BIT);
}

uint8_t analog_found_twice(void) {
    return found_twice;
}

uint8_t analog_found_now(void) {
    return found_now;
}

uint16_t analog_frozen_looks(uint8_t input) {
    uint8_t low = blocks[latest_block][CURRENT_INPUT] <= BLOCK / 2;
    /* A current of nothing at all is that of an injector that is not plugged in. */
    return input == PRESSURE_INPUT ? frozen[0] : low ? 0 : frozen[1];
}

uint16_t analog_latest(uint8_t input) {
    return blocks[latest_block][input];
}

uint16_t analog_steady(void) {
    return steady;
}

uint8_t analog_looks(void) {
    return looks;
}

void analog_sums(uint16_t sums[]) {
    for (uint8_t i = 0; i < ANALOG_INPUTS; i++) {
        uint16_t of_input = 0;
        for (uint8_t block = 0; block < BLOCKS; block++) of_input += blocks[block][i];
        sums[i] = of_input;
    }
}

uint8_t analog_in_pulse(uint16_t *sum_of_64) {
    uint32_t readings = 0;
    uint8_t count = 0;
    for (uint8_t block = 0; block < BLOCKS; block++) {
        readings += pulse_sum[block];
        count += pulse_count[block];
    }
    if (count == 0) return 0;
    *sum_of_64 = (readings * 64 + (uint16_t)count * 32) / count;
    return 1;
}

/* zero + (full - zero) * sum / 65536 in two halves, so that 32 bits are enough. */
int32_t analog_value(uint8_t input, uint16_t sum) {
    struct scale scale = scales[input];
    uint32_t span = scale.full - scale.zero;
    return scale.zero + (int32_t)((span >> 16) * sum + (((span & 0xFFFF) * sum) >> 16));
}

/* Nothing at all is no PWM: the shortest pulse of the hardware is one step. */
static uint8_t turn_output(uint8_t mode, uint16_t steps) {
    return steps == 0 ? (TCCR3A & (uint8_t)~mode) : (TCCR3A | mode);
}

static void command_supply(uint16_t steps) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        OCR3A = steps == 0 ? 0 : steps - 1;
        TCCR3A = turn_output(_BV(COM3A1), steps);
    }
}

static void command_regulator(uint16_t steps) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        OCR3B = steps == 0 ? 0 : steps - 1;
        TCCR3A = turn_output(_BV(COM3B1), steps);
    }
}

#define SUPPLY_STEPS(mv) (((uint32_t)(mv) * PWM_STEPS + SUPPLY_FULL_SCALE_MV / 2) / SUPPLY_FULL_SCALE_MV)
/* In units of 125 Pa, so that the product stays below 2^32. */
#define REGULATOR_STEPS(pa) ((((pa) / 125) * PWM_STEPS + REGULATOR_FULL_SCALE_PA / 250) / (REGULATOR_FULL_SCALE_PA / 125))

void analog_set_supply(uint16_t mv) {
    command_supply(SUPPLY_STEPS(mv));
}

void analog_set_pressure(uint32_t pa) {
    command_regulator(REGULATOR_STEPS(pa));
}

void analog_rest(void) {
    command_supply(SUPPLY_STEPS(SAFE_SUPPLY_MV));
    if (PRESSURE_COMMANDABLE) command_regulator(REGULATOR_STEPS(MIN_PRESSURE_PA));
}
