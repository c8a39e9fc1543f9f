/* follow: runs an exported table, one scan at a time. C99; no heap, no float, no recursion.
 * It follows a model of the pad, not the hardware; it certifies nothing. Stored gas can kill: people stay away whatever
 * the software says; relief, locking pin and a vent that opens on power loss are not optional. */
#ifndef FOLLOW_H
#define FOLLOW_H
#include "follow_table.h" /* generated: the table's sizes, parts and names, how it is read, codes of records, rest and reset */

/* All that the box remembers, and all the RAM it needs besides its stack. Owner: the runtime, where nothing else is said. */
struct follow {
    /* The log record, its first FOLLOW_RECORD bytes. tell: its kind, or 0 when none is due after this call. number: the
     * scan, from 0 on and wrapping, least byte first; at power-up the table's checksum. place: of the row in its state,
     * from 1 on; 0 before the first move. code, cause: why at rest, what reset it. packed: see follow_record. */
    uint8_t tell, number[4], from, state, place, code, cause, packed[FOLLOW_ROOM(FOLLOW_RECORD - 10u)];
    uint8_t mirror;       /* the state's complement; any other pair is impossible */
    uint8_t settled;      /* 0 before the first scan, 1 filters settling, 2 all have settled once */
    uint16_t first_out;   /* first trip since an ordinary move: its state * 256 + its place */
    uint16_t check_at;    /* next byte of the table to check */
    uint8_t sum[2];       /* CRC-16/IBM-SDLC of the bytes before it, least byte first */
    follow_time timer;    /* scans in this state, saturating */
    /* One sample of every input. Owner: the caller, who fills it once before each scan and then leaves it alone. */
    uint8_t contacts[FOLLOW_ROOM(FOLLOW_CONTACTS)]; /* bit 0: 1 circuit closed, 0 open */
    uint8_t heard[FOLLOW_ROOM(FOLLOW_HEARTBEATS)];  /* 1 a fresh valid message came since the last scan, else 0 */
    uint16_t words[FOLLOW_ROOM(FOLLOW_ANALOGS)];    /* converter counts */
    /* Position codes for the caller to write; behind them (runtime) what conditions look at: the state when the scan began;
     * of every reading, then of every link, two bytes of counts (scans since it was heard) and whether they are valid; of
     * every contact its flags (filtered level, changed now, levels seen in this state); then its filter's count. */
    uint8_t outputs[FOLLOW_CELLS + 2u];
    uint8_t bits[FOLLOW_ROOM(8u * (FOLLOW_RECORD - 10u))]; /* conditions: bit 7 now, 6 before delays, 5 a change is watched */
    uint16_t counters[FOLLOW_COUNTERS + 3u]; /* delays, ages, captured readings, expiries */
};

extern const uint8_t follow_table[FOLLOW_SIZE]; /* the exported table, in flash */

/* Check the whole table and take the rest positions. cause: FOLLOW_POWER_ON to FOLLOW_WATCHDOG. Bound: FOLLOW_SIZE. */
void follow_start(struct follow *f, uint8_t cause);

/* One scan, to be called every FOLLOW_SCAN_MS. Then f->outputs holds a position for every output.
 * Bound: conditions, literals, rows of one state, inhibits, FOLLOW_SLICE bytes. */
void follow_scan(struct follow *f);

/* Pack the conditions (condition n in byte n / 8, bit n mod 8) and return the log record of what just happened, FOLLOW_RECORD
 * bytes inside *f. To be called while f->tell is not 0: after follow_start, a move, or coming to rest. Bound: FOLLOW_BITS. */
const uint8_t *follow_record(struct follow *f);
#endif
