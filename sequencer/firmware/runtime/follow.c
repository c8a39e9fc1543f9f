/* follow: see follow.h. Every number from the table is held against its limit before it is used as an index, so that no
 * table, however damaged, reads or writes beyond its array; one that fails sends the box to rest with FOLLOW_DAMAGED. */
#include <stdbool.h>
#include "follow.h"
#if defined(__AVR__)
#define BYTE(at) pgm_read_byte(at)
#else
#define BYTE(at) (*(at))
#endif

enum { COPY, PRESS, EQUAL, COMPARE, TARGET, DIFFERS, CHANGE, ALL, MEMORY };
enum { KIND = 0x0F, OPPOSITE = 0x10, EXTRA = 0x20, HOLD = 0x40, DROP = 0x80 }; /* first byte of a condition */
enum { COUNT = 0x3F, INVERT = 0x40, LEAST = 0x80, TRIP = 0x80 };               /* first byte of a list; of a row */
enum { STABLE = 1, CHANGED = 2, SEEN_OPEN = 4, SEEN_CLOSED = 8 };              /* follow.flags */
enum { NOW = 1, BEFORE = 2, SINCE = 4 };                                       /* follow.bits */
static const uint8_t rest[FOLLOW_ROOM(FOLLOW_OUTPUTS)] FOLLOW_FLASH = { FOLLOW_REST };

static uint16_t word(const uint8_t *at) { return (uint16_t)(BYTE(at) | (uint16_t)(BYTE(at + 1) << 8)); }
static uint32_t wide(const uint8_t *at) { return word(at) | (uint32_t)word(at + 2) << 16; }
static const uint8_t *state_record(uint8_t state) { return follow_table + FOLLOW_STATES_AT + FOLLOW_STRIDE * state; }

/* Work out whether the literal list at `at` holds, into f->held; returns the list's end. Bound: 63 literals. */
static const uint8_t *list(struct follow *f, const uint8_t *at)
{
    uint8_t head = BYTE(at++), count = head & COUNT;
    const uint8_t *end = at + count;
    f->held = (head & INVERT) == 0;
    for (; at < end; at++) {
        uint8_t literal = BYTE(at), i = literal & 0x7Fu;
        if (i < FOLLOW_ROOM(FOLLOW_BITS) && (f->bits[i] & NOW) == literal >> 7) continue;
        f->held ^= 1u;
        break;
    }
    return end;
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
    bool all = true, running = f->settled == 2u, entered = running && f->timer == 0u;
    for (uint8_t i = 0; i != FOLLOW_CONTACTS; i++, at += 2) {
        uint8_t flags = (uint8_t)(f->flags[i] & (entered ? STABLE : ~CHANGED)), level = f->contacts[i] & 1u;
        uint16_t *counter = &f->counters[i], steady = word(at);
        if (running) {
            if (delayed(level, flags & STABLE, counter, steady) != (flags & STABLE)) flags ^= STABLE | CHANGED;
        } else if (f->settled == 0u || level != (flags & STABLE)) {
            flags = (uint8_t)((flags & ~STABLE) | level);
            *counter = 0;
        } else if (*counter < steady) {
            ++*counter;
        }
        if (*counter < steady) all = false;
        if (level == (flags & (STABLE | CHANGED))) flags = (uint8_t)(flags | (level ? SEEN_CLOSED : SEEN_OPEN));
        f->flags[i] = flags;
    }
    if (!running) f->settled = all ? 2 : 1;
    for (uint8_t i = 0; !running && all && i != FOLLOW_CONTACTS; i++) f->counters[i] = 0;
    for (uint8_t i = 0; i != FOLLOW_ANALOGS; i++, at += 4)
        f->flags[FOLLOW_CONTACTS + i] = f->words[i] >= word(at) && f->words[i] <= word(at + 2);
    for (uint8_t i = 0; i != FOLLOW_HEARTBEATS; i++) {
        uint16_t *silence = &f->words[FOLLOW_ANALOGS + i];
        if (f->heard[i]) *silence = 0;
        else if (*silence != FOLLOW_NONE) ++*silence;
    }
}

/* Whether word `source` lies inside its valid band. */
static bool is_valid(const struct follow *f, uint8_t source) { return f->flags[FOLLOW_CONTACTS + source] & STABLE; }

