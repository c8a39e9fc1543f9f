/* A stand-in board on an ATmega328P: no pins, the first serial port at 1 Mbit/s. For figures and for bench mode in the
 * simulator; a real board.c goes in its place. */
#include <avr/io.h>
#include "board.h"

static volatile uint8_t pins[FOLLOW_OUTPUTS + 1u];

uint8_t board_start(void) { return FOLLOW_POWER_ON; }
void board_wait(void) {}
void board_read(struct follow *f) { f->contacts[0] = PINB & 1u; }
void board_write(uint8_t output, uint8_t position) { pins[output] = position; }
void board_watchdog(void) { __asm__ __volatile__("wdr"); }
void board_log(const uint8_t *record, uint8_t length) { while (length-- > 0u) GPIOR2 = *record++; }

int16_t board_get(void)
{
    UBRR0 = 0; /* here, so that a program without a serial line has none */
    UCSR0A = 1 << U2X0;
    UCSR0B = 1 << RXEN0 | 1 << TXEN0;
    return UCSR0A & 1 << RXC0 ? UDR0 : -1;
}

void board_put(char character)
{
    while (!(UCSR0A & 1 << UDRE0)) continue;
    UDR0 = (uint8_t)character;
}
