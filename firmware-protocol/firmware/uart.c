#include "uart.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#define RX_SIZE 256 /* the indices are bytes and turn over by themselves */
#define TX_SIZE 1024

static volatile char rx[RX_SIZE];
static volatile uint8_t rx_in, rx_out;
static volatile char tx[TX_SIZE];
static volatile uint16_t tx_in, tx_out;
static volatile uint16_t errors;

void uart_init(void) {
    /* 115200 baud: 16 MHz / 8 / 17 is 2.1 % fast, which eight data bits bear. */
    UCSR0A = _BV(U2X0);
    UBRR0 = 16;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

ISR(USART0_RX_vect) {
    /* A byte with a framing error is taken as it is; the checksum of its line speaks for it. A byte that finds the
       buffer full is dropped, and its line with it by the same checksum. All of them are counted. */
    uint8_t wrong = UCSR0A & (_BV(FE0) | _BV(DOR0));
    char byte = UDR0;
    uint8_t in = rx_in + 1;
    if ((wrong || in == rx_out) && errors < 0xFFFF) errors++;
    if (in == rx_out) return;
    rx[rx_in] = byte;
    rx_in = in;
}

ISR(USART0_UDRE_vect) {
    if (tx_out == tx_in) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
    } else {
        UDR0 = tx[tx_out];
        tx_out = (tx_out + 1) % TX_SIZE;
    }
}

uint16_t uart_errors(void) {
    uint16_t n;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        n = errors;
    }
    return n;
}

int16_t uart_get(void) {
    if (rx_out == rx_in) return -1;
    uint8_t byte = rx[rx_out];
    rx_out++;
    return byte;
}

uint16_t uart_room(void) {
    uint16_t used;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        used = (tx_in - tx_out) % TX_SIZE;
    }
    return TX_SIZE - 1 - used;
}

void uart_put(const char *bytes, uint16_t length) {
    uint16_t in = tx_in;
    while (length--) {
        tx[in] = *bytes++;
        in = (in + 1) % TX_SIZE;
    }
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        tx_in = in;
        UCSR0B |= _BV(UDRIE0);
    }
}