/* Work out every condition bit in order; false when the table is damaged. Bound: FOLLOW_BITS turns. */
static bool conditions(struct follow *f)
{
    const uint8_t *at = follow_table + FOLLOW_BITS_AT;
    uint8_t slot = FOLLOW_CONTACTS;
    for (uint8_t i = 0; i != FOLLOW_BITS; i++) {
        if (at >= follow_table + FOLLOW_INHIBITS_AT || slot > FOLLOW_CONTACTS + FOLLOW_COUNTERS) return false;
        uint8_t head = BYTE(at), was = f->bits[i], source = BYTE(at + 1);
        bool value = false, valid = true;
        switch (head & KIND) {
        case COPY: /* of a filtered contact, or of a reading's validity */
            if (source > FOLLOW_CONTACTS + FOLLOW_WORDS) return false;
            value = f->flags[source] & STABLE;
            at += 2;
            break;
        case PRESS: /* changed in this scan to the level wanted, and the other one was seen before in this state */
            if (source > FOLLOW_CONTACTS) return false;
            source = f->flags[source];
            value = head & EXTRA ? (source & (CHANGED | STABLE | SEEN_CLOSED)) == (CHANGED | SEEN_CLOSED)
                                 : (source & (CHANGED | STABLE | SEEN_OPEN)) == (CHANGED | STABLE | SEEN_OPEN);
            at += 2;
            break;
        case EQUAL: /* a command of the last scan, or the state */
            if (source > FOLLOW_OUTPUTS) return false;
            value = (source == FOLLOW_OUTPUTS ? f->state : f->outputs[source]) == BYTE(at + 2);
            at += 3;
            break;
        case COMPARE: /* the drop-out is the limit while the bit was true before its delays */
            if (source >= FOLLOW_ROOM(FOLLOW_WORDS)) return false;
            value = f->words[source] >= word(head & EXTRA && was & BEFORE ? at + 4 : at + 2);
            valid = is_valid(f, source);
            at += head & EXTRA ? 6 : 4;
            break;
#if FOLLOW_KINDS >> 4 & 1 /* a kind that the table does not use costs no flash */
        case TARGET: { /* a new target begins without drop-out: the timer is 0 in the first scan after a move */
            uint16_t limit, drop = word(at + 2);
            uint8_t column = BYTE(at + 4);
            if (source >= FOLLOW_WORDS || column >= FOLLOW_COLUMNS) return false;
            limit = word(state_record(f->state) + FOLLOW_STRIDE - 2u * FOLLOW_COLUMNS + 2u * column);
            valid = is_valid(f, source) && limit != FOLLOW_NONE;
            if (was & BEFORE && f->timer != 0u) limit = (uint16_t)(limit > drop ? limit - drop : 0);
            value = f->words[source] >= limit;
            at += 5;
            break;
        }
#endif
#if FOLLOW_KINDS >> 5 & 1
        case DIFFERS: {
            uint8_t second = BYTE(at + 4);
            if (source >= FOLLOW_WORDS || second >= FOLLOW_WORDS) return false;
            uint16_t a = f->words[source], b = f->words[second];
            valid = is_valid(f, source) && is_valid(f, second);
            value = (a > b ? a - b : b - a) >= word(at + 2);
            at += 5;
#if FOLLOW_SCALED
            if (head & EXTRA) { /* |gain * counts - gain * counts + offset|; the exporter has shown that it fits */
                uint32_t d = wide(at) * a - wide(at + 4) * b + wide(at + 8);
                value = (d >> 31 ? 0u - d : d) >= wide(at + 12);
                at += 16;
            }
#endif
            break;
        }
#endif
#if FOLLOW_KINDS >> 6 & 1
        case CHANGE: { /* age: scans since bit `second` rose (FOLLOW_NONE: invalid then); base: the reading at the rise */
            uint8_t second = BYTE(at + 4);
            if (source >= FOLLOW_WORDS || second >= FOLLOW_BITS) return false;
            uint16_t counts = f->words[source], over = word(at + 5), *age = &f->counters[slot], *base = age + 1;
            if (head & EXTRA) counts ^= 0xFFFFu; /* a fall is a rise of the complement */
            valid = is_valid(f, source);
            if (!(was & SINCE)) {
                *age = valid ? 0u : FOLLOW_NONE;
                *base = counts;
            } else if (*age < over) {
                ++*age;
            }
            was &= (uint8_t)~SINCE;
            if (f->bits[second] & NOW) was |= SINCE;
            if (!(was & SINCE) || *age < over || *age == FOLLOW_NONE) valid = false;
            value = counts >= *base && (uint16_t)(counts - *base) >= word(at + 2);
            slot = (uint8_t)(slot + 2u);
            at += 7;
            break;
        }
#endif
        case ALL:
            at = list(f, at + 1);
            value = f->held;
            break;
        case MEMORY: { /* clearing wins; setting starts the expiry anew */
            uint16_t most = word(at + 1), *age = &f->counters[slot];
            at = list(f, head & EXTRA ? at + 3 : at + 1);
            value = f->held || (was & NOW);
            if (f->held) was = 0;
            at = list(f, at);
            if (f->held) value = false;
            if (!(head & EXTRA)) break;
            slot++;
            if (was & NOW && *age >= most) value = false;
            *age = (uint16_t)(!value ? 0 : was & NOW ? *age + 1 : 1);
            break;
        }
        default:
            return false;
        }
        if (head & OPPOSITE) value = !value;
        if (!valid) value = false, was &= (uint8_t)~NOW; /* an invalid reading: false at once, also through an off-delay */
        was = (uint8_t)(value ? was | BEFORE : was & ~BEFORE);
        if (head & (HOLD | DROP)) {
            uint16_t limit = 0;
            if (head & (was & NOW ? DROP : HOLD)) limit = word(was & NOW && head & HOLD ? at + 2 : at);
            at += head & HOLD && head & DROP ? 4 : 2;
            value = delayed(value, was & NOW, &f->counters[slot++], limit);
        }
        f->bits[i] = (uint8_t)((was & ~NOW) | value);
    }
    return true;
}

