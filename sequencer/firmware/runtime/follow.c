/* follow: see follow.h. Every number from the table is held against its limit before it is used as an index, so that no
 * table, however damaged, reads or writes beyond its array; one that fails sends the box to rest with FOLLOW_DAMAGED. */
#include <stdbool.h>
#include "follow.h"
#if defined(__AVR__)
#define BYTE(at) pgm_read_byte(at)
#else
#define BYTE(at) (*(at))
#endif
#define COUNT_OF(list) (BYTE(list) & COUNT)

enum { CONTACT, PRESS, AT_LEAST, BELOW, VALID, HEARD, DIFFERS, CHANGE, TARGET, STATE, COMMAND, ALL, MEMORY };
enum { KIND = 0x0F, OPPOSITE = 0x10, EXTRA = 0x20, HOLD = 0x40, DROP = 0x80 }; /* first byte of a condition */
enum { COUNT = 0x3F, INVERT = 0x40, LEAST = 0x80, TRIP = 0x80 };               /* first byte of a list; of a row */
enum { STABLE = 1, CHANGED = 2, SEEN_OPEN = 4, SEEN_CLOSED = 8 };              /* follow.contact */
enum { NOW = 1, BEFORE = 2 };                                                  /* follow.bits */
static const uint8_t rest[FOLLOW_ROOM(FOLLOW_OUTPUTS)] FOLLOW_FLASH = { FOLLOW_REST };
static const uint8_t sources[] FOLLOW_FLASH = { /* per kind: how many things it may name */
    FOLLOW_CONTACTS, FOLLOW_CONTACTS, FOLLOW_ANALOGS, FOLLOW_ANALOGS, FOLLOW_ANALOGS, FOLLOW_HEARTBEATS, FOLLOW_ANALOGS,
    FOLLOW_ANALOGS, FOLLOW_ANALOGS, FOLLOW_STATES, FOLLOW_OUTPUTS * 4u, 1, 1, 0, 0, 0 };

static uint16_t word(const uint8_t *at) { return (uint16_t)(BYTE(at) | (uint16_t)(BYTE(at + 1) << 8)); }
static uint32_t wide(const uint8_t *at) { return word(at) | (uint32_t)word(at + 2) << 16; }
static const uint8_t *state_record(uint8_t state) { return follow_table + FOLLOW_STATES_AT + FOLLOW_STRIDE * state; }

/* The truth of the literal list at `at`. Bound: 63 literals. */
static bool holds(const struct follow *f, const uint8_t *at)
{
    uint8_t head = BYTE(at);
    bool all = (head & INVERT) == 0;
    if (at >= follow_table + FOLLOW_CONTACTS_AT) return false;
    for (head &= COUNT; head > 0u; head--) {
        uint8_t literal = BYTE(++at), i = literal & 0x7Fu;
        if (i >= FOLLOW_ROOM(FOLLOW_BITS) || (f->bits[i] & NOW) != literal >> 7) return !all;
    }
    return all;
}

/* `raw`, once it has differed from `was` at a scan and at `limit` scans after it; counter: scans so far. */
static bool delayed(bool raw, bool was, uint16_t *counter, uint16_t limit)
{
    if (raw != was && *counter < limit) {
        ++*counter;
        return was;
    }
    *counter = 0;
    return raw;
}

/* Filter the contacts, judge the readings, count the silences. Bound: the number of inputs. */
static void sample(struct follow *f)
{
    const uint8_t *at = follow_table + FOLLOW_CONTACTS_AT;
    bool all = true, fresh = f->settled == 0u, running = f->settled == 2u, entered = running && f->timer == 0u;
    for (uint8_t i = 0; i != FOLLOW_CONTACTS; i++, at += 2) {
        uint8_t flags = (uint8_t)(f->contact[i] & (entered ? STABLE : ~CHANGED));
        bool level = f->in.contacts[i] != 0u, stable = flags & STABLE;
        uint16_t steady = word(at);
        if (fresh) {
            flags = level;
        } else if (running) {
            if (delayed(level, stable, &f->filter[i], steady) != stable) flags ^= STABLE | CHANGED;
        } else if (level != stable) {
            flags ^= STABLE;
            f->filter[i] = 0;
        } else if (f->filter[i] < steady) {
            f->filter[i]++;
        }
        if (f->filter[i] < steady) all = false;
        if (level == (flags & (STABLE | CHANGED))) flags = (uint8_t)(flags | (level ? SEEN_CLOSED : SEEN_OPEN));
        f->contact[i] = flags;
    }
    if (!running) {
        f->settled = all ? 2 : 1;
        for (uint8_t i = 0; all && i != FOLLOW_CONTACTS; i++) f->filter[i] = 0;
    }
    at = follow_table + FOLLOW_ANALOGS_AT;
    for (uint8_t i = 0; i != FOLLOW_ANALOGS; i++, at += 4)
        f->valid[i] = f->in.counts[i] >= word(at) && f->in.counts[i] <= word(at + 2);
    for (uint8_t i = 0; i != FOLLOW_HEARTBEATS; i++)
        if (f->in.heard[i]) f->silence[i] = 0;
        else if (f->silence[i] != FOLLOW_NONE) f->silence[i]++;
}

