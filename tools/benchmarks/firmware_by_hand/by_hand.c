/* The logic of pad.yaml written by hand as a switch, the way it is usually done: filters, conditions, one case per
 * state. Same interface and same log as the runtime, so that both can be driven alike. No table, so nothing to check. */
#include <stdbool.h>
#include "follow.h"

enum { DUMPING, REST, ARMED, FILLING, HOLDING, COUNTING, RELEASING, HUNG_UP, GONE };
enum { KEY, ARM, BUTTON, STOP, GATE, HEAD, CONTACTS };
enum { KEY_IN, ARM_UP, PRESSED, STOP_DOWN, PAD_SHUT, LATCHED, EMPTY, AT_PRESSURE, TOO_HIGH, SENSOR_OK, RADIO_OK, IN_FILLING, NO_RISE };
#define ON(bit) (bits >> (bit) & 1u)
#define MS(time) ((time) / 20u)

static const uint8_t steady[CONTACTS] = { 2, 2, 2, 1, 5, 5 };
static uint8_t count[CONTACTS], stable, changed, seen_open, running;
static uint8_t gate_count, empty_count;
static uint16_t bits, silence, rise_count, rise_from;
static bool rise_known;

void follow_start(struct follow *f, uint8_t cause)
{
    uint8_t *byte = (uint8_t *)f;
    for (uint16_t i = 0; i < sizeof *f; i++) byte[i] = 0;
    for (uint8_t i = 0; i != CONTACTS; i++) count[i] = 0;
    stable = changed = seen_open = running = gate_count = empty_count = 0;
    bits = rise_count = rise_from = 0;
    rise_known = false;
    silence = 0xFFFFu;
    f->mirror = 0xFF;
    f->cause = cause;
    f->tell = FOLLOW_STARTED;
    for (uint32_t i = 0, sum = FOLLOW_CHECKSUM; i != 4u; i++, sum >>= 8) f->number[i] = (uint8_t)sum;
    if (cause < FOLLOW_POWER_ON || cause > FOLLOW_WATCHDOG) f->code = FOLLOW_UNKNOWN_RESET;
}

static void filter(struct follow *f)
{
    bool all = true;
    changed = 0;
    for (uint8_t i = 0; i != CONTACTS; i++) {
        uint8_t mask = (uint8_t)(1u << i);
        bool level = f->contacts[i] != 0u, is = stable & mask;
        if (running == 2u) {
            if (level == is) {
                count[i] = 0;
            } else if (count[i] >= steady[i]) {
                stable ^= mask;
                changed |= mask;
                count[i] = 0;
            } else {
                count[i]++;
            }
        } else if (running == 0u || level != is) {
            stable = (uint8_t)(level ? stable | mask : stable & ~mask);
            count[i] = 0;
        } else if (count[i] < steady[i]) {
            count[i]++;
        }
        if (count[i] < steady[i]) all = false;
        if (!level && !(stable & mask) && !(changed & mask)) seen_open |= mask;
    }
    if (running != 2u) {
        running = all ? 2 : 1;
        for (uint8_t i = 0; all && i != CONTACTS; i++) count[i] = 0;
    }
    if (f->heard[0]) silence = 0;
    else if (silence != 0xFFFFu) silence++;
}

static bool later(bool raw, bool was, uint8_t *counter, uint8_t hold)
{
    if (!raw || was || *counter >= hold) {
        *counter = 0;
        return raw;
    }
    ++*counter;
    return false;
}

static void work_out(struct follow *f)
{
    uint16_t p = f->words[0], old = bits, now = 0;
    bool valid = p >= 51u && p <= 973u, filling = f->state == FILLING;
    if (stable >> KEY & 1) now |= 1u << KEY_IN;
    if (changed & stable & seen_open & 1u << ARM) now |= 1u << ARM_UP;
    if (changed & stable & seen_open & 1u << BUTTON) now |= 1u << PRESSED;
    if (!(stable >> STOP & 1)) now |= 1u << STOP_DOWN;
    if (later(stable >> GATE & 1, old >> PAD_SHUT & 1u, &gate_count, MS(1000))) now |= 1u << PAD_SHUT;
    if (stable >> HEAD & 1) now |= 1u << LATCHED;
    if (later(valid && p < 112u, old >> EMPTY & 1u, &empty_count, MS(5000))) now |= 1u << EMPTY;
    if (valid && p >= (old >> AT_PRESSURE & 1u ? 529u : 594u)) now |= 1u << AT_PRESSURE;
    if (valid && p >= 676u) now |= 1u << TOO_HIGH;
    if (valid) now |= 1u << SENSOR_OK;
    if (silence <= MS(500)) now |= 1u << RADIO_OK;
    if (filling) {
        now |= 1u << IN_FILLING;
        if (!(old >> IN_FILLING & 1u)) {
            rise_count = 0;
            rise_from = p;
            rise_known = valid;
        } else if (rise_count < MS(5000)) {
            rise_count++;
        }
        if (valid && rise_known && rise_count >= MS(5000) && (p < rise_from || (uint16_t)(p - rise_from) < 9u)) now |= 1u << NO_RISE;
    }
    bits = now;
}