/* Take the first row of the state that holds; false when the table is damaged. Bound: 510 rows. */
static bool rows(struct follow *f)
{
    const uint8_t *record = state_record(f->state);
    uint16_t row = word(record + 6);
    for (uint8_t part = 0; part < 2u; part++, record += 3) { /* the rows it shares with others, then its own */
        uint16_t start = word(record);
        if (start > FOLLOW_CONTACTS_AT - FOLLOW_ROWS_AT) return false;
        const uint8_t *at = follow_table + FOLLOW_ROWS_AT + start;
        for (uint8_t left = BYTE(record + 2); left > 0u; left--, row++) {
            if (at >= follow_table + FOLLOW_CONTACTS_AT) return false;
            uint8_t to = BYTE(at++), next = to & 0x7Fu, head = BYTE(at);
            at = list(f, at);
            if (head & LEAST) {
                if (f->timer < (word(at) | (uint32_t)BYTE(at + 2) << 16)) f->held = 0;
                at += 3;
            }
            if (!f->held) continue;
            if (next >= FOLLOW_STATES) return false;
            f->from = f->state;
            f->state = next;
            f->mirror = next ^ 0xFFu;
            f->row = row;
            if (!(to & TRIP)) f->first_out = FOLLOW_NONE;
            else if (f->first_out == FOLLOW_NONE) f->first_out = row;
            f->timer = 0;
            f->moved = 1;
            return true;
        }
    }
    if (f->timer < 0x1000000u) f->timer++; /* no row waits for more */
    return true;
}

/* The outputs of the state, then the inhibits; false when the table is damaged. Bound: outputs and inhibits. */
static bool outputs(struct follow *f)
{
    const uint8_t *at = state_record(f->state) + 8;
    for (uint8_t left = FOLLOW_OUTPUTS, packed = 0; left > 0u; left--, packed = (uint8_t)(packed >> 2)) {
        uint8_t i = (uint8_t)(FOLLOW_OUTPUTS - left);
        if (i % 4u == 0u) packed = BYTE(at + i / 4u);
        f->outputs[i] = packed & 3u;
    }
    at = follow_table + FOLLOW_INHIBITS_AT;
    for (uint8_t left = FOLLOW_INHIBITS; left > 0u; left--) {
        uint8_t position = BYTE(at) & 3u, output = BYTE(at) >> 2;
        if (at >= follow_table + FOLLOW_ROWS_AT || output > FOLLOW_OUTPUTS) return false;
        at = list(f, at + 1);
        if (f->held) f->outputs[output] = position;
    }
    return true;
}

