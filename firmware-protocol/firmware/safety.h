/* Arming, dead-man, interlocks, limits and the latched fault. All of it acts in interrupts, whatever the line does. */
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
    FAULT_DEADMAN
};

void safety_init(void);
/* Drivers off, supply to its safe value, disarmed (LINE-54). */
void safety_make_safe(void);
uint8_t safety_armed(void);
enum fault safety_fault(void);
/* Bit i is interlock i; 1 is closed. */
uint8_t safety_interlocks(void);
/* NO_FAULT and armed, or the fault, or NO_FAULT and not armed because an interlock is open. */
enum fault safety_arm(void);
/* 0: the cause of a fault is still there (LINE-63). */
uint8_t safety_clear(void);
/* Every request that counts (LINE-56). */
void safety_feed(void);
void safety_set_deadman(uint16_t ms);
/* Milliseconds, modulo 256. */
uint8_t safety_ticks(void);

#endif
