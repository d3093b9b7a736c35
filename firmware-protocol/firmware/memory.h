/* What the board keeps without power: the count of its starts and its calibration. And what a start finds. */
#ifndef MEMORY_H
#define MEMORY_H

#include <stdint.h>

#include "analog.h"

/* Counts this start and gives its number, 1 to 99999999 and then 1 again (LINE-24, LINE-97). */
uint32_t memory_count_start(void);

enum calibration { CALIBRATION_NONE, CALIBRATION_STORED, CALIBRATION_DAMAGED };
/* Puts the stored scales in place (LINE-91); where there are none or they are damaged those of board.h stay. */
enum calibration memory_load_calibration(void);
/* Begins to write the scales that are in place: 3.4 ms for a byte, so it is done bit by bit by the main loop. */
void memory_store_calibration(void);
/* Writes a byte, if there is one to be written and the last one is done. */
void memory_go_on_storing(void);
/* How the stored one is; none while it is being written. */
enum calibration memory_calibration(void);

enum cause { CAUSE_POWER, CAUSE_BROWN_OUT, CAUSE_WATCHDOG, CAUSE_BUTTON, CAUSE_UNKNOWN };
/* Of the latest reset. */
enum cause memory_reset_cause(void);
/* Bytes between the data and the deepest that the stack has come. */
uint16_t memory_stack_free(void);
/* 1: clock and brown-out as the README sets them (LINE-98). */
uint8_t memory_fuses_right(void);

#endif
