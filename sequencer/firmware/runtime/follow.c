/* follow: see follow.h. Every number from the table is held against its limit before it is used as an index, so that no
 * table, however damaged, reads or writes beyond its array; one that fails sends the box to rest with FOLLOW_DAMAGED. */
#include <stdbool.h>
#include "follow.h"

enum { MATCH, COMPARE, TARGET, DIFFERS, CHANGE, ALL };              /* what a condition does; its first byte: */
enum { KIND = 0x1F, EXTRA = 0x20, DELAYS = 0x40, OPPOSITE = 0x80 };
enum { COUNT = 0x3F, LEAST = 0x40, INVERT = 0x80, TRIP = 0x80 };    /* first byte of a list; of a row */
enum { STABLE = 1, CHANGED = 2, SEEN_OPEN = 4, SEEN_CLOSED = 8 };   /* flags of a contact */
enum { NOW = 0x80, LAST = 0x40, BEFORE = 0x20 };                    /* follow.bits */
enum { STATE_AT = FOLLOW_OUTPUTS, FLAGS_AT, VALID_AT = FLAGS_AT + FOLLOW_CONTACTS }; /* follow.outputs */
#define USES(kind) (FOLLOW_KINDS >> (kind) & 1u) /* a kind that the table does not use costs no flash */
static const uint8_t rest[FOLLOW_ROOM(FOLLOW_OUTPUTS)] FOLLOW_FLASH = { FOLLOW_REST };

static const uint8_t *state_record(uint8_t state) { return follow_table + FOLLOW_STATES_AT + FOLLOW_STRIDE * state; }

/* Put NOW into f->held if the literal list at `at` holds, else 0; returns the list's end. Bound: 63 literals. */
static const uint8_t *list(struct follow *f, const uint8_t *at)
{
    uint8_t head = FOLLOW_BYTE(at++);
    const uint8_t *end = at + (head & COUNT);
    f->held = (uint8_t)(~head & INVERT);
    for (; at < end; at++) {
        uint8_t literal = FOLLOW_BYTE(at), i = literal & 0x7Fu;
        if (i < FOLLOW_ROOM(FOLLOW_BITS) && ((f->bits[i] ^ literal) & NOW) == 0) continue;
        f->held ^= NOW;
        break;
    }
    return end;
}

/* Filter the contacts, judge the readings, count the silences. Bound: the number of inputs. */
static void sample(struct follow *f, bool fresh)
{
    const uint8_t *at = follow_table + FOLLOW_CONTACTS_AT;
    const uint8_t running = f->settled >> 1, keep = running && fresh ? STABLE : (uint8_t)~CHANGED;
    bool all = true;
    for (uint8_t i = 0; i != FOLLOW_CONTACTS; i++, at += 2) {
        uint8_t flags = f->outputs[FLAGS_AT + i] & keep, level = f->contacts[i] & 1u;
        uint16_t count = f->counters[i], steady = FOLLOW_WORD(at);
        if (((level ^ flags) & STABLE) != running || f->settled == 0u) { /* counts while alike, once running while unlike */
            if (!running) flags = (uint8_t)((flags & ~STABLE) | level);
            count = 0;
        } else if (count < steady) {
            count++;
        } else if (running) {
            flags ^= STABLE | CHANGED;
            count = 0;
        }
        if (count < steady) all = false;
        if (level == (flags & (STABLE | CHANGED))) flags = (uint8_t)(flags | (level ? SEEN_CLOSED : SEEN_OPEN));
        f->outputs[FLAGS_AT + i] = flags;
        f->counters[i] = count;
    }
    if (!running) f->settled = all ? 2 : 1;
    for (uint8_t i = 0; !running && all && i != FOLLOW_CONTACTS; i++) f->counters[i] = 0;
    for (uint8_t i = 0; i != FOLLOW_ANALOGS; i++, at += 4)
        f->outputs[VALID_AT + i] = f->words[i] >= FOLLOW_WORD(at) && f->words[i] <= FOLLOW_WORD(at + 2);
    for (uint8_t i = FOLLOW_ANALOGS; i != FOLLOW_WORDS; i++) {
        if (f->heard[i - FOLLOW_ANALOGS]) f->words[i] = 0;
        else if (f->words[i] != FOLLOW_NONE) f->words[i]++;
    }
}

