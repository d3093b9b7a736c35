/* The serial port: bounded buffers in both directions, filled and emptied by interrupts. */
#ifndef UART_H
#define UART_H

#include <stdint.h>

void uart_init(void);
/* Framing errors and bytes that were lost, since the start; stays at its greatest. */
uint16_t uart_errors(void);
/* The next byte from the host, or -1. */
int16_t uart_get(void);
/* Bytes that can be put without waiting. */
uint16_t uart_room(void);
/* Puts all `length` bytes; there is room for them. */
void uart_put(const char *bytes, uint16_t length);

#endif
