/* follow: see follow.h. Every number from the table is held against its limit before it is used as an index, so that no
 * table, however damaged, reads or writes beyond its array; one that fails sends the box to rest with FOLLOW_DAMAGED. */
#include <stdbool.h>
#include "follow.h"

/* What a condition does, its first byte: COMPARE has none of the first four, CHANGE is PAIR and SINCE. */
enum { LISTS = 0x01, MATCH = 0x02, TARGET = 0x04, SINCE = 0x04, PAIR = 0x08, EXTRA = 0x10, DELAYS = 0x40, OPPOSITE = 0x80 };
enum { COUNT = 0x1F, LAST = 0x20, LEAST = 0x40, ANY = 0x80, TRIP = 0x80 }; /* first byte of a list; of a row */
enum { STABLE = 1, CHANGED = 2, SEEN_OPEN = 4, SEEN_CLOSED = 8 };   /* flags of a contact */
enum { NOW = 0x80, BEFORE = 0x40, WATCHED = 0x20 };                 /* follow.bits */
enum { STATE_AT = FOLLOW_OUTPUTS, WORDS_AT, FLAGS_AT = WORDS_AT + 3u * FOLLOW_WORDS }; /* follow.outputs */
enum { DROP_OUT = 1, TARGETS = 2, PAIRS = 4, CHANGES = 8, SCALES = 16, MEMORIES = 32 };
#define USES(what) (FOLLOW_USES & (what)) /* what the table does not use costs no flash */
static const uint8_t rest[] FOLLOW_FLASH = { FOLLOW_RESTS };

static uint16_t word_at(const uint8_t *cell) { return (uint16_t)(cell[0] | cell[1] << 8); }
static const uint8_t *state_record(uint8_t state) { return follow_table + FOLLOW_STATES_AT + (uint16_t)FOLLOW_STRIDE * state; }

/* The end of the literal list at `at`, and whether it holds: of an "any" list how many literals are left from the first
 * that does, else 1; 0 if it does not. Bound: 31 literals. */
struct list { const uint8_t *end; uint8_t held; };
static struct list list(const struct follow *f, const uint8_t *at)
{
    uint8_t head = follow_u8(&at), left = head & COUNT;
    const uint8_t *end = at + left;
    //@ loop unroll 31;
    for (; left > 0u; left--) {
        uint8_t literal = follow_u8(&at), i = literal & 0x7Fu;
        if (i >= FOLLOW_ROOM(FOLLOW_BITS) || (f->bits[i] ^ literal ^ head) & NOW) break;
    }
    if (!(head & ANY)) left = left == 0u;
    return (struct list){ end, left };
}

/* Filter the contacts, judge the readings, count the silences. Bound: the number of inputs. */
static void sample(struct follow *f, bool fresh)
{
    const uint8_t *at = follow_table + FOLLOW_CONTACTS_AT, *contact = f->contacts;
    const uint8_t keep = fresh ? STABLE : (uint8_t)~CHANGED;
    uint8_t settled = 2, *own = f->outputs + FLAGS_AT;
    for (uint8_t left = FOLLOW_CONTACTS; left > 0u; left--, own++) {
        uint8_t flags = own[0], count = own[FOLLOW_CONTACTS], level = *contact++ & 1u, steady = follow_u8(&at);
        uint8_t flip = (flags ^ level) & STABLE;
        flags &= keep;
        if (f->settled != 2u) { /* count: scans it has stood */
            if (count < steady) count++;
            if (flip || f->settled == 0u) count = 0;
            if (count < steady) settled = 1;
        } else if (flip && count > 0u) {
            count--; /* scans still to stand */
            flip = 0;
        } else {
            if (flip) flip = STABLE | CHANGED;
            count = steady;
        }
        flags ^= flip;
        if (level == (flags & (STABLE | CHANGED))) flags |= (uint8_t)((level + 1u) * SEEN_OPEN);
        own[0] = flags;
        own[FOLLOW_CONTACTS] = count;
    }
    f->settled = settled;
    own = f->outputs + WORDS_AT;
    for (uint8_t i = 0; i != FOLLOW_ANALOGS; i++, own += 3) {
        uint16_t counts = f->words[i], over = (uint16_t)(counts - follow_u16(&at));
        own[0] = (uint8_t)counts;
        own[1] = (uint8_t)(counts >> 8);
        own[2] = over <= follow_u16(&at);
    }
    for (uint8_t i = 0; i != FOLLOW_HEARTBEATS; i++, own += 3) {
        uint16_t age = word_at(own);
        if (age != 0xFFFFu) age++;
        if (f->heard[i]) age = 0;
        own[0] = (uint8_t)age;
        own[1] = (uint8_t)(age >> 8);
    }
}