static void go(struct follow *f, uint8_t to, uint8_t place, bool trip)
{
    f->tell = FOLLOW_MOVED;
    f->from = f->state;
    f->state = to;
    f->mirror = to ^ 0xFFu;
    f->place = place;
    if (!trip) f->first_out = 0;
    else if (f->first_out == 0u) f->first_out = (uint16_t)(f->from << 8 | place);
    f->timer = 0;
    seen_open = 0;
}

/* The trips, which are the first rows of their states; true when one struck. */
static bool tripped(struct follow *f, bool with_link)
{
    if (ON(STOP_DOWN)) go(f, DUMPING, 1, true);
    else if (!ON(KEY_IN)) go(f, DUMPING, 2, true);
    else if (ON(TOO_HIGH)) go(f, DUMPING, 3, true);
    else if (!ON(SENSOR_OK)) go(f, DUMPING, 4, true);
    else if (!ON(PAD_SHUT)) go(f, DUMPING, 5, true);
    else if (with_link && !ON(RADIO_OK)) go(f, DUMPING, 6, true);
    else return false;
    return true;
}

static void decide(struct follow *f)
{
    const uint32_t t = f->timer;
    switch (f->state) {
    case DUMPING:
        if (t >= MS(60000) && !ON(KEY_IN) && ON(EMPTY) && ON(SENSOR_OK)) go(f, REST, 1, false);
        break;
    case REST:
        if (ON(KEY_IN) && ON(ARM_UP) && !ON(STOP_DOWN) && ON(PAD_SHUT) && ON(LATCHED) && ON(EMPTY) && ON(SENSOR_OK) && ON(RADIO_OK))
            go(f, ARMED, 1, false);
        break;
    case ARMED:
        if (tripped(f, true)) break;
        if (t >= MS(3000) && ON(PRESSED)) go(f, FILLING, 7, false);
        else if (t >= MS(120000)) go(f, DUMPING, 8, false);
        break;
    case FILLING:
        if (tripped(f, true)) break;
        if (ON(AT_PRESSURE)) go(f, HOLDING, 7, false);
        else if (ON(NO_RISE)) go(f, DUMPING, 8, false);
        else if (t >= MS(60000)) go(f, DUMPING, 9, false);
        break;
    case HOLDING:
        if (tripped(f, true)) break;
        if (ON(PRESSED) && ON(AT_PRESSURE) && ON(RADIO_OK)) go(f, COUNTING, 7, false);
        else if (t >= MS(180000)) go(f, DUMPING, 8, false);
        break;
    case COUNTING:
        if (tripped(f, true)) break;
        if (t >= MS(5000) && ON(AT_PRESSURE) && ON(RADIO_OK)) go(f, RELEASING, 7, false);
        else if (t >= MS(6000)) go(f, DUMPING, 8, false);
        break;
    case RELEASING:
        if (tripped(f, false)) break;
        if (t >= MS(200) && !ON(LATCHED)) go(f, GONE, 6, false);
        else if (t >= MS(1000)) go(f, HUNG_UP, 7, false);
        break;
    case HUNG_UP:
        if (t >= MS(60000)) go(f, DUMPING, 1, false);
        break;
    case GONE:
        if (t >= MS(2000)) go(f, DUMPING, 1, false);
        break;
    default:
        f->code = FOLLOW_IMPOSSIBLE;
        break;
    }
    if (f->tell == 0u && ++f->timer == 0u) f->timer--;
}

static void put_out(struct follow *f)
{
    bool shut = f->state >= ARMED && f->state <= RELEASING;
    f->outputs[FOLLOW_OUTPUT_FILL] = f->state == FILLING && ON(PAD_SHUT) && !ON(STOP_DOWN);
    f->outputs[FOLLOW_OUTPUT_DUMP] = shut;
    f->outputs[FOLLOW_OUTPUT_SERVO_POWER] = f->state == RELEASING;
    f->outputs[FOLLOW_OUTPUT_RELEASE] = f->state == RELEASING;
    f->outputs[FOLLOW_OUTPUT_BEACON] = f->state != REST;
}

void follow_scan(struct follow *f)
{
    f->tell = 0;
    for (uint8_t i = 0; i != 4u; i++) {
        if (f->settled == 0u) f->number[i] = 0;
        else if (++f->number[i] != 0u) break;
    }
    if (f->state > GONE || (f->state ^ f->mirror) != 0xFF) f->code = FOLLOW_IMPOSSIBLE;
    if (f->code == FOLLOW_FINE) {
        if (f->timer == 0u && running == 2u) seen_open = 0;
        filter(f);
        f->settled = running;
        if (running == 2u) {
            work_out(f);
            decide(f);
        }
        put_out(f);
    } else {
        for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++) f->outputs[i] = 0;
    }
}

const uint8_t *follow_record(struct follow *f)
{
    f->packed[0] = (uint8_t)bits;
    f->packed[1] = (uint8_t)(bits >> 8);
    return &f->tell;
}
