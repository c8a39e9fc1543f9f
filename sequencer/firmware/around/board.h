/* The hardware calls that the builder writes for the board at hand. Nothing here may wait for the world: every call
 * returns at once, except board_wait. The pins and terminals are listed in README.md beside this file. */
#ifndef FOLLOW_BOARD_H
#define FOLLOW_BOARD_H
#include "follow.h"

/* Once, first thing: give every output pin its rest level BEFORE making it an output; then converter, tick, watchdog
 * (two to five scans long), serial line. Returns what reset the chip, FOLLOW_POWER_ON to FOLLOW_WATCHDOG, else 0. */
uint8_t board_start(void);

/* Wait for the next tick of FOLLOW_SCAN_MS; the time since the last one has to be measured, not added up. */
void board_wait(void);

/* Sample every input once: f->contacts (1 circuit closed), f->words[0..FOLLOW_ANALOGS - 1] (converter counts),
 * f->heard (1 a fresh valid message came since the last call, else 0). */
void board_read(struct follow *f);

/* Drive one output to a position code; a servo's pulse goes on between calls. */
void board_write(uint8_t output, uint8_t position);

/* Feed the watchdog. Called once per scan, after the outputs are written, and from nowhere else. */
void board_watchdog(void);

/* Keep or send a log record; may drop it rather than wait. */
void board_log(const uint8_t *record, uint8_t length);

/* Bench mode only: the serial line. board_get returns the next character, or -1 when none has come. */
int16_t board_get(void);
void board_put(char character);
#endif