/* Work out every condition in order; false when the table is damaged. Bound: FOLLOW_BITS turns. */
static bool conditions(struct follow *f, bool fresh)
{
    const uint8_t *at = follow_table + FOLLOW_BITS_AT;
    uint8_t slot = 0;
    f->outputs[STATE_AT] = f->state;
    for (uint8_t *bit = f->bits; bit < f->bits + FOLLOW_BITS; bit++) {
        if (at >= follow_table + FOLLOW_INHIBITS_AT || slot > FOLLOW_COUNTERS) return false;
        uint8_t head = FOLLOW_BYTE(at++), kind = head & KIND, source = FOLLOW_BYTE(at), was = *bit, value, valid = 1;
        if (kind == ALL) { /* with EXTRA a memory: set while the first list holds, and cleared by the second */
            at = list(f, at);
            value = f->held;
            if (head & EXTRA) {
                at = list(f, at);
                if (f->held) valid = 0;
                if (!(head & DELAYS)) value = (uint8_t)(value | (was & NOW)); /* else its off-delay is its expiry */
            }
        } else if (kind == MATCH) {
            if (source >= sizeof f->outputs) return false;
            value = (f->outputs[source] ^ FOLLOW_BYTE(at + 2)) & FOLLOW_BYTE(at + 1) ? 0 : NOW;
            at += 3;
        } else {
            uint8_t second = FOLLOW_BYTE(at + 3);
            if (source >= FOLLOW_ROOM(FOLLOW_WORDS)) return false;
            uint16_t number = f->words[source], limit = FOLLOW_WORD(at + 1);
            valid = f->outputs[VALID_AT + source];
            at += kind == COMPARE ? 3 : 4;
            if (kind == COMPARE) { /* the drop-out is the limit while the bit was true before its delays */
                if (head & EXTRA && was & BEFORE) limit = FOLLOW_WORD(at);
                if (head & EXTRA) at += 2;
            } else if (USES(TARGET) && kind == TARGET) { /* a new target begins without drop-out */
                uint16_t drop = was & BEFORE && !fresh ? limit : 0u;
                if (second >= FOLLOW_ROOM(FOLLOW_COLUMNS)) return false;
                limit = FOLLOW_WORD(state_record(f->state) + FOLLOW_STRIDE - 2u * FOLLOW_COLUMNS + 2u * second);
                if (limit == FOLLOW_NONE) valid = 0;
                limit = (uint16_t)(limit > drop ? limit - drop : 0);
            } else if (USES(DIFFERS) && kind == DIFFERS) {
                if (second >= FOLLOW_ROOM(FOLLOW_WORDS)) return false;
                uint16_t other = f->words[second], apart = (uint16_t)(number > other ? number - other : other - number);
                valid &= f->outputs[VALID_AT + second];
                if (FOLLOW_SCALED && head & EXTRA) { /* |gain * number - gain * other + offset|: the exporter shows that it fits */
                    uint32_t d = FOLLOW_WIDE(at) * number - FOLLOW_WIDE(at + 4) * other + FOLLOW_WIDE(at + 8);
                    apart = (d >> 31 ? 0u - d : d) >= FOLLOW_WIDE(at + 12);
                    at += 16;
                }
                number = apart;
            } else if (USES(CHANGE) && kind == CHANGE) { /* since condition `second` rose: its age, and the reading then */
                uint16_t over = FOLLOW_WORD(at), *age = &f->counters[FOLLOW_CONTACTS + slot], *base = age + 1;
                if (second >= FOLLOW_BITS) return false;
                second = f->bits[second];
                slot = (uint8_t)(slot + 2u);
                at += 2;
                if (head & EXTRA) number ^= 0xFFFFu; /* a fall is a rise of the complement */
                if (!(second & LAST)) {
                    *age = valid ? 0u : FOLLOW_NONE;
                    *base = number;
                } else if (*age < over) {
                    ++*age;
                }
                if (!(second & NOW) || *age < over || *age == FOLLOW_NONE) valid = 0;
                if (number < *base) limit = FOLLOW_NONE, number = *base; /* less than any rise */
                number = (uint16_t)(number - *base);
            } else {
                return false;
            }
            value = number >= limit ? NOW : 0;
        }
        value = (uint8_t)(value ^ (head & OPPOSITE));
        if (!valid) value = 0, was = 0; /* an invalid reading: false at once, also through an off-delay */
        const uint8_t raw = value;
        if (head & DELAYS) {
            uint16_t limit = FOLLOW_WORD(was & NOW ? at + 2 : at), *counter = &f->counters[FOLLOW_CONTACTS + slot++], count = *counter;
            bool waits = (value ^ was) & NOW && count < limit;
            *counter = (uint16_t)(waits ? count + 1u : 0u);
            if (waits) value ^= NOW;
            at += 4;
        }
        *bit = (uint8_t)(value | (*bit & NOW) >> 1 | raw >> 2);
    }
    return true;
}

