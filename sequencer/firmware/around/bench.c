/* Bench mode, in place of main.c: a computer feeds the inputs over the serial line and gets every scan's result back.
 * Hazardous outputs are held at their rest positions, whatever the table says. Lines of text, one answer per line;
 * numbers in hexadecimal, two digits per byte, least byte first:
 *   I                       -> I checksum:4 contacts readings links outputs conditions states scan:2 title
 *   R cause                 -> T trace            start anew, as after a reset
 *   S words contacts heard  -> T trace            one scan of these inputs
 *   P state timer scan      -> T trace            placed by hand (for tests)
 *   W                       -> W words contacts heard, as the board reads them now: the wiring's self-test
 *   O output position       -> O                  drives one output that is not hazardous, for the wiring's self-test
 * An answer to anything else is "?". A trace is: first-out, log record (its kind 0 when none is due), outputs asked for, outputs written. */
#include "board.h"

#define BENCH_INPUTS (2u * FOLLOW_ANALOGS + FOLLOW_CONTACTS + FOLLOW_HEARTBEATS)
#define BENCH_LINE (BENCH_INPUTS > 9u ? BENCH_INPUTS : 9u)

static const uint8_t hazardous[FOLLOW_OUTPUTS + 1u] = { FOLLOW_HAZARDOUS };
static const uint8_t rest[FOLLOW_OUTPUTS + 1u] = { FOLLOW_REST };
static struct follow box;

static void put_byte(uint8_t byte)
{
    for (uint8_t i = 0; i != 2u; i++, byte = (uint8_t)(byte << 4)) board_put("0123456789ABCDEF"[byte >> 4]);
}

static void put_all(const uint8_t *bytes, uint8_t count)
{
    for (; count > 0u; count--) put_byte(*bytes++);
}

static void write_all(void)
{
    for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++) board_write(i, hazardous[i] ? rest[i] : box.outputs[i]);
}

/* Read a line of hexadecimal bytes behind its letter, feeding the watchdog; 0xFF bytes: none such. */
static uint8_t get_line(char *letter, uint8_t *bytes)
{
    uint8_t digits = 0;
    *letter = 0;
    for (;;) {
        int16_t c = board_get();
        board_watchdog();
        if (c == '\n') return digits & 1u ? 0xFFu : digits / 2u;
        if (c < '0') continue; /* nothing, a blank or a carriage return */
        if (*letter == 0) {
            *letter = (char)c;
        } else if (digits < 2u * BENCH_LINE) {
            uint8_t digit = (uint8_t)(c <= '9' ? c - '0' : (c & 0x5F) - 'A' + 10);
            if (digit > 15u) *letter = '?';
            digit &= 15u;
            bytes[digits / 2u] = digits & 1u ? (uint8_t)((uint8_t)(bytes[digits / 2u] << 4) | digit) : digit;
            digits++;
        } else {
            *letter = '?';
        }
    }
}

static uint32_t number(const uint8_t *at)
{
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

static void trace(void)
{
    write_all();
    board_put('T');
    put_byte((uint8_t)box.first_out);
    put_byte((uint8_t)(box.first_out >> 8));
    put_all(follow_record(&box), FOLLOW_RECORD);
    put_all(box.outputs, FOLLOW_OUTPUTS);
    for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++) put_byte(hazardous[i] ? rest[i] : box.outputs[i]);
}

static void inputs(const uint8_t *at)
{
    for (uint8_t i = 0; i != FOLLOW_ANALOGS; i++, at += 2) box.words[i] = (uint16_t)(at[0] | (uint16_t)(at[1] << 8));
    for (uint8_t i = 0; i != FOLLOW_CONTACTS; i++) box.contacts[i] = *at++;
    for (uint8_t i = 0; i != FOLLOW_HEARTBEATS; i++) box.heard[i] = *at++;
}

static void wiring(void)
{
    board_read(&box);
    board_put('W');
    for (uint8_t i = 0; i != FOLLOW_ANALOGS; i++) {
        put_byte((uint8_t)box.words[i]);
        put_byte((uint8_t)(box.words[i] >> 8));
    }
    put_all(box.contacts, FOLLOW_CONTACTS);
    put_all(box.heard, FOLLOW_HEARTBEATS);
}

static void identity(void)
{
    const uint8_t sizes[] = { FOLLOW_CONTACTS, FOLLOW_ANALOGS, FOLLOW_HEARTBEATS, FOLLOW_OUTPUTS, FOLLOW_BITS, FOLLOW_STATES };
    uint32_t sum = FOLLOW_CHECKSUM;
    board_put('I');
    for (uint8_t i = 0; i != 4u; i++, sum >>= 8) put_byte((uint8_t)sum);
    put_all(sizes, sizeof sizes);
    put_byte((uint8_t)FOLLOW_SCAN_MS);
    put_byte((uint8_t)(FOLLOW_SCAN_MS >> 8));
    for (const char *c = FOLLOW_TITLE; *c; c++) board_put(*c);
}

int main(void)
{
    uint8_t bytes[BENCH_LINE + 1u];
    char letter;
    follow_start(&box, board_start());
    write_all();
    for (;;) {
        uint8_t count = get_line(&letter, bytes);
        if (letter == 'I' && count == 0u) {
            identity();
        } else if (letter == 'W' && count == 0u) {
            wiring();
        } else if (letter == 'R' && count == 1u) {
            follow_start(&box, bytes[0]);
            trace();
        } else if (letter == 'S' && count == BENCH_INPUTS) {
            inputs(bytes);
            follow_scan(&box);
            trace();
        } else if (letter == 'P' && count == 9u) {
            box.state = bytes[0];
            box.mirror = bytes[0] ^ 0xFFu;
            box.timer = FOLLOW_LONG || number(bytes + 1) < 0xFFFFu ? (follow_time)number(bytes + 1) : 0xFFFFu;
            for (uint8_t i = 0, less = 1; box.settled != 0u && i != 4u; i++) { /* the number of the scan before */
                box.number[i] = (uint8_t)(bytes[5u + i] - less);
                if (bytes[5u + i] != 0u) less = 0;
            }
            box.tell = 0;
            trace();
        } else if (letter == 'O' && count == 2u && bytes[0] < FOLLOW_OUTPUTS && !hazardous[bytes[0]]) {
            board_write(bytes[0], bytes[1]);
            board_put('O');
        } else {
            board_put('?');
        }
        board_put('\n');
    }
}
