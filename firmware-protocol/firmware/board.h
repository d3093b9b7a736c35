/*
 * The board: pins, timers, limits and the scaling of the inputs, all in one place. Change this file to fit another
 * bench; the README beside it says what each line is wired to.
 */
#ifndef BOARD_H
#define BOARD_H

#include <avr/io.h>
#include <stdint.h>

#define MODEL "railhouse-mega2560"
#define FIRMWARE_VERSION "1.0"
/* Model and serial together identify the bench (LINE-23): build with -DSERIAL_NUMBER='"..."' for each board. */
#ifndef SERIAL_NUMBER
#define SERIAL_NUMBER "0001"
#endif

/* Outputs. Every one has a pull-down on the board, so that it is off while the pins float in reset. */
#define PULSE_PORT PORTB
#define PULSE_DDR DDRB
#define PULSE_BIT 6 /* OC1B: the one pulse output, through the 3-to-8 decoder to the selected driver */
#define LAMP_PORT PORTB
#define LAMP_DDR DDRB
#define LAMP_BIT 7 /* armed lamp */
#define SELECT_PORT PORTA
#define SELECT_DDR DDRA
#define SELECT_MASK 0x07 /* decoder address, channel - 1 */
#define ENABLE_BIT 3     /* decoder enable: high only while armed */
#define ANALOG_OUT_PORT PORTE
#define ANALOG_OUT_DDR DDRE
#define SUPPLY_BIT 3    /* OC3A: filtered PWM, coil supply set point */
#define REGULATOR_BIT 4 /* OC3B: filtered PWM, pressure regulator set point */

/* Interlock loops: an opto-coupler pulls the pin low while the loop carries current. Low is closed (healthy). */
#define INTERLOCK_PIN PINC
#define INTERLOCK_PORT PORTC
#define EMERGENCY_STOP 0x01
#define COVER 0x02
#define VENTILATION 0x04
#define ALL_INTERLOCKS 0x07
#define INTERLOCK_NAMES "emergency-stop,cover,ventilation"

#define CHANNELS 8

/* Timer 1 and timer 5 count F_CPU / 8. */
#define TICK_NS 500UL
#define TICKS_PER_US 2
#define MIN_WIDTH_NS 100000UL
#define MAX_WIDTH_NS 100000000UL
#define MIN_PERIOD_US 1000UL
#define MAX_PERIOD_US 1000000UL
#define MAX_COUNT 1000000UL

#define MIN_SUPPLY_MV 0UL
#define MAX_SUPPLY_MV 18000UL
#define SAFE_SUPPLY_MV 0UL

#define PRESSURE_COMMANDABLE 1
#define MIN_PRESSURE_PA 100000UL
#define MAX_PRESSURE_PA 600000UL

#define DEADMAN_MIN_MS 100
#define DEADMAN_MAX_MS 10000
#define DEADMAN_DEFAULT_MS 1000
/* A frame of ordinary length is 260 bytes: at 20 a second 45 % of the 11520 bytes a second of the line (LINE-42). */
#define TELEMETRY_MAX_HZ 20
#define TELEMETRY_DEFAULT_HZ 10
#define TRIP_MA 5000
#define TRIP_PA 700000
#define TRIP_MDEGC 45000

/* PWM: 8192 steps at 1953 Hz. Full scale is what a duty of 1 stands for at the end of the filter and amplifier. */
#define PWM_STEPS 8192UL
#define SUPPLY_FULL_SCALE_MV 20000UL
#define REGULATOR_FULL_SCALE_PA 1000000UL

/*
 * Analog inputs, in the order of the conversion. `S` is the sum of 64 conversions of 10 bits plus half a step each, so
 * that 65536 is the reference voltage. All inputs and the PWM buffers share the 5 V reference.
 */
enum { SUPPLY_INPUT, CURRENT_INPUT, PRESSURE_INPUT, RAIL_INPUT, METER_INPUT, ANALOG_INPUTS };
/* Divider by four: 20 V at full scale. */
#define SUPPLY_MV(S) ((int32_t)(((S) * 20000UL) >> 16))
/* Shunt and amplifier of 0.5 V per ampere: 10 A at full scale. */
#define CURRENT_MA(S) ((int32_t)(((S) * 10000UL) >> 16))
/* Transducer 0.5 V to 4.5 V for 0 to 1 MPa gauge: 1e6 / (0.8 * 65536) = 19.07349 Pa a step. */
#define PRESSURE_PA(S) (((int32_t)(S)-6554L) * 19 + (((int32_t)(S)-6554L) * 301) / 4096)
/* Transmitters 0.5 V to 4.5 V for -20 to 80 degrees Celsius: 1e5 / (0.8 * 65536) = 1.907349 mdegC a step. */
#define TEMPERATURE_MDEGC(S) ((((int32_t)(S)-6554L) * 15625L) / 8192 - 20000L)

#endif
