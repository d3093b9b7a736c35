/*
 * The board: pins, timers, limits and the scaling of the inputs, all in one place. Change this file to fit another
 * bench; the README beside it says what each line is wired to.
 */
#ifndef BOARD_H
#define BOARD_H

#include <avr/io.h>
#include <stdint.h>

#define MODEL "railhouse-mega2560"
#define FIRMWARE_VERSION "1.1"
/* Model and serial together identify the bench (LINE-23): build with -DSERIAL_NUMBER='"..."' for each board. */
#ifndef SERIAL_NUMBER
#define SERIAL_NUMBER "0001"
#endif

/* Outputs. Every one has a pull-down on the board, so that it is off while the pins float in reset. */
#define PULSE_PORT PORTB
#define PULSE_DDR DDRB
#define PULSE_PIN PINB
#define PULSE_BIT 6 /* OC1B: the one pulse output, through the 3-to-8 decoder to the selected driver */
#define LAMP_PORT PORTB
#define LAMP_DDR DDRB
#define LAMP_BIT 7 /* armed lamp */
#define SELECT_PORT PORTA
#define SELECT_DDR DDRA
#define SELECT_PIN PINA
#define SELECT_MASK 0x07 /* decoder address, channel - 1 */
#define ENABLE_BIT 3     /* decoder enable: high only while armed */
/* Pump enable, relief valve (high: held shut), shut-off valve (high: shut), on the same port. */
#define RAIL_PORT PORTA
#define RAIL_DDR DDRA
#define PUMP_BIT 4
#define RELIEF_BIT 5
#define SHUT_OFF_BIT 6
/* 0 where the bench has no such output; its pin stays low. */
#ifndef HAS_PUMP
#define HAS_PUMP 1
#define HAS_RELIEF 1
#define HAS_SHUT_OFF 1
#endif
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
#define TRIP_MA 5000L
#define TRIP_PA 700000L
#define TRIP_MDEGC 45000L

/* PWM: 8192 steps at 1953 Hz. Full scale is what a duty of 1 stands for at the end of the filter and amplifier. */
#define PWM_STEPS 8192UL
#define SUPPLY_FULL_SCALE_MV 20000UL
#define REGULATOR_FULL_SCALE_PA 1000000UL

/*
 * Analog inputs. All inputs and the PWM buffers share the 5 V reference. What an input stands for is one pair: its value
 * at 0 V and at the reference. Readings, trip limits and what `describe` states all follow from it. A board's own
 * calibration in the EEPROM takes the place of these pairs (LINE-91).
 */
enum { SUPPLY_INPUT, CURRENT_INPUT, PRESSURE_INPUT, RAIL_INPUT, METER_INPUT, ANALOG_INPUTS };
/* Divider by four, mV. */
#define SUPPLY_ZERO 0L
#define SUPPLY_FULL 20000L
/* Shunt and amplifier of 0.5 V per ampere, mA. */
#define CURRENT_ZERO 0L
#define CURRENT_FULL 10000L
/* Transducer 0.5 V to 4.5 V for 0 to 1 MPa gauge, Pa. */
#ifndef PRESSURE_ZERO
#define PRESSURE_ZERO (-125000L)
#define PRESSURE_FULL 1125000L
#endif
/* Transmitters 0.5 V to 4.5 V for -20 to 80 degrees Celsius, thousandths of a degree. */
#define TEMPERATURE_ZERO (-32500L)
#define TEMPERATURE_FULL 92500L
/* A transducer works between 0.5 V and 4.5 V: outside these thousandths of the reference it is broken or not there. */
#define SENSOR_LOW_PERMILLE 50
#define SENSOR_HIGH_PERMILLE 950
/* The widest calibration that is taken: what the numbers of the line and of analog.c can carry. */
#define WIDEST_SCALE 100000000L

_Static_assert(TRIP_MA > CURRENT_ZERO && TRIP_MA < CURRENT_FULL, "the current at which the bench trips cannot be measured");
_Static_assert(TRIP_PA > PRESSURE_ZERO && (TRIP_PA - PRESSURE_ZERO) / 1000 < (PRESSURE_FULL - PRESSURE_ZERO) / 1000 * SENSOR_HIGH_PERMILLE / 1000,
               "the pressure at which the bench trips cannot be measured");
_Static_assert(TRIP_MDEGC > TEMPERATURE_ZERO && TRIP_MDEGC - TEMPERATURE_ZERO < (TEMPERATURE_FULL - TEMPERATURE_ZERO) / 1000 * SENSOR_HIGH_PERMILLE,
               "the temperature at which the bench trips cannot be measured");

/* Nothing is driven and yet current or fluid flows (LINE-94): in so many milliseconds, after so many without a pulse. */
#define IDLE_MA 150
#define IDLE_EDGES 20
#define IDLE_MS 500
#define AFTER_PULSE_MS 250
#define STEADY_PA 2000 /* a rail whose pressure moves by more in that time is being filled */
/* An input that gives one exact value for so long while pulses are driven (LINE-92). */
#define FROZEN_MS 2000
/* The converter has finished no block of readings for so long (LINE-93). */
#define CONVERTER_MS 25
/* Meter edges (LINE-96); the processor time-stamps 10 000 a second without losing one. */
#define METER_MAX_HZ 5000

#endif