/* Work out every condition bit in order; false when the table is damaged. Bound: FOLLOW_BITS turns. */
static bool conditions(struct follow *f)
{
    const uint8_t *at = follow_table + FOLLOW_BITS_AT;
    uint8_t slot = 0;
    for (uint8_t i = 0; i != FOLLOW_BITS; i++) {
        if (at >= follow_table + FOLLOW_INHIBITS_AT) return false;
        bool value = false, valid = true, was = f->bits[i] & NOW, mark = f->bits[i] & BEFORE; /* of the scan before */
        uint8_t head = BYTE(at++), kind = head & KIND, source = kind < ALL ? BYTE(at++) : 0u, second;
        uint16_t counts = 0, limit, *counter = &f->counters[slot];
        if (source >= BYTE(sources + kind)) return false;
        if (kind >= AT_LEAST && kind <= TARGET && kind != HEARD) {
            counts = f->in.counts[source];
            valid = f->valid[source];
        }
        switch (kind) {
        case CONTACT:
            value = f->contact[source] & STABLE;
            break;
        case PRESS: /* changed in this scan to the level wanted, and the other one was seen before in this state */
            second = head & OPPOSITE ? CHANGED | SEEN_CLOSED : CHANGED | STABLE | SEEN_OPEN;
            value = (f->contact[source] & (second | STABLE)) == second;
            head = PRESS;
            break;
        case VALID:
            value = valid;
            valid = true;
            break;
        case AT_LEAST:
        case BELOW: /* a drop-out is the limit while the bit was true before its delays */
            limit = word(head & EXTRA && mark ? at + 2 : at);
            at += head & EXTRA ? 4 : 2;
            value = (counts >= limit) != (kind == BELOW);
            break;
        case HEARD:
            value = f->silence[source] <= word(at);
            at += 2;
            break;
#if FOLLOW_KINDS >> 6 & 1
        case DIFFERS:
            second = BYTE(at);
            if (second >= FOLLOW_ROOM(FOLLOW_ANALOGS)) return false;
            valid = valid && f->valid[second];
            limit = f->in.counts[second];
            value = (uint16_t)(counts > limit ? counts - limit : limit - counts) >= word(at + 1);
            at += 3;
#if FOLLOW_SCALED
            if (head & EXTRA) { /* |gain * counts - gain * counts + offset|; the exporter has shown that it fits */
                uint32_t d = wide(at) * counts - wide(at + 4) * limit + wide(at + 8);
                value = (d >> 31 ? 0u - d : d) >= wide(at + 12);
                at += 16;
            }
#endif
            break;
#endif
#if FOLLOW_KINDS >> 7 & 1
        case CHANGE: /* counter: scans since the bit rose (FOLLOW_NONE: invalid then); the reading at the rise */
            second = BYTE(at);
            if (second >= FOLLOW_BITS || slot + 1u >= FOLLOW_ROOM(FOLLOW_COUNTERS)) return false;
            limit = word(at + 3);
            value = f->bits[second] & NOW;
            if (!mark) {
                counter[0] = valid ? 0u : FOLLOW_NONE;
                counter[1] = counts;
            } else if (counter[0] < limit) {
                counter[0]++;
            }
            mark = value;
            valid = valid && mark && counter[0] >= limit && counter[0] != FOLLOW_NONE;
            limit = (uint16_t)(head & EXTRA ? counter[1] - counts : counts - counter[1]);
            value = (head & EXTRA ? counts <= counter[1] : counts >= counter[1]) && limit >= word(at + 1);
            at += 5;
            slot = (uint8_t)(slot + 2u);
            counter += 2;
            break;
#endif
#if FOLLOW_KINDS >> 8 & 1
        case TARGET: /* a new target begins without drop-out: the timer is 0 in the first scan after a move */
            second = BYTE(at);
            if (second >= FOLLOW_COLUMNS) return false;
            limit = word(state_record(f->state) + FOLLOW_STRIDE - 2u * FOLLOW_COLUMNS + 2u * second);
            valid = valid && limit != FOLLOW_NONE;
            value = counts >= limit || (mark && f->timer != 0u && (uint16_t)(limit - counts) <= word(at + 1));
            at += 3;
            break;
#endif
        case STATE:
            value = f->state == source;
            break;
        case COMMAND:
            value = f->outputs[source >> 2] == (source & 3u);
            break;
        case ALL:
            value = holds(f, at);
            at += 1 + COUNT_OF(at);
            break;
        case MEMORY: /* clearing wins; setting starts the expiry anew */
            limit = FOLLOW_NONE;
            if (head & EXTRA) {
                limit = word(at);
                at += 2;
            }
            mark = holds(f, at);
            at += 1 + COUNT_OF(at);
            value = !holds(f, at) && (mark || was);
            at += 1 + COUNT_OF(at);
            if (!(head & EXTRA)) break;
            if (slot++ >= FOLLOW_ROOM(FOLLOW_COUNTERS)) return false;
            if (mark) *counter = 0;
            if (*counter >= limit) value = false;
            *counter = value ? (uint16_t)(*counter + 1u) : 0u;
            break;
        default:
            return false;
        }
        if (!valid) value = was = false; /* an invalid reading: false at once, also through an off-delay */
        else if (head & OPPOSITE) value = !value;
        if (kind != CHANGE) mark = value;
        if (head & (HOLD | DROP)) {
            if (slot++ >= FOLLOW_ROOM(FOLLOW_COUNTERS)) return false;
            limit = head & (was ? DROP : HOLD) ? word(was && head & HOLD ? at + 2 : at) : 0u;
            at += head & HOLD && head & DROP ? 4 : 2;
            value = delayed(value, was, counter, limit);
        }
        f->bits[i] = (uint8_t)(mark << 1 | value);
    }
    return true;
}

