/*
 * Reference firmware of the bench controller on an ATmega2560 at 16 MHz. Pulses, time stamps and safety live in timer
 * hardware and interrupts; this loop only talks, and may be late without harm. No heap, no recursion.
 */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <stdlib.h>

#include "analog.h"
#include "board.h"
#include "clock.h"
#include "line.h"
#include "protocol.h"
#include "pulse.h"
#include "safety.h"
#include "uart.h"

/* The watchdog is running before anything else, also after a reset by itself, when it would bite within 16 ms. */
void __attribute__((naked, used, section(".init3"))) watchdog_first(void) {
    MCUSR = 0;
    wdt_enable(WDTO_120MS);
}

/*
 * The boot id (LINE-24) is a counter in EEPROM. It moves through all slots, so that 100 000 writes of a cell are 25
 * million starts. A write that a power failure cut short leaves erased bytes: such a slot is passed over.
 */
#define BOOT_SLOTS 256
#define MOST_BOOTS 99999999UL

static uint32_t count_boot(void) {
    uint32_t latest = 0;
    for (uint16_t slot = 0; slot < BOOT_SLOTS; slot++) {
        uint32_t value = eeprom_read_dword((const uint32_t *)(slot * 4));
        if (value <= MOST_BOOTS && value > latest) latest = value;
    }
    uint32_t boot = latest == MOST_BOOTS ? 1 : latest + 1;
    eeprom_update_dword((uint32_t *)((uint16_t)(boot % BOOT_SLOTS) * 4), boot);
    return boot;
}

int main(void) {
    pulse_init();
    analog_init();
    safety_init();
    clock_init();
    char boot[9];
    ultoa(count_boot(), boot, 10);
    protocol_init(boot);
    uart_init();
    /* Ends whatever half a line the last start left on its way. */
    uart_put("\n", 1);
    set_sleep_mode(SLEEP_MODE_IDLE);
    sleep_enable();
    sei();

    uint8_t seen = safety_ticks();
    for (;;) {
        int16_t byte = -1;
        if (uart_room() >= LONGEST_TO_HOST) byte = uart_get();
        if (byte >= 0) {
            uint8_t length = line_take(byte);
            if (length > 0) protocol_take_line(length);
        }
        uint8_t ticks = safety_ticks();
        if (ticks != seen) {
            /* Fed only while the safety interrupt goes on and this loop comes round. */
            seen = ticks;
            wdt_reset();
            protocol_telemetry();
        } else if (byte < 0) {
            sleep_cpu();
        }
    }
}
