/* follow: runs an exported table, one scan at a time. C99; no heap, no float, no recursion.
 * It follows a model of the pad, not the hardware; it certifies nothing. Stored gas can kill: people stay away whatever
 * the software says; relief, locking pin and a vent that opens on power loss are not optional. */
#ifndef FOLLOW_H
#define FOLLOW_H
#include <stdint.h>
#include "follow_table.h" /* generated: sizes and places of the table's parts, names, rest positions */
#if defined(__AVR__)
#include <avr/pgmspace.h>
#define FOLLOW_FLASH PROGMEM
#define FOLLOW_BYTE(at) pgm_read_byte(at)
#define FOLLOW_WORD(at) pgm_read_word(at)
#define FOLLOW_WIDE(at) pgm_read_dword(at)
#else
#define FOLLOW_FLASH
#define FOLLOW_BYTE(at) (*(at))
#define FOLLOW_WORD(at) ((uint16_t)((at)[0] | (at)[1] << 8))
#define FOLLOW_WIDE(at) (FOLLOW_WORD(at) | (uint32_t)FOLLOW_WORD((at) + 2) << 16)
#endif
#ifndef FOLLOW_SLICE
#define FOLLOW_SLICE 1u                            /* bytes of the table that each scan checks */
#endif
#define FOLLOW_ROOM(n) ((n) > 0u ? (n) : 1u)       /* C99 knows no empty array */
#define FOLLOW_WORDS (FOLLOW_ANALOGS + FOLLOW_HEARTBEATS)
#define FOLLOW_RECORD (11u + (FOLLOW_BITS + 7u) / 8u) /* bytes of one log record */
#define FOLLOW_NONE 0xFFFFu                        /* no row; a link never heard; no target */

/* Why the box stays at rest until the next reset (0: it follows the table). */
enum { FOLLOW_FINE, FOLLOW_FOREIGN, FOLLOW_NEWER, FOLLOW_DAMAGED, FOLLOW_IMPOSSIBLE, FOLLOW_UNKNOWN_RESET };
/* Reset causes: the caller turns its chip's register into one of these; any other number keeps the box at rest. */
enum { FOLLOW_POWER_ON = 1, FOLLOW_EXTERNAL, FOLLOW_BROWN_OUT, FOLLOW_WATCHDOG };

/* All that the box remembers, and all the RAM it needs besides its stack. Owner: the runtime, where nothing else is said. */
struct follow {
    uint8_t state, mirror;                        /* present state and its complement; any other pair is impossible */
    uint8_t code, cause;                          /* why at rest, and what reset it: see above */
    uint8_t settled;                              /* 0 before the first scan, 1 filters settling, 2 all have settled once */
    uint8_t moved, from;                          /* 1 when the last scan moved, and the state it left */
    uint8_t held;                                 /* bit 7: the last literal list held */
    uint16_t row, first_out;                      /* row of the last move; of the first trip since an ordinary move */
    uint16_t check_at;                            /* next byte of the table to check */
    uint32_t check;                               /* CRC-32/ISO-HDLC of the bytes before it */
    uint32_t timer, scan;                         /* scans in this state, saturating; since power-up, wrapping, for the log */
    /* One sample of every input. Owner: the caller, who fills it once before each scan and then leaves it alone. */
    uint8_t contacts[FOLLOW_ROOM(FOLLOW_CONTACTS)]; /* 1 circuit closed, 0 open */
    uint8_t heard[FOLLOW_ROOM(FOLLOW_HEARTBEATS)];  /* 1 a fresh valid message came since the last scan, else 0 */
    uint16_t words[FOLLOW_ROOM(FOLLOW_WORDS)];      /* converter counts; behind them (runtime) scans since each link was heard */

    /* Position codes for the caller to write; behind them (runtime) the state when the scan began, per contact its flags
     * (filtered level, changed now, levels seen in this state), and per word 1 inside its valid band. */
    uint8_t outputs[FOLLOW_OUTPUTS + 1u + FOLLOW_CONTACTS + FOLLOW_ROOM(FOLLOW_WORDS)];
    uint8_t bits[FOLLOW_ROOM((FOLLOW_BITS + 7u) / 8u * 8u)]; /* conditions: bit 7 now, 6 a scan ago, 5 before delays */
    uint16_t counters[FOLLOW_CONTACTS + FOLLOW_COUNTERS + 3u]; /* filters, delays, ages, captured readings, expiries */
};

extern const uint8_t follow_table[FOLLOW_SIZE]; /* the exported table, in flash */

/* Check the whole table and take the rest positions. cause: FOLLOW_POWER_ON to FOLLOW_WATCHDOG. Bound: FOLLOW_SIZE. */
void follow_start(struct follow *f, uint8_t cause);

/* One scan, to be called every FOLLOW_SCAN_MS. Then f->outputs holds a position for every output, and f->moved says
 * whether a move fired. Bound: conditions, literals, rows of one state, inhibits, FOLLOW_SLICE bytes. */
void follow_scan(struct follow *f);

/* Write the log record of what just happened, least byte first. To be called after follow_start ('P'), after every scan
 * that moved ('M'), and once when f->code has become other than FOLLOW_FINE ('R'). Bound: FOLLOW_RECORD bytes.
 *   kind:1  number:4 (scan; for 'P' the table's checksum)  from:1  to:1  row:2  code:1  cause:1  bits:(FOLLOW_BITS + 7) / 8 */
void follow_record(const struct follow *f, uint8_t record[FOLLOW_RECORD]);
#endif
