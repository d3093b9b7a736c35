/* Analog inputs with oversampling, and the two analog set points. */
#ifndef ANALOG_H
#define ANALOG_H

#include <stdint.h>

struct analog {
    int32_t supply_mv, current_ma, pressure_pa, rail_mdegc, meter_mdegc;
};

void analog_init(void);
/* Mean of the latest 64 conversions of each input: 33 ms. Call with interrupts off. */
void analog_sums(uint16_t sums[]);
struct analog analog_scale(const uint16_t sums[]);
/* Bits: the mean of the latest 16 conversions (8 ms) was over the limit at two looks running, or at the latest one. */
#define OVER_CURRENT 0x01
#define OVER_PRESSURE 0x02
#define OVER_TEMPERATURE 0x04
uint8_t analog_over_twice(void);
uint8_t analog_over_now(void);
/* mv up to MAX_SUPPLY_MV. */
void analog_set_supply(uint16_t mv);
void analog_set_pressure(uint32_t pa);

#endif