/* Take the first row of the state that holds; false when the table is damaged. Bound: 510 rows. */
static bool rows(struct follow *f)
{
    const uint8_t *record = state_record(f->state);
    uint16_t row = word(record + 6);
    for (uint8_t part = 0; part < 2u; part++, record += 3) { /* the rows it shares with others, then its own */
        const uint8_t *at = follow_table + FOLLOW_ROWS_AT;
        if (word(record) > FOLLOW_CONTACTS_AT - FOLLOW_ROWS_AT) return false;
        at += word(record);
        for (uint8_t left = BYTE(record + 2); left > 0u; left--, row++) {
            if (at >= follow_table + FOLLOW_CONTACTS_AT) return false;
            uint8_t to = BYTE(at), head = BYTE(at + 1);
            bool fires = holds(f, at + 1);
            at += 2 + (head & COUNT);
            if (head & LEAST) {
                uint32_t least = word(at);
                at += 2;
                if (least & 0x8000u) {
                    least = (least & 0x7FFFu) | (uint32_t)word(at) << 15;
                    at += 2;
                }
                if (f->timer < least) fires = false;
            }
            if (!fires) continue;
            if ((to & 0x7Fu) >= FOLLOW_STATES) return false;
            if (!(to & TRIP)) f->first_out = FOLLOW_NONE;
            else if (f->first_out == FOLLOW_NONE) f->first_out = row;
            f->row = row;
            f->from = f->state;
            f->state = to & 0x7Fu;
            f->mirror = f->state ^ 0xFFu;
            f->timer = 0;
            f->moved = 1;
            return true;
        }
    }
    if (f->timer != 0xFFFFFFFFu) f->timer++;
    return true;
}

