/* The form of a line in both directions (LINE-1 to LINE-10). Texts of the firmware stay in flash. */
#ifndef LINE_H
#define LINE_H

#include <avr/pgmspace.h>
#include <stdint.h>

#include "clock.h"

#define LONGEST_TO_CONTROLLER 120
#define LONGEST_TO_HOST 360

/* Takes a byte from the host. The length of the line that it completes, without LF and CR; 0: none, or not a good one. */
uint8_t line_take(char byte);

/* Bad lines since the start (LINE-4, LINE-9); stays at its greatest. */
uint16_t line_bad(void);
/* A line that was whole and is no request. */
void line_count_bad(void);

/* Reading the completed line from left to right; the first thing that does not fit makes every later answer empty. */
/* 1: the line is a request; its number is read. */
uint8_t read_begin(uint8_t length, uint16_t *seq);
/* The word after a space, 0-terminated; empty if there is none of 1 to 24 characters. */
void read_word(char word[25]);
uint32_t read_number(const char *key_in_flash);
/* With a minus sign before it or not; below 2^31. */
int32_t read_signed(const char *key_in_flash);
/* A name of 1 to `longest` characters into `name`, which has room for one more. */
void read_name(const char *key_in_flash, char *name, uint8_t longest);
/* A list of names of 1 to 24 characters, separated by commas, of at most `longest` characters together. 1: one of them is `wanted`. */
uint8_t read_names(const char *key_in_flash, const char *wanted_in_flash, uint8_t longest);
/* 1: everything was read and everything fitted. */
uint8_t read_complete(void);

/* Writing a line into `into`, which has LONGEST_TO_HOST bytes. */
void write_begin(char *into, char mark, uint16_t seq);
void write_char(char c);
void write_text(const char *in_flash);
void write_string(const char *in_ram);
void write_number(uint32_t n);
void write_signed(int32_t n);
void write_big(struct big n);
/* A field whose value is a number; `key` with the space before it and the sign behind it. */
void write_field(const char *key_in_flash, uint32_t n);
/* Characters that the line still has room for. */
uint16_t write_room(void);
/* Adds the tail and gives the length of the line. */
uint16_t write_end(void);

#endif
