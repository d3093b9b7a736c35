/* Analog inputs with oversampling, and the two analog set points. */
#ifndef ANALOG_H
#define ANALOG_H

#include <stdint.h>

/* What an input stands for at 0 V and at the reference, in the unit of the line. */
struct scale {
    int32_t zero, full;
};

/* With the scales of `calibration_read` already in place. */
void analog_init(void);
/* 0: with this scale the trip limit of the input could not be measured, or the numbers would not fit; nothing changed. */
uint8_t analog_set_scale(uint8_t input, struct scale scale);
struct scale analog_scale(uint8_t input);
/* Mean of the latest 64 conversions of each input, 32 of the temperatures: 45 ms. Call with interrupts off. */
void analog_sums(uint16_t sums[]);
/* Mean of the supply's conversions inside pulses of the same time, as a sum of 64; 0: there was none. Call with interrupts off. */
uint8_t analog_in_pulse(uint16_t *sum_of_64);
int32_t analog_value(uint8_t input, uint16_t sum);

/* What a look at the latest block of readings, 11 ms, has found. */
#define OVER_CURRENT 0x01
#define OVER_PRESSURE 0x02
#define OVER_TEMPERATURE 0x04
#define LOST_PRESSURE 0x08 /* outside the electrical range */
#define LOST_RAIL 0x10
#define LOST_METER 0x20
#define IDLE_CURRENT 0x40 /* more than a bench draws that drives nothing */
/* At two looks running, or at the latest one. */
uint8_t analog_found_twice(void);
uint8_t analog_found_now(void);
/* Looks running at which pressure or current gave one exact value. */
uint16_t analog_frozen_looks(uint8_t input);
/* The latest block of an input, and what the pressure may differ by between two of them without being called moving. */
uint16_t analog_latest(uint8_t input);
uint16_t analog_steady(void);
/* Counts the looks, modulo 256: it stands still when the converter does. */
uint8_t analog_looks(void);

/* mv up to MAX_SUPPLY_MV. */
void analog_set_supply(uint16_t mv);
void analog_set_pressure(uint32_t pa);
/* Both at their lowest; quick. */
void analog_rest(void);

#endif