/* The outputs of the state, then the inhibits; false when the table is damaged. Bound: outputs and inhibits. */
static bool outputs(struct follow *f)
{
    const uint8_t *at = state_record(f->state) + 8;
    for (uint8_t i = 0, packed = 0; i != FOLLOW_OUTPUTS; i++, packed = (uint8_t)(packed >> 2)) {
        if (i % 4u == 0u) packed = BYTE(at++);
        f->outputs[i] = packed & 3u;
    }
    at = follow_table + FOLLOW_INHIBITS_AT;
    for (uint8_t left = FOLLOW_INHIBITS; left > 0u; left--) {
        if (at >= follow_table + FOLLOW_ROWS_AT || BYTE(at) >= BYTE(sources + COMMAND)) return false;
        if (holds(f, at + 1)) f->outputs[BYTE(at) >> 2] = BYTE(at) & 3u;
        at += 2 + COUNT_OF(at + 1);
    }
    return true;
}

static void to_rest(struct follow *f, uint8_t code)
{
    f->code = code;
    for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++) f->outputs[i] = BYTE(rest + i);
}

/* Check `bytes` more bytes of the table; at its end the sum must be the one this program was built for. */
static void check(struct follow *f, uint16_t bytes)
{
    const uint32_t wanted = FOLLOW_CHECKSUM;
    uint32_t sum = f->check;
    uint16_t at = f->check_at;
    for (; bytes > 0u; bytes--) {
        sum ^= BYTE(follow_table + at);
        for (uint8_t i = 8; i > 0u; i--) sum = (sum >> 1) ^ (sum & 1u ? 0xEDB88320u : 0u);
        if (++at < FOLLOW_SIZE - 4u) continue;
        if (~sum != wanted || wide(follow_table + at) != wanted) f->code = FOLLOW_DAMAGED;
        at = 0;
        sum = 0xFFFFFFFFu;
    }
    f->check_at = at;
    f->check = sum;
}

void follow_start(struct follow *f, uint8_t cause)
{
    uint8_t *byte = (uint8_t *)f;
    for (uint16_t left = sizeof *f; left > 0u; left--) *byte++ = 0;
    for (uint8_t i = 0; i != FOLLOW_HEARTBEATS; i++) f->silence[i] = FOLLOW_NONE;
    f->mirror = 0xFF;
    f->cause = cause;
    f->row = f->first_out = FOLLOW_NONE;
    f->check = 0xFFFFFFFFu;
    if (wide(follow_table) != 0x574F4C46u) f->code = FOLLOW_FOREIGN;
    else if (BYTE(follow_table + 4) != 1u) f->code = FOLLOW_NEWER;
    else check(f, FOLLOW_SIZE - 4u);
    if (f->code == FOLLOW_FINE && (uint8_t)(cause - 1u) >= FOLLOW_WATCHDOG) f->code = FOLLOW_UNKNOWN_RESET;
    to_rest(f, f->code);
}

void follow_scan(struct follow *f)
{
    f->moved = 0;
    if (f->code == FOLLOW_FINE && (f->state >= FOLLOW_STATES || (f->state ^ f->mirror) != 0xFF || f->settled > 2u))
        f->code = FOLLOW_IMPOSSIBLE;
    if (f->code == FOLLOW_FINE) {
        sample(f);
        if ((f->settled == 2u && !(conditions(f) && rows(f))) || !outputs(f)) f->code = FOLLOW_DAMAGED;
        check(f, FOLLOW_SLICE);
    }
    if (f->code != FOLLOW_FINE) to_rest(f, f->code);
    f->scan++;
}

void follow_record(const struct follow *f, uint8_t record[FOLLOW_RECORD])
{
    bool first = f->settled == 0u;
    uint32_t number = first ? wide(follow_table + FOLLOW_SIZE - 4u) : f->scan - 1u;
    *record++ = first ? 'P' : f->code == FOLLOW_FINE ? 'M' : 'R';
    for (uint8_t i = 4; i > 0u; i--, number >>= 8) *record++ = (uint8_t)number;
    *record++ = f->from;
    *record++ = f->state;
    *record++ = (uint8_t)f->row;
    *record++ = (uint8_t)(f->row >> 8);
    *record++ = f->code;
    *record++ = f->cause;
    for (uint8_t i = 0, mask = 1; i != FOLLOW_BITS; i++, mask = (uint8_t)(mask << 1)) {
        if (i % 8u == 0u) *record++ = 0, mask = 1;
        if (f->bits[i] & NOW) record[-1] |= mask;
    }
}
