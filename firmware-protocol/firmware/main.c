/*
 * Reference firmware of the bench controller on an ATmega2560 at 16 MHz. Pulses, time stamps and safety live in timer
 * hardware and interrupts; this loop only talks, and may be late without harm. No heap, no recursion.
 */
#include <avr/interrupt.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "analog.h"
#include "board.h"
#include "clock.h"
#include "line.h"
#include "memory.h"
#include "protocol.h"
#include "pulse.h"
#include "safety.h"
#include "uart.h"

int main(void) {
    pulse_init();
    analog_init();
    safety_init();
    clock_init();
    if (memory_load_calibration() == CALIBRATION_DAMAGED) safety_latch_for_good(FAULT_CALIBRATION);
    if (!memory_fuses_right()) safety_latch_for_good(FAULT_FUSES);
    protocol_init(memory_count_start());
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
            memory_go_on_storing();
            protocol_telemetry();
        } else if (byte < 0) {
            sleep_cpu();
        }
    }
}
