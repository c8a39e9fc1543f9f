/* A stand-in board on a Cortex-M0+, for figures alone. */
#include "board.h"

static volatile uint8_t pins[FOLLOW_OUTPUTS + 1u];

uint8_t board_start(void) { return FOLLOW_POWER_ON; }
void board_wait(void) {}
void board_read(struct follow *f) { f->contacts[0] = pins[0]; }
void board_write(uint8_t output, uint8_t position) { pins[output] = position; }
void board_watchdog(void) {}
void board_log(const uint8_t *record, uint8_t length) { while (length-- > 0u) pins[0] = *record++; }
int16_t board_get(void) { return -1; }
void board_put(char character) { pins[0] = (uint8_t)character; }