/* Work out every condition in order; false when the table is damaged. Bound: FOLLOW_BITS turns. */
static bool conditions(struct follow *f, bool fresh)
{
    const uint8_t *at = follow_table + FOLLOW_BITS_AT;
    uint16_t *counter = f->counters;
    f->outputs[STATE_AT] = f->state;
    for (uint8_t *bit = f->bits; bit < f->bits + FOLLOW_BITS; bit++) {
        if (at >= follow_table + FOLLOW_INHIBITS_AT || counter > f->counters + FOLLOW_COUNTERS) return false;
        uint8_t head = follow_u8(&at), was = *bit, value = 0, valid = 1;
        if (head & LISTS) { /* with EXTRA a memory: set while the first list holds, and cleared by the second */
            struct list said = list(f, at);
            at = said.end;
            value = said.held ? NOW : 0;
            if (USES(MEMORIES) && head & EXTRA) {
                said = list(f, at);
                at = said.end;
                if (!(head & DELAYS)) value = (uint8_t)(value | (was & NOW)); /* else its off-delay is its expiry */
                if (said.held) valid = 0;
            }
        } else {
            uint8_t source = follow_u8(&at);
            if (source >= FOLLOW_CELLS) return false;
            const uint8_t *cell = f->outputs + source;
            if (head & MATCH) {
                uint8_t wanted = follow_u8(&at), unlike = *cell ^ wanted;
                if (!(head & EXTRA)) unlike &= wanted >> 4;
                if (unlike == 0) value = NOW;
            } else {
                uint16_t number = word_at(cell), limit = 0;
                valid = cell[2];
                if (USES(PAIRS) && head & PAIR) {
                    uint8_t second = follow_u8(&at);
                    uint16_t other;
                    limit = follow_u16(&at);
                    if (USES(CHANGES) && head & SINCE) { /* since condition `second` rose: its age, and the reading then */
                        uint16_t over = follow_u16(&at), age = counter[0];
                        if (second >= FOLLOW_BITS) return false;
                        if (head & EXTRA) number = (uint16_t)~number; /* a fall is a rise of the complement */
                        if (f->bits[second] & NOW) {
                            value = WATCHED;
                            if (!(was & WATCHED)) age = valid ? 0u : over + 1u, counter[1] = number;
                            else if (age < over) age++;
                            counter[0] = age;
                        }
                        if (!value || age != over) valid = 0;
                        other = counter[1];
                        counter += 2;
                        if (number < other) other = number, limit = 1; /* less than any rise */
                    } else {
                        if (second >= FOLLOW_CELLS) return false;
                        cell = f->outputs + second;
                        other = word_at(cell);
                        valid &= cell[2];
                        if (USES(SCALES) && head & EXTRA) { /* |gain * number - gain * other + offset|: the exporter shows that it fits */
                            uint32_t d = follow_u32(&at) * number;
                            d -= follow_u32(&at) * other;
                            d += follow_u32(&at);
                            number = (d >> 31 ? 0u - d : d) >= follow_u32(&at);
                            other = 0;
                        }
                        if (number < other) other = (uint16_t)~other, number = (uint16_t)~number;
                    }
                    number = (uint16_t)(number - other);
                } else {
                    uint8_t given = valid, pieces = 1, state = f->state;
                    if (USES(TARGETS) && head & TARGET) { /* one limit per state that gives one; a new one begins without drop-out */
                        if (USES(DROP_OUT) && fresh) was &= (uint8_t)~BEFORE;
                        pieces = follow_u8(&at);
                        given = 0;
                        if (pieces > FOLLOW_STATES) return false;
                    }
                    //@ loop unroll 127;
                    for (; pieces > 0u; pieces--) {
                        if (USES(TARGETS) && head & TARGET) state = follow_u8(&at);
                        uint16_t on = follow_u16(&at);
                        if (USES(DROP_OUT) && head & EXTRA) {
                            uint16_t drop = follow_u16(&at);
                            if (was & BEFORE) on = drop;
                        }
                        if (state == f->state) limit = on, given = valid;
                    }
                    valid = given;
                }
                if (number >= limit) value |= NOW;
            }
            value = (uint8_t)(value ^ (head & OPPOSITE));
        }
        if (!valid) value &= WATCHED, was = 0; /* an invalid reading, a memory cleared: false at once, also through an off-delay */
        value = (uint8_t)(value | value >> 1);
        if (head & DELAYS) {
            uint16_t hold = follow_u16(&at), drop = follow_u16(&at), count = *counter;
            if (was & NOW) hold = drop;
            if ((value ^ was) & NOW && count < hold) value ^= NOW, count++;
            else count = 0;
            *counter++ = count;
        }
        *bit = value;
    }
    return true;
}

