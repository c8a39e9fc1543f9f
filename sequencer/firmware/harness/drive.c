/* One operation: a scan of the inputs given; a place (state, timer, scan number set by hand, as after a move when the
 * timer is 0); or a reset with its cause. The trace: moved, first-out, log record, outputs. */
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
        f->timer = number(in + 1);
        f->scan = number(in + 5);
        f->moved = 0;
    } else {
        for (uint8_t i = 0; i != FOLLOW_ANALOGS; i++, in += 2) f->words[i] = (uint16_t)(in[0] | (uint16_t)(in[1] << 8));
        for (uint8_t i = 0; i != FOLLOW_CONTACTS; i++) f->contacts[i] = *in++;
        for (uint8_t i = 0; i != FOLLOW_HEARTBEATS; i++) f->heard[i] = *in++;
        DRIVE_MARK(1);
        follow_scan(f);
        DRIVE_MARK(0);
    }
    *out++ = f->moved;
    *out++ = (uint8_t)f->first_out;
    *out++ = (uint8_t)(f->first_out >> 8);
    follow_record(f, out);
    out += FOLLOW_RECORD;
    for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++) *out++ = f->outputs[i];
}
