/* One operation: a scan of the inputs given; a place (state, timer, scan number set by hand, as after a move when the
 * timer is 0); or a reset with its cause. The trace: first-out, log record (its kind 0 when none is due), outputs. */
#include "drive.h"

static uint32_t number(const uint8_t *at)
{
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

void drive(struct follow *f, const uint8_t *in, uint8_t *out)
{
    uint8_t kind = *in++;
    if (kind == DRIVE_RESET) {
        follow_start(f, in[0]);
    } else if (kind == DRIVE_PLACE) {
        f->state = in[0];
        f->mirror = in[0] ^ 0xFFu;
        f->timer = FOLLOW_LONG || number(in + 1) < 0xFFFFu ? (follow_time)number(in + 1) : 0xFFFFu;
        for (uint8_t i = 0, less = 1; f->settled != 0u && i != 4u; i++) { /* the number of the scan before */
            f->number[i] = (uint8_t)(in[5u + i] - less);
            if (in[5u + i] != 0u) less = 0;
        }
        f->tell = 0;
    } else {
        for (uint8_t i = 0; i != FOLLOW_ANALOGS; i++, in += 2) f->words[i] = (uint16_t)(in[0] | (uint16_t)(in[1] << 8));
        for (uint8_t i = 0; i != FOLLOW_CONTACTS; i++) f->contacts[i] = *in++;
        for (uint8_t i = 0; i != FOLLOW_HEARTBEATS; i++) f->heard[i] = *in++;
        DRIVE_MARK(1);
        follow_scan(f);
        DRIVE_MARK(0);
    }
    *out++ = (uint8_t)f->first_out;
    *out++ = (uint8_t)(f->first_out >> 8);
    const uint8_t *record = follow_record(f);
    for (uint8_t i = 0; i != FOLLOW_RECORD; i++) *out++ = *record++;
    for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++) *out++ = f->outputs[i];
}
