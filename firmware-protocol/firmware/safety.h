/* Arming, rail, dead-man, interlocks, limits and the latched fault. All of it acts in interrupts, whatever the line does. */
#ifndef SAFETY_H
#define SAFETY_H

#include <stdint.h>

enum fault {
    NO_FAULT,
    FAULT_EMERGENCY_STOP,
    FAULT_COVER,
    FAULT_VENTILATION,
    FAULT_CURRENT,
    FAULT_PRESSURE,
    FAULT_TEMPERATURE,
    FAULT_DEADMAN,
    FAULT_SENSOR_CURRENT,
    FAULT_SENSOR_PRESSURE,
    FAULT_SENSOR_RAIL,
    FAULT_SENSOR_METER,
    FAULT_CONVERTER,
    FAULT_DRIVER,
    FAULT_METER,
    FAULT_CALIBRATION,
    FAULT_FUSES
};

void safety_init(void);
/* Drivers off, supply to its safe value, disarmed (LINE-54), rail pressure given up (LINE-88). */
void safety_make_safe(void);
/* Found at the start, and there until the next one: LINE-91, LINE-98. */
void safety_latch_for_good(enum fault fault);
/* Two conversions running inside pulses were over the trip limit. Called with interrupts off. */
void safety_shorted(void);
/* A calibration was stored: its fault has no cause any more. */
void safety_calibrated(void);
uint8_t safety_armed(void);
/* LINE-89: armed, or keeping its pressure, or the regulator above its lowest. */
uint8_t safety_live(void);
enum fault safety_fault(void);
/* Bit i is interlock i; 1 is closed. */
uint8_t safety_interlocks(void);
/* NO_FAULT and armed, or the fault, or NO_FAULT and not armed because an interlock is open. `with_pump`: LINE-87. */
enum fault safety_arm(uint8_t with_pump);
/* 0: the cause of a fault is still there (LINE-63). */
uint8_t safety_clear(void);
/* Every request that counts (LINE-56). */
void safety_feed(void);
void safety_set_deadman(uint16_t ms);
/* Milliseconds, modulo 256. */
uint8_t safety_ticks(void);

/* The rail (LINE-83 to LINE-86). Call what switches with interrupts off, after looking at fault and arming. */
struct rail {
    uint8_t pumping, relieved, shut, keeping;
};
struct rail safety_rail(void);
void safety_pump(uint8_t on);
void safety_shut_off(uint8_t shut);
/* Making safe but for the rail. */
void safety_keep_pressure(void);
void safety_set_pressure(uint32_t pa);

#endif
