#include "analog.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"

#define BLOCK 16 /* conversions of one input in one look */
#define BLOCKS 4 /* looks in one mean */
#define REFERENCE_AVCC _BV(REFS0)
/* 125 kHz, the fastest clock at which the converter keeps its 10 bits: 104 us a conversion. */
#define CONVERT (_BV(ADEN) | _BV(ADSC) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0))

/*
 * The limits as sums of a block, 16 conversions, so that a look is one comparison: the scales of board.h turned round.
 * A block's full scale is 16384.
 */
#define BLOCK_MA(ma) ((uint16_t)((ma) * 16384UL / 10000))
#define BLOCK_PA(pa) ((uint16_t)(1638 + (pa) / 125 * 8192UL / 5000))
#define BLOCK_MDEGC(mdegc) ((uint16_t)(1638 + ((mdegc) + 20000UL) * 8192UL / 62500))

static uint16_t sum[ANALOG_INPUTS]; /* of the block that is being taken */
static uint16_t blocks[BLOCKS][ANALOG_INPUTS];
static uint8_t input, conversions, latest_block;
static uint8_t over_now, over_twice;

void analog_init(void) {
    /* Digital input stages of the analog pins off. */
    DIDR0 = (1 << ANALOG_INPUTS) - 1;
    ADMUX = REFERENCE_AVCC;
    ADCSRA = CONVERT;
    ANALOG_OUT_PORT &= (uint8_t) ~(_BV(SUPPLY_BIT) | _BV(REGULATOR_BIT));
    ANALOG_OUT_DDR |= _BV(SUPPLY_BIT) | _BV(REGULATOR_BIT);
    ICR3 = PWM_STEPS - 1;
    TCCR3A = _BV(WGM31);
    TCCR3B = _BV(WGM33) | _BV(WGM32) | _BV(CS30);
}

static void look(void) {
    uint8_t over = 0;
    latest_block = (latest_block + 1) % BLOCKS;
    for (uint8_t i = 0; i < ANALOG_INPUTS; i++) {
        blocks[latest_block][i] = sum[i] + BLOCK / 2;
        sum[i] = 0;
    }
    const uint16_t *now = blocks[latest_block];
    if (now[CURRENT_INPUT] > BLOCK_MA(TRIP_MA)) over |= OVER_CURRENT;
    if (now[PRESSURE_INPUT] > BLOCK_PA(TRIP_PA)) over |= OVER_PRESSURE;
    if (now[RAIL_INPUT] > BLOCK_MDEGC(TRIP_MDEGC) || now[METER_INPUT] > BLOCK_MDEGC(TRIP_MDEGC)) over |= OVER_TEMPERATURE;
    over_twice = over & over_now;
    over_now = over;
}

ISR(ADC_vect) {
    sum[input] += ADC;
    if (++input == ANALOG_INPUTS) {
        input = 0;
        if (++conversions == BLOCK) {
            conversions = 0;
            look();
        }
    }
    ADMUX = REFERENCE_AVCC | input;
    ADCSRA = CONVERT;
}

uint8_t analog_over_twice(void) {
    return over_twice;
}

uint8_t analog_over_now(void) {
    return over_now;
}

void analog_sums(uint16_t sums[]) {
    for (uint8_t i = 0; i < ANALOG_INPUTS; i++) {
        uint16_t of_input = 0;
        for (uint8_t block = 0; block < BLOCKS; block++) of_input += blocks[block][i];
        sums[i] = of_input;
    }
}

struct analog analog_scale(const uint16_t sums[]) {
    struct analog a;
    a.supply_mv = SUPPLY_MV(sums[SUPPLY_INPUT]);
    a.current_ma = CURRENT_MA(sums[CURRENT_INPUT]);
    a.pressure_pa = PRESSURE_PA(sums[PRESSURE_INPUT]);
    a.rail_mdegc = TEMPERATURE_MDEGC(sums[RAIL_INPUT]);
    a.meter_mdegc = TEMPERATURE_MDEGC(sums[METER_INPUT]);
    return a;
}

/* Nothing at all is no PWM: the shortest pulse of the hardware is one step. */
static uint8_t turn_output(uint8_t mode, uint16_t steps) {
    return steps == 0 ? (TCCR3A & (uint8_t)~mode) : (TCCR3A | mode);
}

void analog_set_supply(uint16_t mv) {
    uint16_t steps = ((uint32_t)mv * PWM_STEPS + SUPPLY_FULL_SCALE_MV / 2) / SUPPLY_FULL_SCALE_MV;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        OCR3A = steps == 0 ? 0 : steps - 1;
        TCCR3A = turn_output(_BV(COM3A1), steps);
    }
}

void analog_set_pressure(uint32_t pa) {
    /* In units of 125 Pa, so that the product stays below 2^32. */
    uint16_t steps = ((pa / 125) * PWM_STEPS + REGULATOR_FULL_SCALE_PA / 250) / (REGULATOR_FULL_SCALE_PA / 125);
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        OCR3B = steps == 0 ? 0 : steps - 1;
        TCCR3A = turn_output(_BV(COM3B1), steps);
    }
}