/* Take the first row of the state that holds; false when the table is damaged. Bound: the bytes of the rows. */
static bool rows(struct follow *f)
{
    const uint8_t *record = state_record(f->state);
    uint8_t place = 1;
    for (uint8_t part = 0; part < 2u; part++) { /* the rows it shares with others, then its own */
        const uint16_t start = follow_u16(&record);
        if (start > FOLLOW_CONTACTS_AT - FOLLOW_ROWS_AT) continue; /* none */
        const uint8_t *at = follow_table + FOLLOW_ROWS_AT + start;
        uint8_t head = 0;
        while (!(head & LAST)) {
            if (at >= follow_table + FOLLOW_CONTACTS_AT) return false;
            const uint8_t to = follow_u8(&at), state = to & 0x7Fu, *peek = at;
            const struct list said = list(f, at);
            head = follow_u8(&peek);
            at = said.end;
            place = (uint8_t)(place + (head & ANY ? head & COUNT : 1u));
            if (head & LEAST) {
                follow_time least = follow_u16(&at);
                if (FOLLOW_LONG) least |= (follow_time)((uint32_t)follow_u8(&at) << 16);
                if (f->timer < least) continue;
            }
            if (!said.held) continue;
            if (state >= FOLLOW_STATES) return false;
            f->place = (uint8_t)(place - said.held);
            f->from = f->state;
            f->state = state;
            f->mirror = (uint8_t)~state;
            if (!(to & TRIP)) f->first_out = 0;
            else if ((uint8_t)f->first_out == 0u) f->first_out = (uint16_t)(f->from << 8 | f->place);
            f->timer = 0;
            f->tell = FOLLOW_MOVED;
            return true;
        }
    }
    if (++f->timer == 0u) f->timer--; /* no row waits for more */
    return true;
}

/* Positions packed two bits each. Bound: FOLLOW_OUTPUTS. */
static void unpack(struct follow *f, const uint8_t *at)
{
    uint8_t packed = 0;
    //@ loop unroll 63;
    for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++, packed >>= 2) {
        if (i % 4u == 0) packed = follow_u8(&at);
        f->outputs[i] = packed & 3;
    }
}

