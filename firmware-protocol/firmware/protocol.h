/* Requests and their answers, and telemetry: sections 3 to 5 of the line's specification. */
#ifndef PROTOCOL_H
#define PROTOCOL_H

#include <stdint.h>

/* `start`: the number of this start, below 10^8; it is the boot id. */
void protocol_init(uint32_t start);
/* Carries out the line that line_take completed. There is room for a whole line in the serial port's buffer. */
void protocol_take_line(uint8_t length);
/* Sends a frame if one is due. */
void protocol_telemetry(void);

#endif
