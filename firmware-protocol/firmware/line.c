#include "line.h"

#include <string.h>

#include "board.h"

#define TAIL 6 /* space, #, four digits */

static uint16_t crc_add(uint16_t crc, uint8_t byte) {
    /* CRC-16/IBM-3740 (LINE-6), a byte at a time by its own algebra instead of a table. */
    crc = (uint16_t)(crc >> 8) | (uint16_t)(crc << 8);
    crc ^= byte;
    crc ^= (uint8_t)crc >> 4;
    crc ^= crc << 12;
    crc ^= (uint16_t)((uint8_t)crc) << 5;
    return crc;
}

/* ---- receiving ---- */

static char line[LONGEST_TO_CONTROLLER - 1];
static uint8_t held;
static uint8_t dropping;
static uint8_t at, end, failed;
static uint16_t bad;

static uint8_t digit_of(char c) {
    if (c >= '0' && c <= '9') return c - '0';
    if (c >= 'A' && c <= 'F') return c - 'A' + 10;
    return 0xFF;
}

/* LINE-1, LINE-5, LINE-6: printable, a tail, and a checksum that is right. */
static uint8_t good(uint8_t length) {
    if (length < TAIL || line[length - 5] != '#' || line[length - 6] != ' ') return 0;
    uint16_t crc = 0xFFFF;
    for (uint8_t i = 0; i < length - 5; i++) {
        if (line[i] < 0x20 || line[i] > 0x7E) return 0;
        crc = crc_add(crc, line[i]);
    }
    uint16_t stated = 0;
    for (uint8_t i = length - 4; i < length; i++) {
        uint8_t digit = digit_of(line[i]);
        if (digit > 15) return 0;
        stated = stated << 4 | digit;
    }
    return stated == crc;
}

void line_count_bad(void) {
    if (bad < 0xFFFF) bad++;
}

uint8_t line_take(char byte) {
    if (byte != '\n') {
        if (held == sizeof line) dropping = 1;
        if (!dropping) line[held++] = byte;
        return 0;
    }
    uint8_t length = dropping ? 0 : held;
    uint8_t long_one = dropping;
    held = 0;
    dropping = 0;
    if (length > 0 && line[length - 1] == '\r') length--;
    if (good(length)) return length;
    if (length > 0 || long_one) line_count_bad();
    return 0;
}

uint16_t line_bad(void) {
    return bad;
}

static uint8_t is_name(char c) {
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || c == '-' || c == '.' || c == '_';
}

static void skip(const char *key) {
    for (char c; (c = pgm_read_byte(key)) != 0; key++) {
        if (at == end || line[at] != c) {
            failed = 1;
            return;
        }
        at++;
    }
}

static uint32_t number(void) {
    uint32_t value = 0;
    uint8_t start = at;
    while (!failed && at < end && line[at] >= '0' && line[at] <= '9') {
        uint8_t digit = line[at] - '0';
        if (value > 429496729UL || (value == 429496729UL && digit > 5)) {
            failed = 1; /* 2^32 and more */
        }
        value = value * 10 + digit;
        at++;
    }
    if (at == start || (line[start] == '0' && at - start > 1)) failed = 1;
    return failed ? 0 : value;
}

uint8_t read_begin(uint8_t length, uint16_t *seq) {
    at = 1;
    end = length - TAIL;
    failed = end == 0 || line[0] != '?';
    skip(PSTR(" "));
    uint32_t n = number();
    *seq = n;
    return !failed && n <= 0xFFFF;
}

static void name(char *into, uint8_t longest) {
    uint8_t length = 0;
    while (!failed && at < end && is_name(line[at])) {
        if (length == longest) failed = 1;
        else into[length++] = line[at++];
    }
    if (length == 0) failed = 1;
    if (failed) length = 0;
    into[length] = 0;
}

void read_word(char word[25]) {
    skip(PSTR(" "));
    name(word, 24);
}

uint32_t read_number(const char *key) {
    skip(key);
    return number();
}

int32_t read_signed(const char *key) {
    skip(key);
    uint8_t minus = !failed && at < end && line[at] == '-';
    at += minus;
    uint32_t n = number();
    if (n > 0x7FFFFFFFUL || (minus && n == 0)) failed = 1;
    return failed ? 0 : minus ? -(int32_t)n : (int32_t)n;
}

void read_name(const char *key, char *into, uint8_t longest) {
    skip(key);
    name(into, longest);
}

uint8_t read_names(const char *key, const char *wanted, uint8_t longest) {
    char one[25];
    uint8_t found = 0;
    skip(key);
    uint8_t start = at;
    for (;;) {
        name(one, 24);
        found |= strcmp_P(one, wanted) == 0;
        if (failed || at == end || line[at] != ',') break;
        at++;
    }
    if (at - start > longest) failed = 1;
    return failed ? 0 : found;
}

uint8_t read_complete(void) {
    return !failed && at == end;
}

/* ---- sending ---- */

static char *out;
static uint16_t out_length;
static uint16_t out_crc;

void write_char(char c) {
    /* No line of this firmware comes near the limit; should one, it is cut and its checksum refuses it. */
    if (out_length >= LONGEST_TO_HOST - TAIL - 1) return;
    out[out_length++] = c;
    out_crc = crc_add(out_crc, c);
}

void write_text(const char *text) {
    for (char c; (c = pgm_read_byte(text)) != 0; text++) write_char(c);
}

void write_string(const char *text) {
    while (*text) write_char(*text++);
}

static const uint32_t powers[] PROGMEM = {1000000000, 100000000, 10000000, 1000000, 100000, 10000, 1000, 100, 10};

/* By subtraction: the processor has no division. `digits`: at least so many. */
static void decimal(uint32_t n, uint8_t digits) {
    for (uint8_t i = 0; i < 9; i++) {
        uint32_t power = pgm_read_dword(&powers[i]);
        char digit = '0';
        while (n >= power) {
            n -= power;
            digit++;
        }
        if (digit != '0' || digits >= 10 - i) {
            write_char(digit);
            digits = 10;
        }
    }
    write_char('0' + (char)n);
}

void write_number(uint32_t n) {
    decimal(n, 1);
}

void write_signed(int32_t n) {
    if (n < 0) write_char('-');
    decimal(n < 0 ? -(uint32_t)n : (uint32_t)n, 1);
}

void write_big(struct big n) {
    if (n.millions > 0) {
        decimal(n.millions, 1);
        decimal(n.rest, 6);
    } else {
        decimal(n.rest, 1);
    }
}

void write_field(const char *key, uint32_t n) {
    write_text(key);
    write_number(n);
}

void write_begin(char *into, char mark, uint16_t seq) {
    out = into;
    out_length = 0;
    out_crc = 0xFFFF;
    write_char(mark);
    write_char(' ');
    write_number(seq);
    write_char(' ');
}

uint16_t write_room(void) {
    return LONGEST_TO_HOST - TAIL - 1 - out_length;
}

uint16_t write_end(void) {
    write_char(' ');
    out[out_length++] = '#';
    for (int8_t shift = 12; shift >= 0; shift -= 4) {
        uint8_t digit = (out_crc >> shift) & 0x0F;
        out[out_length++] = digit < 10 ? '0' + digit : 'A' + digit - 10;
    }
    out[out_length++] = '\n';
    return out_length;
}
