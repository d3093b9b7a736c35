#include "memory.h"

#include <avr/boot.h>
#include <avr/eeprom.h>
#include <avr/io.h>
#include <avr/wdt.h>
#include <util/atomic.h>
#include <util/crc16.h>

#include "board.h"

/* ---- the start ---- */

#define PAINT 0xC5
extern uint8_t _end, __stack;
static uint8_t reset_flags __attribute__((section(".noinit")));

/*
 * The watchdog is running before anything else, also after a reset by itself, when it would bite within 16 ms. Then the
 * free memory is painted, so that it can be told how deep the stack has come; 2.6 ms. Nothing is on the stack yet.
 */
void __attribute__((naked, used, section(".init3"))) memory_first(void) {
    reset_flags = MCUSR;
    MCUSR = 0;
    wdt_enable(WDTO_120MS);
    __asm volatile(
        "ldi r30, lo8(_end)\n"
        "ldi r31, hi8(_end)\n"
        "ldi r24, %0\n"
        "ldi r25, hi8(__stack)\n"
        "1: st Z+, r24\n"
        "cpi r30, lo8(__stack)\n"
        "cpc r31, r25\n"
        "brlo 1b\n" ::"M"(PAINT)
        : "r24", "r25", "r30", "r31", "memory");
}

uint16_t memory_stack_free(void) {
    const uint8_t *at = &_end;
    while (at < &__stack && *at == PAINT) at++;
    return at - &_end;
}

enum cause memory_reset_cause(void) {
    /* Power-on sets others with it. A boot loader may have cleared them all. */
    if (reset_flags & _BV(PORF)) return CAUSE_POWER;
    if (reset_flags & _BV(BORF)) return CAUSE_BROWN_OUT;
    if (reset_flags & _BV(WDRF)) return CAUSE_WATCHDOG;
    if (reset_flags & _BV(EXTRF)) return CAUSE_BUTTON;
    return CAUSE_UNKNOWN;
}

uint8_t memory_fuses_right(void) {
    uint8_t low, extended;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        low = boot_lock_fuse_bits_get(GET_LOW_FUSE_BITS);
        extended = boot_lock_fuse_bits_get(GET_EXTENDED_FUSE_BITS);
    }
    /* CKSEL 111x: low power crystal, 011x: full swing crystal; CKDIV8 off. BODLEVEL 100: 4.3 V. */
    uint8_t crystal = low & 0x0E;
    return (low & 0x80) && (crystal == 0x0E || crystal == 0x06) && (extended & 0x07) == 0x04;
}

/* ---- EEPROM ---- */

static uint16_t crc_of(const void *data, uint8_t length) {
    const uint8_t *bytes = data;
    uint16_t crc = 0xFFFF;
    while (length--) crc = _crc_ccitt_update(crc, *bytes++);
    return crc;
}

/*
 * The boot id is a counter that moves through all slots, so that 100 000 writes of a cell are 12 million starts. Each slot has a
 * checksum: one that a power failure cut short, or that is worn out, is no number, and the next one is tried. The newest
 * is the one that is ahead of the others, counted in a circle, so the count may turn over.
 */
struct slot {
    uint32_t value;
    uint16_t crc;
    uint16_t unused;
};
#define BOOT_SLOTS 128
#define MOST_BOOTS 99999999UL
#define SLOT(n) ((struct slot *)((uint16_t)(n) * sizeof(struct slot)))

static uint32_t slot_value(uint8_t n) {
    struct slot slot;
    eeprom_read_block(&slot, SLOT(n), sizeof slot);
    return slot.crc == crc_of(&slot.value, sizeof slot.value) && slot.value >= 1 && slot.value <= MOST_BOOTS ? slot.value : 0;
}

uint32_t memory_count_start(void) {
    uint32_t latest = 0;
    for (uint8_t n = 0; n < BOOT_SLOTS; n++) {
        uint32_t value = slot_value(n);
        if (value == 0) continue;
        uint32_t ahead = value >= latest ? value - latest : value + MOST_BOOTS - latest;
        if (latest == 0 || ahead < MOST_BOOTS / 2) latest = value;
    }
    struct slot slot = {latest, 0, 0};
    for (uint8_t tries = 0; tries < BOOT_SLOTS; tries++) {
        slot.value = slot.value >= MOST_BOOTS ? 1 : slot.value + 1;
        slot.crc = crc_of(&slot.value, sizeof slot.value);
        uint8_t n = slot.value % BOOT_SLOTS;
        wdt_reset();
        eeprom_update_block(&slot, SLOT(n), sizeof slot);
        if (slot_value(n) == slot.value) break;
    }
    return slot.value;
}

/* Behind the slots. */
struct stored {
    struct scale scales[ANALOG_INPUTS];
    uint16_t crc;
};
#define STORED ((struct stored *)(BOOT_SLOTS * sizeof(struct slot)))

static struct stored stored;
static uint8_t written = sizeof stored;
static enum calibration calibration;

enum calibration memory_load_calibration(void) {
    eeprom_read_block(&stored, STORED, sizeof stored);
    uint8_t blank = 1;
    for (uint8_t i = 0; i < sizeof stored; i++) blank &= ((const uint8_t *)&stored)[i] == 0xFF;
    if (blank) return CALIBRATION_NONE;
    calibration = CALIBRATION_STORED;
    if (stored.crc != crc_of(stored.scales, sizeof stored.scales)) calibration = CALIBRATION_DAMAGED;
    for (uint8_t i = 0; calibration == CALIBRATION_STORED && i < ANALOG_INPUTS; i++) {
        if (!analog_set_scale(i, stored.scales[i])) calibration = CALIBRATION_DAMAGED;
    }
    return calibration;
}

void memory_store_calibration(void) {
    for (uint8_t i = 0; i < ANALOG_INPUTS; i++) stored.scales[i] = analog_scale(i);
    stored.crc = crc_of(stored.scales, sizeof stored.scales);
    calibration = CALIBRATION_NONE;
    written = 0;
}

void memory_go_on_storing(void) {
    if (written == sizeof stored || !eeprom_is_ready()) return;
    eeprom_update_byte((uint8_t *)STORED + written, ((const uint8_t *)&stored)[written]);
    if (++written == sizeof stored) calibration = CALIBRATION_STORED;
}

enum calibration memory_calibration(void) {
    return calibration;
}