static void to_rest(struct follow *f, uint8_t code)
{
    f->code = code;
    for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++) f->outputs[i] = BYTE(rest + i);
}

/* Check one more byte of the table; true at its end, when the sum is judged and begins anew. */
static bool check(struct follow *f)
{
    uint32_t sum = f->check;
    if (f->check_at >= FOLLOW_SIZE) {
        if (sum != 0xDEBB20E3u) f->code = FOLLOW_DAMAGED; /* what every right image leaves, its checksum included */
        f->check = 0xFFFFFFFFu;
        f->check_at = 0;
        return true;
    }
    sum ^= BYTE(follow_table + f->check_at++);
    for (uint8_t i = 8; i > 0u; i--) sum = sum & 1u ? sum >> 1 ^ 0xEDB88320u : sum >> 1;
    f->check = sum;
    return false;
}

void follow_start(struct follow *f, uint8_t cause)
{
    uint8_t *byte = (uint8_t *)f;
    for (uint16_t i = 0; i < sizeof *f; i++) byte[i] = 0;
    for (uint8_t i = 0; i != FOLLOW_HEARTBEATS; i++) {
        f->words[FOLLOW_ANALOGS + i] = FOLLOW_NONE;
        f->flags[FOLLOW_CONTACTS + FOLLOW_ANALOGS + i] = 1; /* a silence is always a valid number */
    }
    f->mirror = 0xFF;
    f->cause = cause;
    f->row = f->first_out = FOLLOW_NONE;
    f->check = 0xFFFFFFFFu;
    while (!check(f)) continue;
    if (wide(follow_table + FOLLOW_SIZE - 4u) != FOLLOW_CHECKSUM) f->code = FOLLOW_FOREIGN;
    if (BYTE(follow_table + 4) != 1u) f->code = FOLLOW_NEWER;
    if (wide(follow_table) != 0x574F4C46u) f->code = FOLLOW_FOREIGN;
    if (f->code == FOLLOW_FINE && (uint8_t)(cause - 1u) >= FOLLOW_WATCHDOG) f->code = FOLLOW_UNKNOWN_RESET;
    to_rest(f, f->code);
}

/* The scan of a box that follows its table; returns the code to go on with. */
static uint8_t step(struct follow *f)
{
    if (f->state >= FOLLOW_STATES || (f->state ^ f->mirror) != 0xFF || f->settled > 2u) return FOLLOW_IMPOSSIBLE;
    sample(f);
    if (f->settled == 2u && !(conditions(f) && rows(f))) return FOLLOW_DAMAGED;
    return outputs(f) ? FOLLOW_FINE : FOLLOW_DAMAGED;
}

void follow_scan(struct follow *f)
{
    f->moved = 0;
    if (f->code == FOLLOW_FINE) {
        f->code = step(f);
        for (uint8_t i = FOLLOW_SLICE; i > 0u; i--) (void)check(f);
    }
    if (f->code != FOLLOW_FINE) to_rest(f, f->code);
    f->scan++;
}

void follow_record(const struct follow *f, uint8_t record[FOLLOW_RECORD])
{
    const uint8_t *bit = f->bits;
    uint32_t number = f->settled == 0u ? wide(follow_table + FOLLOW_SIZE - 4u) : f->scan - 1u;
    record[0] = f->settled == 0u ? 'P' : f->code == FOLLOW_FINE ? 'M' : 'R';
    record[5] = f->from;
    record[6] = f->state;
    record[7] = (uint8_t)f->row;
    record[8] = (uint8_t)(f->row >> 8);
    record[9] = f->code;
    record[10] = f->cause;
    for (uint8_t i = 1; i != 5u; i++, number >>= 8) record[i] = (uint8_t)number;
    for (uint8_t i = 11; i != FOLLOW_RECORD; i++) {
        uint8_t packed = 0;
        for (uint8_t k = 8; k > 0u; k--) packed = (uint8_t)(packed >> 1 | (*bit++ & NOW ? 0x80 : 0));
        record[i] = packed;
    }
}