/* Take the first row of the state that holds; false when the table is damaged. Bound: 510 rows. */
static bool rows(struct follow *f)
{
    const uint8_t *record = state_record(f->state);
    uint16_t row = FOLLOW_WORD(record + 6);
    for (uint8_t part = 0; part < 2u; part++, record += 3) { /* the rows it shares with others, then its own */
        uint16_t start = FOLLOW_WORD(record);
        if (start > FOLLOW_CONTACTS_AT - FOLLOW_ROWS_AT) return false;
        const uint8_t *at = follow_table + FOLLOW_ROWS_AT + start;
        for (uint8_t left = FOLLOW_BYTE(record + 2); left > 0u; left--, row++) {
            if (at >= follow_table + FOLLOW_CONTACTS_AT) return false;
            uint8_t to = FOLLOW_BYTE(at++), next = to & 0x7Fu, head = FOLLOW_BYTE(at);
            at = list(f, at);
            if (head & LEAST && f->timer < (FOLLOW_WIDE(at) & 0xFFFFFFu)) f->held = 0;
            if (head & LEAST) at += 3;
            if (!f->held) continue;
            if (next >= FOLLOW_STATES) return false;
            f->from = f->state;
            f->state = next;
            f->mirror = next ^ 0xFFu;
            f->row = row;
            f->first_out = !(to & TRIP) ? FOLLOW_NONE : f->first_out == FOLLOW_NONE ? row : f->first_out;
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
    for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++) f->outputs[i] = (uint8_t)(FOLLOW_BYTE(at + i / 4u) >> i % 4u * 2u & 3);
    at = follow_table + FOLLOW_INHIBITS_AT;
    for (uint8_t left = FOLLOW_INHIBITS; left > 0u; left--) {
        uint8_t position = FOLLOW_BYTE(at) & 3u, output = FOLLOW_BYTE(at) >> 2;
        if (at >= follow_table + FOLLOW_ROWS_AT || output > FOLLOW_OUTPUTS) return false;
        at = list(f, at + 1);
        if (f->held) f->outputs[output] = position;
    }
    return true;
}

/* Take one more byte of the table into the sum, and judge it at the end. */
static void check(struct follow *f)
{
    if (f->check_at >= FOLLOW_SIZE) f->check_at = 0;
    uint32_t sum = (f->check_at == 0u ? 0xFFFFFFFFu : f->check) ^ FOLLOW_BYTE(follow_table + f->check_at);
    for (uint8_t i = 8; i > 0u; i--) sum = sum >> 1 ^ (sum & 1u ? 0xEDB88320u : 0u);
    f->check = sum;
    if (++f->check_at == FOLLOW_SIZE && sum != 0xDEBB20E3u) f->code = FOLLOW_DAMAGED; /* every right image leaves that */
}

static void to_rest(struct follow *f)
{
    for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++) f->outputs[i] = FOLLOW_BYTE(rest + i);
}

void follow_start(struct follow *f, uint8_t cause)
{
    *f = (struct follow){ .mirror = 0xFF, .cause = cause, .row = FOLLOW_NONE, .first_out = FOLLOW_NONE };
    for (uint8_t i = FOLLOW_ANALOGS; i != FOLLOW_WORDS; i++) {
        f->words[i] = FOLLOW_NONE;
        f->outputs[VALID_AT + i] = 1; /* a silence is always a valid number */
    }
    do { check(f); } while (f->check_at < FOLLOW_SIZE);
    if (FOLLOW_WIDE(follow_table) != 0x574F4C46u || FOLLOW_BYTE(follow_table + 4) < 2u) f->code = FOLLOW_FOREIGN;
    else if (FOLLOW_BYTE(follow_table + 4) > 2u) f->code = FOLLOW_NEWER;
    else if (f->code == FOLLOW_FINE && FOLLOW_WIDE(follow_table + FOLLOW_SIZE - 4u) != FOLLOW_CHECKSUM) f->code = FOLLOW_FOREIGN;
    else if (f->code == FOLLOW_FINE && (uint8_t)(cause - 1u) >= FOLLOW_WATCHDOG) f->code = FOLLOW_UNKNOWN_RESET;
    to_rest(f);
}

void follow_scan(struct follow *f)
{
    const bool fresh = f->timer == 0u; /* as in the first scan after a move */
    f->moved = 0;
    f->scan++;
    if (f->code == FOLLOW_FINE && (f->state >= FOLLOW_STATES || (f->state ^ f->mirror) != 0xFF || f->settled > 2u))
        f->code = FOLLOW_IMPOSSIBLE;
    if (f->code == FOLLOW_FINE) {
        sample(f, fresh);
        if ((f->settled == 2u && !(conditions(f, fresh) && rows(f))) || !outputs(f)) f->code = FOLLOW_DAMAGED;
        for (uint8_t i = FOLLOW_SLICE; i > 0u; i--) check(f);
    }
    if (f->code != FOLLOW_FINE) to_rest(f);
}

void follow_record(const struct follow *f, uint8_t record[FOLLOW_RECORD])
{
    const uint8_t *bit = f->bits;
    const uint8_t fixed[] = { f->from, f->state, (uint8_t)f->row, (uint8_t)(f->row >> 8), f->code, f->cause };
    uint32_t number = f->settled == 0u ? FOLLOW_WIDE(follow_table + FOLLOW_SIZE - 4u) : f->scan - 1u;
    record[0] = f->settled == 0u ? 'P' : f->code == FOLLOW_FINE ? 'M' : 'R';
    for (uint8_t i = 1; i != 5u; i++, number >>= 8) record[i] = (uint8_t)number;
    for (uint8_t i = 5; i != 11u; i++) record[i] = fixed[i - 5u];
    for (uint8_t i = 11, packed = 0; i != FOLLOW_RECORD; record[i++] = packed)
        for (uint8_t k = 8; k > 0u; k--) packed = (uint8_t)(packed >> 1 | (*bit++ & NOW));
}