/* The outputs of the state, then the inhibits; false when the table is damaged. Bound: outputs and inhibits. */
static bool outputs(struct follow *f)
{
    const uint8_t *at = follow_table + FOLLOW_INHIBITS_AT;
    unpack(f, state_record(f->state) + 4);
    for (uint8_t left = FOLLOW_INHIBITS; left > 0u; left--) {
        if (at >= follow_table + FOLLOW_ROWS_AT) return false;
        uint8_t what = follow_u8(&at), output = what >> 2;
        const struct list said = list(f, at);
        at = said.end;
        if (output > FOLLOW_OUTPUTS) return false;
        if (said.held) f->outputs[output] = what & 3;
    }
    return true;
}

/* Judge the sum behind the last byte of the table and begin anew, then take the next byte into it. */
static void check(struct follow *f)
{
    uint8_t low = f->sum[0], high = f->sum[1];
    uint16_t at = f->check_at;
    if (at >= FOLLOW_SIZE) {
        if (low != 0xB8 || high != 0xF0) f->code = FOLLOW_DAMAGED; /* every right image leaves 0xF0B8 */
        low = high = 0xFF;
        at = 0;
    }
    const uint8_t *byte = follow_table + at;
    low ^= follow_u8(&byte);
    low ^= (uint8_t)(low << 4);
    const uint16_t wide = (uint16_t)(low * 8u);
    f->sum[0] = (uint8_t)(high ^ low >> 4 ^ wide);
    f->sum[1] = (uint8_t)(low ^ wide >> 8);
    f->check_at = ++at;
}

void follow_start(struct follow *f, uint8_t cause)
{
    const uint8_t *version = follow_table + 4, *sum = follow_table + FOLLOW_SIZE - 6u;
    const uint8_t other = follow_u8(&version) > FOLLOW_VERSION ? FOLLOW_NEWER : FOLLOW_FOREIGN;
    uint32_t wanted = FOLLOW_CHECKSUM;
    *f = (struct follow){ .tell = FOLLOW_STARTED, .mirror = 0xFF, .sum = { 0xFF, 0xFF }, .cause = cause };
    uint8_t *cell = f->outputs + WORDS_AT + 3u * FOLLOW_ANALOGS;
    for (uint8_t left = FOLLOW_HEARTBEATS; left > 0u; left--, cell += 3) {
        cell[0] = cell[1] = 0xFF;
        cell[2] = 1; /* a silence is always a valid number */
    }
    for (uint16_t left = FOLLOW_SIZE + 1u; left > 0u; left--) check(f);
    if (f->code == FOLLOW_FINE && (uint8_t)(cause - 1u) >= FOLLOW_WATCHDOG) f->code = FOLLOW_UNKNOWN_RESET;
    for (uint8_t i = 0; i != 4u; i++, wanted >>= 8) {
        f->number[i] = follow_u8(&sum);
        if (f->number[i] != (uint8_t)wanted) f->code = other;
    }
    unpack(f, rest);
}

void follow_scan(struct follow *f)
{
    const bool fresh = f->timer == 0u; /* as in the first scan after a move */
    for (uint8_t i = 0; i != 4u; i++) {
        if (f->settled == 0u) f->number[i] = 0;
        else if (++f->number[i] != 0u) break;
    }
    f->tell = 0;
    if (f->code == FOLLOW_FINE) {
        if (f->state >= FOLLOW_STATES || (f->state ^ f->mirror) != 0xFF) {
            f->code = FOLLOW_IMPOSSIBLE;
        } else {
            sample(f, fresh);
            if ((f->settled == 2u && !(conditions(f, fresh) && rows(f))) || !outputs(f)) f->code = FOLLOW_DAMAGED;
            for (uint8_t left = FOLLOW_SLICE; left > 0u; left--) check(f);
        }
        if (f->code == FOLLOW_FINE) return;
        f->tell = FOLLOW_RESTED;
    }
    unpack(f, rest);
}

const uint8_t *follow_record(struct follow *f)
{
    for (uint8_t i = 0; i != 8u * (FOLLOW_RECORD - 10u); i++) {
        uint8_t *to = &f->packed[i / 8u];
        *to = (uint8_t)(*to >> 1 | (f->bits[i] & NOW));
    }
    return &f->tell;
}
